// Bells: heard, seen and read out once each. The sound is made here, no file from elsewhere.
//   <article data-bell="12:most:exposure:3" data-bell-words="Nerys A.: rinse now">
// A key ends in what makes the bell this bell, and its second part is the urgency; at the longest allowed the server
// gives a new one each minute.
import { now, say } from "./now.js";
import { t } from "./words.js";

/** What the ear is told before any word, by urgency: the graver, the more tones and the closer (as alarms of devices are
 * graded, IEC 60601-1-8, from memory); pitches differ too. Tones as [Hz, seconds from the start]. */
const BELLS = {
  soon: { loud: 0.3, tones: [[784, 0]] },
  due: { loud: 0.5, tones: [[659, 0], [523, 0.35], [659, 1.1], [523, 1.45]] },
  most: { loud: 0.8, tones: [0, 0.6, 1.2, 2.2, 2.8, 3.4].flatMap((at) => [[440, at], [330, at + 0.25]]) },
  stop: { loud: 1, tones: [0, 1, 2, 3, 4, 5, 6, 7, 10, 11, 12, 13, 14, 15, 16, 17].map((n) => [n % 2 ? 1175 : 880, n * 0.16]) },
};
const GRAVE = Object.keys(BELLS);
const RUNG = "rinsebell_rung";
const HEARD = "rinsebell_heard"; // in this tab a bell could sound before
const KEPT_KEYS = 200;
const AGAIN_MS = 60_000;
let context = null;
let sounding = null;
let title = document.title;

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
function strike(out, hz, wait, loud) {
  const at = context.currentTime + wait;
  const tone = context.createOscillator();
  const struck = context.createGain();
  tone.type = "triangle";
  tone.frequency.value = hz;
  struck.gain.setValueAtTime(0.0001, at);
  struck.gain.exponentialRampToValueAtTime(loud, at + 0.015);
  struck.gain.exponentialRampToValueAtTime(0.0001, at + 0.9);
  tone.connect(struck).connect(out);
  tone.start(at);
  tone.stop(at + 1);
}

function hush() {
  sounding?.gain.setTargetAtTime(0, context.currentTime, 0.05);
  sounding = null;
}

/** Plays the bell of an urgency; false while the browser plays nothing. */
export function ring(urgency) {
  if (context?.state !== "running") {
    tellSound();
    return false;
  }
  hush();
  sounding = context.createGain();
  sounding.connect(context.destination);
  const { loud, tones } = BELLS[urgency];
  for (const [hz, wait] of tones) strike(sounding, hz, wait, loud);
  return true;
}

const urgencyOf = (place) => (place.dataset.bell.split(":")[1] in BELLS ? place.dataset.bell.split(":")[1] : "due");

function look() {
  const ringing = [...document.querySelectorAll("[data-bell]")].filter((place) => place.dataset.bell);
  // Answered, here or elsewhere: nothing goes on sounding.
  if (ringing.length === 0) hush();
  ringing.sort((a, b) => GRAVE.indexOf(urgencyOf(b)) - GRAVE.indexOf(urgencyOf(a)));
  // Behind another page the tab says what rings.
  document.title = ringing.length > 0 ? `● ${ringing[0].dataset.bellWords}` : title;
  const fresh = ringing.filter((place) => firstTime(place.dataset.bell));
  if (fresh.length === 0) return;
  ring(urgencyOf(fresh[0]));
  say(fresh.map((place) => place.dataset.bellWords ?? t("A bell rings.")).join(". "));
}

function tellSound() {
  const place = document.querySelector("[data-sound]");
  if (!place) return;
  const running = context?.state === "running";
  place.hidden = false;
  place.textContent = running ? t("Bells sound.") : context ? t("Sound is blocked: tap the page, or let this site play sound in the browser's settings.") : t("Bells are silent until the first tap.");
}

/** Lets sound begin, which browsers allow on a tap; true when it plays. */
export async function enable() {
  try {
    context ??= new AudioContext();
    // A browser that forbids it may never answer.
    await Promise.race([context.resume(), new Promise((go) => { setTimeout(go, 1_000); })]);
  } catch {
    // Said below.
  }
  tellSound();
  if (context?.state === "running") sessionStorage.setItem(HEARD, "yes");
  return context?.state === "running";
}

const lost = () => document.documentElement.dataset.contact === "lost";

/** Out of contact nobody else turns the row round when its time comes. */
function due(event) {
  const row = lost() && event.target.closest(".track, .answer");
  if (!row || row.classList.contains("over")) return;
  const most = "most" in event.target.dataset;
  row.classList.add(most ? "over" : "ringing");
  const words = `${row.querySelector("h1, h2")?.textContent ?? ""} ${most ? t("The longest allowed is reached: rinse.") : row.querySelector(".next b")?.textContent ?? t("A clock is at its target.")}`.trim();
  const call = () => {
    if (!firstTime(`here:${event.target.dataset.to}:${most}:${Math.floor((now() - Number(event.target.dataset.to)) / AGAIN_MS)}`)) return;
    ring(most ? "most" : "due");
    say(words);
  };
  call();
  if (!most) return;
  const again = setInterval(() => { if (lost() && row.isConnected) call(); else clearInterval(again); }, AGAIN_MS);
}

export function start() {
  for (const kind of ["pointerdown", "keydown"]) {
    document.addEventListener(kind, () => { if (context?.state !== "running") enable(); }, { passive: true });
  }
  document.addEventListener("rinsebell:due", due);
  document.addEventListener("rinsebell:swapped", (event) => {
    title = event.detail.title || title;
    look();
  });
  tellSound();
  // Browsers may let a page sound that a tap on the page before led to: a new page is not silent for being new.
  if (sessionStorage.getItem(HEARD)) enable();
  look();
}
