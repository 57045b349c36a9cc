// Facts and permissions.
//   <form data-fact="section_started">: a fact. Sent by fetch, answered on the glass at once; without
//     contact it is kept at this station with its instant and sent when the server is back.
//     data-reveal="ID" shows that element at once (rinse and first-aid words on a stop).
//   <form data-permission>: exists only once the server has said yes; waits while there is no contact.
import { clockTime, now, say } from "./now.js";

const KEPT = "rinsebell_kept"; // facts waiting for the server
const NOT_TAKEN = "rinsebell_not_taken"; // facts the server answered with a refusal: shown until noted
const WAIT_MS = 8_000;
const SAME_TAP_MS = 700;

function read(key) {
  try {
    const list = JSON.parse(localStorage.getItem(key) ?? "[]");
    return Array.isArray(list) ? list : [];
  } catch {
    return [];
  }
}

function write(key, list) {
  try {
    localStorage.setItem(key, JSON.stringify(list));
    return true;
  } catch {
    return false;
  }
}

/** A random identity (version 4, RFC 9562); pages without a secure context lack randomUUID. */
function factId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

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
const own = new Set(); // bodies this page made

function onSubmit(event) {
  const form = event.target;
  if (form.matches("[data-permission]") && document.documentElement.dataset.contact === "lost") {
    event.preventDefault();
    say("Waits until the server is back.");
    return;
  }
  if (!form.matches("[data-fact]")) return;
  event.preventDefault();
  const button = event.submitter;
  const tap = button ?? form;
  if (now() - (lastTap.get(tap) ?? -Infinity) < SAME_TAP_MS) return;
  lastTap.set(tap, now());
  const body = new URLSearchParams(new FormData(form, button));
  identify(body);
  body.set("happened_at", new Date(now()).toISOString());
  const words = (button?.dataset.words ?? button?.textContent ?? form.dataset.fact).replace(/\s+/g, " ").trim();
  // Seen at once, before anything is sent.
  button?.classList.add("kept");
  button?.setAttribute("aria-busy", "true");
  if (form.dataset.reveal) document.getElementById(form.dataset.reveal)?.removeAttribute("hidden");
  const fact = { url: form.action, body: body.toString(), happened: now(), words };
  // Kept first: a page that dies between the tap and the answer loses nothing.
  own.add(fact.body);
  const kept = write(KEPT, [...read(KEPT), fact]);
  deliver(fact, button, kept);
}

function drop(fact) {
  write(KEPT, read(KEPT).filter((other) => other.body !== fact.body));
}

async function post(fact) {
  onItsWay.add(fact.body);
  try {
    return await send(fact);
  } finally {
    onItsWay.delete(fact.body);
  }
}

function send(fact) {
  return fetch(fact.url, {
    method: "POST",
    headers: { "Content-Type": "application/x-www-form-urlencoded", "X-Rinsebell-Fact": "1" },
    body: fact.body,
    signal: AbortSignal.timeout(WAIT_MS),
    keepalive: true,
  });
}

/** The server did not decide about the fact: it is kept. */
function undecided(status) {
  return status >= 500 || [401, 403, 408, 425, 429].includes(status);
}

async function deliver(fact, button, kept) {
  try {
    const answer = await post(fact);
    if (undecided(answer.status)) throw new Error(`answered ${answer.status}`);
    drop(fact);
    button?.classList.remove("kept");
    button?.removeAttribute("aria-busy");
    if (answer.ok) return show(answer);
    return refused(await answer.text(), fact);
  } catch {
    button?.removeAttribute("aria-busy");
    say(kept ? `Kept here: ${fact.words}.` : `Not kept: ${fact.words}. Write it down.`);
    tell();
  }
}

/** After a fact the page shows what is now: its parts, or the page the server led to. */
function show(answer) {
  // The answer to the act before has been overtaken.
  for (const old of document.querySelectorAll("[data-answer]")) old.remove();
  if (document.querySelector("[data-part]")) document.dispatchEvent(new CustomEvent("rinsebell:refetch"));
  else if (answer.redirected) location.assign(answer.url);
  else location.reload();
}

/** Shows the refusal the server gave, in place of the page's own words. */
function refused(html, fact) {
  const page = new DOMParser().parseFromString(html, "text/html");
  const main = page.querySelector("main");
  if (!main) {
    write(NOT_TAKEN, [...read(NOT_TAKEN), fact]);
    return tell();
  }
  document.querySelector("main").replaceWith(document.adoptNode(main));
  document.querySelector(".refusal")?.focus();
}

/** Sends what is kept, in the order it happened. One tab at a time; the server takes each fact once. */
async function resend() {
  if (read(KEPT).length === 0) return;
  const work = async () => {
    let sent = 0;
    for (const fact of read(KEPT)) {
      // One still on its way, here or from another tab's tap, is left to it.
      if (onItsWay.has(fact.body) || (!own.has(fact.body) && now() - fact.happened < WAIT_MS)) continue;
      try {
        const answer = await post(fact);
        if (undecided(answer.status)) break;
        drop(fact);
        if (answer.ok) sent += 1;
        else write(NOT_TAKEN, [...read(NOT_TAKEN), fact]);
      } catch {
        break;
      }
    }
    if (sent > 0) document.dispatchEvent(new CustomEvent("rinsebell:refetch"));
    tell();
  };
  if (navigator.locks) await navigator.locks.request("rinsebell-kept", { ifAvailable: true }, (lock) => (lock ? work() : undefined));
  else await work();
}

/** Says how many facts wait here, and which were not taken. */
function tell() {
  document.getElementById("kept")?.remove();
  const [kept, notTaken] = [read(KEPT), read(NOT_TAKEN)];
  if (kept.length + notTaken.length === 0) return;
  const place = document.createElement("div");
  place.id = "kept";
  place.className = notTaken.length > 0 ? "refusal" : "notice";
  const line = (words) => place.append(Object.assign(document.createElement("p"), { textContent: words }));
  if (kept.length > 0) line(`Kept here until the server is back: ${kept.map((fact) => `${fact.words}, ${clockTime(fact.happened)}`).join("; ")}.`);
  if (notTaken.length > 0) {
    line(`The server did not take: ${notTaken.map((fact) => `${fact.words}, ${clockTime(fact.happened)}`).join("; ")}. Have it put on record by hand.`);
    const noted = Object.assign(document.createElement("button"), { type: "button", className: "act", textContent: "It is noted" });
    noted.addEventListener("click", () => { write(NOT_TAKEN, []); tell(); });
    place.append(noted);
  }
  document.getElementById("contact")?.after(place);
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
    const why = Object.assign(document.createElement("span"), { className: "why", textContent: "Waits for the server." });
    why.dataset.contact = "";
    form.append(why);
  }
}

export function start() {
  document.addEventListener("submit", onSubmit);
  document.addEventListener("rinsebell:contact", (event) => { permissions(); if (!event.detail.lost) resend(); });
  document.addEventListener("rinsebell:swapped", permissions);
  setInterval(resend, 15_000);
  resend();
  tell();
}
