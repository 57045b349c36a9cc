// News from the server: one stream a browser, shared between its tabs, and the parts it makes stale.
//   <body data-live="/live" data-topics="floor">
//   <section data-part="/runs/12/clock" data-topics="run:12"> is fetched again when its topic changes;
//   data-every="60" also fetches it again each 60 seconds.
// Events: "beat" (server's now, ms), "changed" ("topic version"),
// "gap" (something was missed: fetch everything), "away" (the database does not answer).
import { clockTime, heard, now, say } from "./now.js";

const SILENCE_MS = 45_000; // a beat comes every few seconds; this long without means the line is dead
const GRACE_MS = 1_000; // leaving a page also ends its stream: not worth an alert
const PART_WAIT_MS = 10_000;

let channel = null;
let stream = null;
let lastContact = now();
let lost = false;
let graceTimer = 0;
let reopenTimer = 0;
let retryMs = 1_000;
const versions = new Map();
const typedInto = new WeakSet();
const running = new Map();

// ---- The stream, held by one tab

function open() {
  clearTimeout(reopenTimer);
  stream?.close();
  stream = new EventSource(document.body.dataset.live);
  stream.addEventListener("open", () => { retryMs = 1_000; tell({ kind: "open" }); });
  stream.addEventListener("beat", (event) => tell({ kind: "beat", now: Number(event.data) }));
  stream.addEventListener("changed", (event) => tell({ kind: "changed", line: event.data }));
  stream.addEventListener("gap", () => tell({ kind: "open" }));
  stream.addEventListener("away", () => tell({ kind: "error" }));
  stream.addEventListener("error", () => {
    tell({ kind: "error" });
    // The browser gives up after any answer but 200. Ask why before doing anything.
    if (stream.readyState === EventSource.CLOSED) whyClosed();
  });
}

async function whyClosed() {
  try {
    const answer = await fetch(location.href, { method: "HEAD", redirect: "manual", cache: "no-store", signal: AbortSignal.timeout(PART_WAIT_MS) });
    if (answer.status === 401 || answer.type === "opaqueredirect") return tell({ kind: "signed-out" });
  } catch {
    // Not to be reached: try again below.
  }
  retryMs = Math.min(retryMs * 2, 15_000);
  reopenTimer = setTimeout(open, retryMs);
}

function lead() {
  open();
  setInterval(() => {
    if (now() - lastContact > SILENCE_MS) {
      tell({ kind: "error" });
      lastContactTold();
      open();
    }
  }, 5_000);
}

// After a silence the stream is opened anew; the next check waits a full silence again.
let silenceSince = 0;
function lastContactTold() {
  silenceSince ||= lastContact;
  lastContact = now();
}

/** To this tab and to all others. */
function tell(news) {
  channel?.postMessage(news);
  hear(news);
}

// ---- What a tab does with news

function hear(news) {
  if (news.kind === "beat" || news.kind === "open" || news.kind === "changed") contact(news.now);
  if (news.kind === "open") refetchAll();
  if (news.kind === "changed") changed(news.line);
  if (news.kind === "error") soonLost();
  if (news.kind === "signed-out") signedOut();
}

function contact(serverNow) {
  if (Number.isFinite(serverNow)) heard(serverNow);
  lastContact = now();
  silenceSince = 0;
  clearTimeout(graceTimer);
  graceTimer = 0;
  if (!lost) return;
  lost = false;
  document.getElementById("contact").replaceChildren();
  delete document.documentElement.dataset.contact;
  say("Connected again.");
  document.dispatchEvent(new CustomEvent("rinsebell:contact", { detail: { lost: false } }));
}

function soonLost() {
  if (lost || graceTimer) return;
  graceTimer = setTimeout(lose, navigator.onLine ? GRACE_MS : 0);
}

function lose() {
  graceTimer = 0;
  lost = true;
  const words = document.createElement("p");
  words.className = "lost";
  words.textContent = `No contact since ${clockTime(silenceSince || lastContact)}. Clocks go on; signing waits. `;
  const more = document.createElement("small");
  more.textContent = "What you tap is kept here and sent when the server is back.";
  words.append(more);
  document.getElementById("contact").replaceChildren(words);
  document.documentElement.dataset.contact = "lost";
  document.dispatchEvent(new CustomEvent("rinsebell:contact", { detail: { lost: true } }));
}

function signedOut() {
  if (![...document.forms].some((form) => typedInto.has(form))) return reloadOnce();
  const words = document.createElement("p");
  words.className = "lost";
  words.textContent = "This station was locked. What you typed is still here: copy it, then load the page again.";
  document.getElementById("contact").replaceChildren(words);
}

/** A page that comes back with the same answer is not loaded over and over. */
function reloadOnce() {
  const key = "rinsebell_reloaded";
  if (Date.now() - Number(sessionStorage.getItem(key) ?? 0) < 30_000) return;
  sessionStorage.setItem(key, String(Date.now()));
  location.reload();
}

// ---- Parts

