// The fast clock of a rehearsal: goes on to the next act by itself, until it is stopped or there is none.

const PAUSE_MS = 1_500; // time to read the headline

export function start() {
  const toggle = document.querySelector("[data-rehearsal-toggle]");
  if (!toggle) return;
  toggle.hidden = false;
  const service = document.querySelector("[data-rehearsal-next][data-rehearsal-fast]");
  // Replaced, so that one step back leaves the rehearsal's run of pages.
  if (service) setTimeout(() => location.replace(service.dataset.rehearsalNext), PAUSE_MS);
}
