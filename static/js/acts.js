// Facts and permissions.
//   <form data-fact="section_started">: a fact. Sent by fetch, answered on the glass at once; without
//     contact it is kept at this station with its instant and sent when the server is back.
//     data-reveal="ID" shows that element at once (rinse and first-aid words on a stop).
//   <form data-permission>: exists only once the server has said yes; waits while there is no contact.
import { awaited, fingersUp } from "./hands.js";
import * as kept from "./kept.js";
import { clockTime, now, say, sure } from "./now.js";
import { each } from "./pulse.js";
import { t } from "./words.js";

const WAIT_MS = 8_000;
const SAME_TAP_MS = 700;
const OVERTAKE_MS = 4_000; // a tap waits this long for the answer to the one before it
const AGAIN_MS = 2_000; // so soon a tap nobody answered is sent again
const OTHERS_MS = 2_500; // so long a tap of another page is left to that page

/** A random identity (version 4, RFC 9562); pages without a secure context lack randomUUID. */
function factId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

const TAKE_BACK_MS = 1_500; // a second tap in the same place takes back nothing more
let lastTakeBack = -Infinity;

const ANSWERING = "rinsebell_answering"; // the page whose questions are being answered

const lastTap = new WeakMap();
const idOf = new Map(); // what was sent from one showing of a form → its fact's identity
const taken = new Set(); // identities of a form that some tap has used

/** A form shows one identity; a second, different tap on it before it is swapped is another fact. */
function identify(body) {
  const shown = body.get("fact_id") ?? "";
  const what = body.toString();
  if (!idOf.has(what)) idOf.set(what, shown && !taken.has(shown) ? shown : factId());
  taken.add(shown);
  body.set("fact_id", idOf.get(what));
}

const onItsWay = new Set(); // bodies this page is sending just now
const own = new Map(); // bodies this page made → the button that was tapped
let before = Promise.resolve(); // the tap before, answered or not

const pause = (ms) => new Promise((go) => { setTimeout(go, ms); });

function onSubmit(event) {
  const form = event.target;
  if (form.matches("[data-permission]") && document.documentElement.dataset.contact === "lost") {
    event.preventDefault();
    say(t("Waits until the server is back."));
    return;
  }
  if (form.matches("#pause form, #scalp")) sessionStorage.setItem(ANSWERING, location.pathname);
  // A practice keeps nothing: its taps lead to the next page, as they do without script.
  if (!form.matches("[data-fact]") || document.body.classList.contains("practised")) return;
  event.preventDefault();
  const button = event.submitter;
  const tap = button ?? form;
  if (now() - (lastTap.get(tap) ?? -Infinity) < SAME_TAP_MS) return;
  lastTap.set(tap, now());
  if (form.dataset.fact === "fact_withdrawn") {
    if (now() - lastTakeBack < TAKE_BACK_MS) return;
    lastTakeBack = now();
  }
  const body = new URLSearchParams(new FormData(form, button));
  identify(body);
  body.set("happened_at", new Date(now()).toISOString());
  const words = (button?.dataset.words ?? button?.textContent ?? form.dataset.fact).replace(/\s+/g, " ").trim();
  // Seen at once, before anything is sent.
  button?.classList.add("kept");
  button?.setAttribute("aria-busy", "true");
  if (form.dataset.reveal) document.getElementById(form.dataset.reveal)?.removeAttribute("hidden");
  if (form.dataset.fact === "closing_started") begunHere(form);
  send({ url: form.action, body: body.toString(), happened: now(), wall: Date.now(), sure: sure(), words }, button, Boolean(form.dataset.reveal));
}

/** Keeps a fact and sends it on its way. */
function send(fact, button, atOnce) {
  // Kept first: a page that dies between the tap and the answer loses nothing.
  own.set(fact.body, button);
  onItsWay.add(fact.body);
  const isKept = kept.keep(fact);
  if (isKept && document.documentElement.dataset.contact === "lost") kept.tell();
  // Sent in the order of the taps, that the record has them so; a stop waits for nobody.
  const turn = atOnce ? null : Promise.race([before, pause(OVERTAKE_MS)]);
  before = awaited(deliver(fact, button, isKept, turn));
}

/** Takes back a tap that is kept here and nowhere else: both go on record. */
function takeBack(fact) {
  const body = new URLSearchParams({ kind: "fact_withdrawn", taken_back: new URLSearchParams(fact.body).get("fact_id"), reason: "tapped by mistake", fact_id: factId(), happened_at: new Date(now()).toISOString() });
  own.get(fact.body)?.classList.remove("kept");
  send({ url: fact.url, body: body.toString(), happened: now(), wall: Date.now(), sure: sure(), words: t("Taken back: {}", fact.words) }, null, false);
  kept.tell();
}

/** A closing step begun without contact has its clock here until the server gives it one. */
function begunHere(form) {
  const place = document.querySelector(".answer");
  if (!place || document.documentElement.dataset.contact !== "lost") return;
  const line = Object.assign(document.createElement("p"), { className: "left" });
  const clock = Object.assign(document.createElement("span"), { className: "clock main", textContent: "0:00" });
  Object.assign(clock.dataset, { clock: "up", from: String(now()) });
  clock.setAttribute("role", "timer");
  const words = document.createElement("span");
  words.textContent = t("on, {}, begun here at {}, not confirmed. {}", form.dataset.title, clockTime(now()), form.dataset.works);
  line.append(clock, " ", words);
  place.append(line);
}

/** What is sent. The instant of a tap that rests on the device's clock is counted back from the server's: that clock may
 * have been put forward rather than the device have slept. */
