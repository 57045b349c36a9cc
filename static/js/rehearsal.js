// The fast clock of a rehearsal: goes on to the next act by itself, until it is stopped or there is none.
// A practice: its page is asked for anew when a bell is due, and each minute while one rings.
import { fingersUp } from "./hands.js";
import { now } from "./now.js";
import { isTypedInto } from "./parts.js";

const PAUSE_MS = 1_500; // time to read the headline

const AGAIN_MS = 60_000; // as the bell at the longest allowed
const TYPING_MS = 5_000;
const FAR_MS = 86_400_000;
const WAIT_MS = 10_000;
let timers = [];

/** The page as it stands now, in place; like every part that comes by itself it keeps no station unlocked. */
async function anew() {
  const here = document.querySelector("[data-practice-here]")?.dataset.practiceHere;
  if (!here) return;
  await fingersUp();
  if (isTypedInto()) return void timers.push(setTimeout(anew, TYPING_MS));
  try {
    const answer = await fetch(here, { headers: { "X-Rinsebell-Part": "1" }, cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(WAIT_MS) });
    // Locked meanwhile: the way to the PIN, and back here.
    if (!answer.ok) return void location.replace(here);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const main = document.adoptNode(page.querySelector("main"));
    document.querySelector("main").replaceWith(main);
    document.dispatchEvent(new CustomEvent("rinsebell:swapped", { detail: { part: main, title: page.title } }));
    practice();
  } catch {
    timers.push(setTimeout(anew, TYPING_MS));
  }
}

function practice() {
  for (const timer of timers.splice(0)) clearTimeout(timer);
  const place = document.querySelector("[data-practice-here]");
  if (!place) return;
  const wait = Number(place.dataset.practiceBell) - now();
  if (wait > 0 && wait < FAR_MS) timers.push(setTimeout(anew, wait));
  if (document.querySelector("[data-bell]")) timers.push(setTimeout(anew, AGAIN_MS));
}

export function start() {
  practice();
  document.addEventListener("rinsebell:due", anew);
  const toggle = document.querySelector("[data-rehearsal-toggle]");
  if (!toggle) return;
  toggle.hidden = false;
  const service = document.querySelector("[data-rehearsal-next][data-rehearsal-fast]");
  // Replaced, so that one step back leaves the rehearsal's run of pages.
  if (service) setTimeout(() => location.replace(service.dataset.rehearsalNext), PAUSE_MS);
}
