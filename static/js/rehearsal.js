// The fast clock of a rehearsal: goes on to the next act by itself, until it is stopped or there is none.
// A practice: its page is asked for anew when a bell is due, and each minute while one rings.
import { fingersUp } from "./hands.js";
import { now } from "./now.js";
import { isTypedInto } from "./parts.js";

const PAUSE_MS = 1_500; // time to read the headline

const AGAIN_MS = 60_000; // as the bell at the longest allowed
const TYPING_MS = 5_000;
const FAR_MS = 86_400_000;

function practice() {
  const place = document.querySelector("[data-practice-here]");
  if (!place) return;
  const anew = async () => {
    await fingersUp();
    if (isTypedInto()) setTimeout(anew, TYPING_MS);
    else location.replace(place.dataset.practiceHere);
  };
  document.addEventListener("rinsebell:due", anew);
  const wait = Number(place.dataset.practiceBell) - now();
  if (wait > 0 && wait < FAR_MS) setTimeout(anew, wait);
  if (document.querySelector("[data-bell]")) setTimeout(anew, AGAIN_MS);
}

export function start() {
  practice();
  const toggle = document.querySelector("[data-rehearsal-toggle]");
  if (!toggle) return;
  toggle.hidden = false;
  const service = document.querySelector("[data-rehearsal-next][data-rehearsal-fast]");
  // Replaced, so that one step back leaves the rehearsal's run of pages.
  if (service) setTimeout(() => location.replace(service.dataset.rehearsalNext), PAUSE_MS);
}
