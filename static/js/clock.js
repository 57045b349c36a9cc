// Keeps clocks going between two answers of the server, and drains the working window.
//   <span data-clock="up" data-from="MS">, <span data-clock="down" data-to="MS">
//   <svg data-drain-from="MS" data-drain-to="MS"> with rect.drain and line.drained
import { now } from "./now.js";
import { each } from "./pulse.js";

/** "5:10", from an hour on "1:02:03". */
export function reading(ms) {
  const seconds = Math.max(0, Math.floor(ms / 1000));
  const two = (number) => String(number).padStart(2, "0");
  const hours = Math.floor(seconds / 3600);
  const minutes = Math.floor(seconds / 60) % 60;
  return hours > 0 ? `${hours}:${two(minutes)}:${two(seconds % 60)}` : `${minutes}:${two(seconds % 60)}`;
}

/** What is left is shown to its last second, so it rounds up; past it, it counts up behind a "+". */
function shown(clock, at) {
  if (clock.dataset.clock === "up") return reading(at - Number(clock.dataset.from));
  const left = Number(clock.dataset.to) - at;
  return left > -1000 ? reading(left + 999) : `+${reading(-left)}`;
}

const over = new WeakSet();

function tick() {
  const at = now();
  for (const clock of document.querySelectorAll("[data-clock]")) {
    const words = shown(clock, at);
    if (clock.textContent !== words) {
      // What a screen reader is told when it asks is never older than what is seen.
      const label = clock.getAttribute("aria-label");
      if (label?.includes(clock.textContent)) clock.setAttribute("aria-label", label.replace(clock.textContent, words));
      clock.textContent = words;
    }
    if (clock.dataset.clock !== "down") continue;
    const left = Number(clock.dataset.to) - at;
    if (left > 0) over.delete(clock);
    // Crossed while the page was looking: the server is asked what it means.
    else if (!over.has(clock)) {
      over.add(clock);
      if (left > -2000) clock.dispatchEvent(new CustomEvent("rinsebell:due", { bubbles: true }));
    }
  }
  for (const picture of document.querySelectorAll("[data-drain-from]")) drain(picture, at);
}

function drain(picture, at) {
  const from = Number(picture.dataset.drainFrom);
  const gone = Math.min(100, Math.max(0, ((at - from) / (Number(picture.dataset.drainTo) - from)) * 100)).toFixed(2);
  const rect = picture.querySelector(".drain");
  rect?.setAttribute("x", `${gone}%`);
  rect?.setAttribute("width", `${(100 - gone).toFixed(2)}%`);
  const line = picture.querySelector(".drained");
  line?.setAttribute("x1", `${gone}%`);
  line?.setAttribute("x2", `${gone}%`);
}

export function start() {
  tick();
  each(tick);
  for (const kind of ["visibilitychange", "rinsebell:woke"]) document.addEventListener(kind, tick);
}
