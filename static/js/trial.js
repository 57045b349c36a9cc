// The bells tried at the start of the day, one after the other; what was heard is remembered at this station.
//   <section data-trial> with li[data-urgency], [data-trial-say] and [data-trial-act]
import { enable, ring } from "./bell.js";
import { now } from "./now.js";
import { each } from "./pulse.js";

const TRIED = "rinsebell_trial"; // { day, heard }
let at = -1; // which bell is being tried

function day() {
  try {
    return new Intl.DateTimeFormat("en-CA", { timeZone: document.body.dataset.zone }).format(now());
  } catch {
    return new Date(now()).toISOString().slice(0, 10);
  }
}

function result() {
  try {
    const tried = JSON.parse(localStorage.getItem(TRIED));
    return tried?.day === day() ? (tried.heard ? "heard" : "unheard") : "due";
  } catch {
    return "due";
  }
}

function settle(heard) {
  at = -1;
  try {
    localStorage.setItem(TRIED, JSON.stringify({ day: day(), heard }));
  } catch {
    // Asked again tomorrow, or after the next load.
  }
}

function show(box, said) {
  for (const line of box.querySelectorAll("[data-trial-say]")) line.hidden = at >= 0 || line.dataset.trialSay !== said;
  for (const button of box.querySelectorAll("[data-trial-act]")) button.hidden = (button.dataset.trialAct === "begin") === at >= 0;
  box.querySelectorAll("li").forEach((line, n) => {
    if (n === at) line.setAttribute("aria-current", "true");
    else line.removeAttribute("aria-current");
  });
}

async function act(box, what) {
  const bells = [...box.querySelectorAll("li")];
  if (what === "begin") at = 0;
  if (what === "yes") at += 1;
  if (what === "no") settle(false);
  if (at >= bells.length) settle(true);
  if (at >= 0 && !((await enable()) && ring(bells[at].dataset.urgency))) {
    at = -1;
    return show(box, "blocked");
  }
  show(box, result());
  box.querySelector("[data-trial-act]:not([hidden])")?.focus({ preventScroll: true });
}

export function start() {
  const box = document.querySelector("[data-trial]");
  if (!box) return;
  box.hidden = false;
  show(box, result());
  for (const button of box.querySelectorAll("[data-trial-act]")) button.addEventListener("click", () => act(box, button.dataset.trialAct));
  // A page that stays open over night asks in the morning.
  let looked = now();
  each(() => {
    if (at >= 0 || now() - looked < 60_000) return;
    looked = now();
    show(box, result());
  });
}