function changed(line) {
  const [topic, version] = line.split(" ");
  if (version !== undefined) {
    if (Number(version) <= (versions.get(topic) ?? -1)) return;
    versions.set(topic, Number(version));
  }
  for (const part of document.querySelectorAll("[data-part]")) {
    const topics = (part.dataset.topics ?? document.body.dataset.topics ?? "").split(" ");
    if (topics.includes(topic)) refetch(part.dataset.part);
  }
}

/** Fetches every part of the page again. */
export function refetchAll() {
  for (const part of document.querySelectorAll("[data-part]")) refetch(part.dataset.part);
}

/** Fetches one part again; asked for while it is on its way, once more after it. */
export async function refetch(url) {
  if (running.has(url)) {
    running.set(url, true);
    return;
  }
  running.set(url, false);
  try {
    const answer = await fetch(url, { headers: { "X-Rinsebell-Part": "1" }, cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(PART_WAIT_MS) });
    if (answer.status === 401 || answer.type === "opaqueredirect") signedOut();
    else if (answer.ok) await swap(url, await answer.text());
  } catch {
    // The stream says when contact is back, and then everything is fetched again.
    soonLostUnlessHeard();
  } finally {
    const again = running.get(url);
    running.delete(url);
    if (again) refetch(url);
  }
}

function soonLostUnlessHeard() {
  if (!navigator.onLine) soonLost();
}

// A part is not swapped away under a finger: the browser would lose the tap.
let fingerUp = Promise.resolve();
function watchFinger() {
  let lift = () => {};
  document.addEventListener("pointerdown", () => {
    lift();
    fingerUp = new Promise((resolve) => { lift = resolve; });
    // The click follows the lift; a lift that is never told ends after two seconds.
    const lifted = lift;
    setTimeout(lifted, 2_000);
  }, true);
  for (const kind of ["click", "pointercancel"]) document.addEventListener(kind, () => setTimeout(lift), true);
}

async function swap(url, html) {
  await fingerUp;
  const old = [...document.querySelectorAll("[data-part]")].find((part) => part.dataset.part === url);
  if (!old) return;
  if ([...old.querySelectorAll("form")].some((form) => typedInto.has(form))) return;
  const answer = new DOMParser().parseFromString(html, "text/html");
  const fresh = [...answer.querySelectorAll("[data-part]")].find((part) => part.dataset.part === url) ?? answer.body.firstElementChild;
  if (!fresh) return;
  const focus = old.contains(document.activeElement) ? document.activeElement : null;
  const opened = [...old.querySelectorAll("details[id][open]")].map((details) => details.id);
  const [left, top] = [scrollX, scrollY];
  old.replaceWith(document.adoptNode(fresh));
  for (const id of opened) document.getElementById(id)?.setAttribute("open", "");
  if (focus) again(focus, fresh)?.focus({ preventScroll: true });
  scrollTo(left, top);
  document.dispatchEvent(new CustomEvent("rinsebell:swapped", { detail: { part: fresh } }));
}

/** The element of the fresh part that stands for the one that had the focus. */
function again(focus, fresh) {
  if (focus.id) return document.getElementById(focus.id);
  if (focus.name) {
    return [...fresh.querySelectorAll("[name]")].find((field) => field.name === focus.name && field.value === focus.value);
  }
  if (focus.href) return [...fresh.querySelectorAll("a[href]")].find((link) => link.href === focus.href);
  return null;
}

export function start() {
  watchFinger();
  for (const kind of ["input", "change"]) {
    document.addEventListener(kind, (event) => { if (event.target.form) typedInto.add(event.target.form); });
  }
  for (const kind of ["submit", "reset"]) {
    document.addEventListener(kind, (event) => typedInto.delete(event.target));
  }
  if (!document.body.dataset.live) return;

  document.addEventListener("rinsebell:due", (event) => {
    const part = event.target.closest("[data-part]");
    if (part) refetch(part.dataset.part);
  });
  document.addEventListener("rinsebell:refetch", refetchAll);
  setInterval(() => {
    for (const part of document.querySelectorAll("[data-every]")) {
      const due = Number(part.dataset.fetchedAt ?? 0) + Number(part.dataset.every) * 1000;
      if (!part.dataset.fetchedAt) part.dataset.fetchedAt = String(now());
      else if (now() >= due && !lost) {
        part.dataset.fetchedAt = String(now());
        refetch(part.dataset.part);
      }
    }
  }, 1_000);
  addEventListener("offline", () => hear({ kind: "error" }));
  addEventListener("pageshow", (event) => { if (event.persisted) refetchAll(); });

  channel = "BroadcastChannel" in window ? new BroadcastChannel("rinsebell-live") : null;
  channel?.addEventListener("message", (event) => hear(event.data));
  if (!channel || !navigator.locks) return lead();
  // Held until this tab closes; then the next in line leads. Kept while hidden: bells must ring.
  navigator.locks.request("rinsebell-live", () => { lead(); return new Promise(() => {}); });
  // A tab that does not lead notices silence too: its leader may be frozen.
  setInterval(() => { if (now() - lastContact > SILENCE_MS) soonLost(); }, 5_000);
}
