// Whether a hand is at the page just now. What is swapped between finger down and finger up loses the tap: its
// click goes to whatever the old and the new element have in common. What is swapped while a tap's answer is on
// its way shows that tap undone, and it is made again. So whoever swaps waits for `handsOff()` first.

const CLICK_MS = 400; // the click of a touch comes after its lift
const LONGEST_PRESS_MS = 10_000; // a lift that is never told ends then

const down = new Map(); // pointer or key that is down → the timer of its longest press
let lifted = 0; // the timer that waits for the click of the last lift
let unanswered = 0;
let composing = false; // a word is being put together (accents, other scripts): a swap would break it off
let waiting = [];

function tellWaiting() {
  const all = waiting;
  waiting = [];
  for (const go of all) go();
}

function press(what) {
  clearTimeout(lifted);
  lifted = 0;
  clearTimeout(down.get(what));
  down.set(what, setTimeout(() => lift(what, 0), LONGEST_PRESS_MS));
}

function lift(what, wait) {
  if (!down.has(what)) return;
  clearTimeout(down.get(what));
  down.delete(what);
  if (down.size === 0) free(wait);
}

function free(wait) {
  clearTimeout(lifted);
  lifted = setTimeout(() => { lifted = 0; tellWaiting(); }, wait);
}

function liftAll() {
  for (const what of [...down.keys()]) lift(what, 0);
}

const fingerDown = () => down.size > 0 || lifted !== 0;

/** Resolves once no finger is down. Nothing comes between it and what the caller does next. */
export async function fingersUp() {
  while (fingerDown()) await new Promise((go) => { waiting.push(go); });
}

/** Resolves once no finger is down and every tap is answered; true if that had to be waited for. */
export async function handsOff() {
  const busy = () => fingerDown() || unanswered > 0 || composing;
  if (!busy()) return false;
  while (busy()) await new Promise((go) => { waiting.push(go); });
  return true;
}

/** Does something that may shift the page, when no finger is down, and puts what is looked at back where it was:
 * a notice above must not move a button away from under a finger. */
export async function still(work) {
  await fingersUp();
  const at = document.activeElement && document.activeElement !== document.body ? document.activeElement : document.querySelector("main");
  const before = at?.getBoundingClientRect().top;
  work();
  if (at?.isConnected) scrollBy({ top: at.getBoundingClientRect().top - before, behavior: "instant" });
}

/** A tap's answer is awaited. */
export async function awaited(answer) {
  unanswered += 1;
  try {
    return await answer;
  } finally {
    unanswered -= 1;
    if (unanswered === 0) tellWaiting();
  }
}

export function start() {
  document.addEventListener("pointerdown", (event) => press(event.pointerId), true);
  document.addEventListener("pointerup", (event) => lift(event.pointerId, CLICK_MS), true);
  document.addEventListener("pointercancel", (event) => lift(event.pointerId, 0), true);
  document.addEventListener("click", () => { if (down.size === 0 && lifted) free(0); }, true);
  // Space acts on a button when it comes up again.
  document.addEventListener("keydown", (event) => { if (event.key === " " && event.target.closest?.("button, summary")) press("space"); }, true);
  document.addEventListener("keyup", (event) => { if (event.key === " ") lift("space", 0); }, true);
  document.addEventListener("compositionstart", () => { composing = true; }, true);
  for (const end of ["compositionend", "focusout"]) document.addEventListener(end, () => { if (composing) { composing = false; tellWaiting(); } }, true);
  addEventListener("blur", liftAll);
  document.addEventListener("visibilitychange", () => { if (document.hidden) liftAll(); });
}