function bodyOf(fact) {
  if (fact.sure ?? true) return fact.body;
  const body = new URLSearchParams(fact.body);
  body.set("happened_at", new Date(now() - Math.max(0, Date.now() - fact.wall)).toISOString());
  return body.toString();
}

async function post(fact) {
  onItsWay.add(fact.body);
  try {
    // A redirect is no answer to a fact: it leads to the door, where this browser is a stranger.
    const answer = await fetch(fact.url, {
      method: "POST",
      headers: { "Content-Type": "application/x-www-form-urlencoded", "X-Rinsebell-Fact": "1" },
      body: bodyOf(fact),
      redirect: "manual",
      signal: AbortSignal.timeout(WAIT_MS),
      keepalive: true,
    });
    return { status: answer.status, ok: answer.ok, html: answer.ok ? "" : await answer.text() };
  } finally {
    onItsWay.delete(fact.body);
  }
}

function later(fact) {
  onItsWay.delete(fact.body);
  return { status: 0 };
}

/** The server did not decide about the fact: it is kept. (0: it led elsewhere.) */
function undecided(status) {
  return status === 0 || status >= 500 || [401, 403, 408, 425, 429].includes(status);
}

async function deliver(fact, button, isKept, turn) {
  if (turn) await turn;
  let answer;
  try {
    // While only the device's clock says when it is, the server is heard first; a stop waits for nothing.
    answer = turn && !sure() ? later(fact) : await post(fact);
  } catch {
    answer = { status: 0 }; // nobody answered
    document.dispatchEvent(new CustomEvent("rinsebell:unheard"));
  }
  button?.removeAttribute("aria-busy");
  if (undecided(answer.status)) {
    say(isKept ? t("Kept here: {}.", fact.words) : t("Not kept: {}. Write it down.", fact.words));
    if (isKept) soon();
    return kept.tell();
  }
  kept.drop(fact);
  kept.tell();
  button?.classList.remove("kept");
  if (answer.ok) show();
  else refused(answer.html, fact);
}

/** After a fact the page shows what is now. */
function show() {
  // The answer to the act before has been overtaken.
  for (const old of document.querySelectorAll("[data-answer]")) old.remove();
  if (document.querySelector("main [data-part]")) document.dispatchEvent(new CustomEvent("rinsebell:refetch"));
  else location.reload();
}

/** Shows the refusal the server gave, in place of the page's own words. */
async function refused(html, fact) {
  const page = new DOMParser().parseFromString(html, "text/html");
  const main = page.querySelector("main");
  if (!main?.querySelector(".refusal")) {
    kept.notTaken(fact);
    return kept.tell();
  }
  const words = document.createElement("p");
  words.textContent = t("Taken back here, because the server did not take it: {}, {}.", fact.words, clockTime(fact.happened));
  main.querySelector(".refusal").append(words);
  await fingersUp();
  document.querySelector("main").replaceWith(document.adoptNode(main));
  say(words.textContent);
  document.querySelector(".refusal")?.focus();
}

let again = 0;

function soon() {
  clearTimeout(again);
  again = setTimeout(resend, AGAIN_MS);
}

/** Sends what is kept, in the order it happened. One tab at a time; the server takes each fact once. */
async function resend() {
  if (kept.kept().length === 0) return;
  if (!sure()) return soon();
  const work = async () => {
    let [sent, left] = [0, false];
    for (const fact of kept.kept()) {
      // One still on its way, here or from another tab's tap, is left to it.
      if (onItsWay.has(fact.body)) continue;
      const age = now() - fact.happened;
      if (!own.has(fact.body) && age >= 0 && age < OTHERS_MS) {
        left = true;
        continue;
      }
      let answer;
      try {
        answer = await post(fact);
      } catch {
        break;
      }
      // One the server breaks on does not hold up the others.
      if (answer.status === 500) continue;
      if (undecided(answer.status)) break;
      kept.drop(fact);
      if (answer.ok) sent += 1;
      else kept.notTaken(fact);
    }
    if (sent > 0) document.dispatchEvent(new CustomEvent("rinsebell:refetch"));
    if (left) setTimeout(resend, OTHERS_MS);
    kept.tell();
  };
  if (navigator.locks) await navigator.locks.request("rinsebell-kept", { ifAvailable: true }, (lock) => (lock ? work() : undefined));
  else await work();
}

/** Permissions wait while there is no contact, with the reason beside them. */
function permissions() {
  const lost = document.documentElement.dataset.contact === "lost";
  for (const form of document.querySelectorAll("form[data-permission]")) {
    form.querySelector(".why[data-contact]")?.remove();
    for (const button of form.querySelectorAll("button:not([type=button])")) {
      if (lost) button.setAttribute("aria-disabled", "true");
      else button.removeAttribute("aria-disabled");
    }
    if (!lost) continue;
    const why = Object.assign(document.createElement("span"), { className: "why", textContent: t("Waits for the server.") });
    why.dataset.contact = "";
    form.append(why);
  }
}

/** One question was answered: the next that waits is in view, without a scroll. */
function nextQuestion() {
  if (sessionStorage.getItem(ANSWERING) !== location.pathname) return;
  sessionStorage.removeItem(ANSWERING);
  document.querySelector("#pause form[id^=hp-]")?.scrollIntoView({ block: "center", behavior: "instant" });
}

export function start() {
  kept.start();
  nextQuestion();
  document.addEventListener("submit", onSubmit);
  document.addEventListener("rinsebell:contact", (event) => { permissions(); if (!event.detail.lost) resend(); });
  document.addEventListener("rinsebell:swapped", permissions);
  document.addEventListener("rinsebell:take-back", (event) => takeBack(event.detail));
  let tried = now();
  each(() => {
    if (now() - tried < 15_000) return;
    tried = now();
    resend();
  });
  resend();
  kept.tell();
}
