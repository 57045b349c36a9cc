// Bells: heard, seen and read out once each. The sound is made here, no file from elsewhere.
//   <article data-bell="12:most:exposure:3" data-bell-words="Nerys A.: rinse now">
// A key ends in what makes the bell this bell; at the longest allowed the server gives a new one each minute.
import { say } from "./now.js";

const RUNG = "rinsebell_rung";
const KEPT_KEYS = 200;
let context = null;

/** Notes a bell as rung; true the first time in this browser, whatever tab it is in. */
function firstTime(key) {
  let rung = [];
  try {
    rung = JSON.parse(localStorage.getItem(RUNG) ?? "[]");
  } catch {
    // Unreadable: begin anew, a bell too many is better than none.
  }
  if (!Array.isArray(rung)) rung = [];
  if (rung.includes(key)) return false;
  try {
    localStorage.setItem(RUNG, JSON.stringify([...rung, key].slice(-KEPT_KEYS)));
  } catch {
    // No room: the bell still rings.
  }
  return true;
}

/** One struck tone of `hz` after `wait` seconds. */
function strike(hz, wait) {
  const at = context.currentTime + wait;
  const tone = context.createOscillator();
  const loud = context.createGain();
  tone.frequency.value = hz;
  loud.gain.setValueAtTime(0.0001, at);
  loud.gain.exponentialRampToValueAtTime(0.5, at + 0.015);
  loud.gain.exponentialRampToValueAtTime(0.0001, at + 0.9);
  tone.connect(loud).connect(context.destination);
  tone.start(at);
  tone.stop(at + 1);
}

function ring(most) {
  if (context?.state !== "running") return tellSound();
  // Two tones for a target; at the longest allowed three pairs, lower and closer.
  const tones = most ? [[440, 0], [415, 0.25], [440, 0.6], [415, 0.85], [440, 1.2], [415, 1.45]] : [[659, 0], [523, 0.35]];
  for (const [hz, wait] of tones) strike(hz, wait);
}

function look() {
  const fresh = [...document.querySelectorAll("[data-bell]")].filter((place) => place.dataset.bell && firstTime(place.dataset.bell));
  if (fresh.length === 0) return;
  ring(fresh.some((place) => place.classList.contains("over") || place.dataset.bell.includes(":most")));
  say(fresh.map((place) => place.dataset.bellWords ?? "A bell rings.").join(". "));
}

function tellSound() {
  const place = document.querySelector("[data-sound]");
  if (!place) return;
  const running = context?.state === "running";
  place.hidden = false;
  place.textContent = running ? "Bells sound." : context ? "Sound is blocked: tap the page, or let this site play sound in the browser's settings." : "Bells are silent until the first tap.";
}

async function enable() {
  try {
    context ??= new AudioContext();
    await context.resume();
  } catch {
    // Said below.
  }
  tellSound();
}

export function start() {
  for (const kind of ["pointerdown", "keydown"]) {
    document.addEventListener(kind, () => { if (context?.state !== "running") enable(); }, { passive: true });
  }
  // Out of contact nobody else turns the row round when its time comes.
  document.addEventListener("rinsebell:due", (event) => {
    if (document.documentElement.dataset.contact !== "lost") return;
    const row = event.target.closest(".track, [data-rings]");
    if (!row || row.classList.contains("over")) return;
    row.classList.add("ringing");
    if (firstTime(`here:${event.target.dataset.to}:${row.getAttribute("aria-labelledby") ?? ""}`)) {
      ring(false);
      say(`${row.querySelector("h2")?.textContent ?? ""} ${row.querySelector(".next b")?.textContent ?? "A bell rings."}`.trim());
    }
  });
  document.addEventListener("rinsebell:swapped", look);
  tellSound();
  look();
}
