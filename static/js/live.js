// News from the server: one stream a browser, shared between its tabs. What it makes stale: parts.js.
//   <body data-live="/live" data-topics="floor">
// Events: "beat" (server's now, ms), "changed" ("topic version"),
// "gap" (something was missed: fetch everything), "away" (the database does not answer).
import { still } from "./hands.js";
import { clockTime, heard, now, say, slept } from "./now.js";
import { changed, isTypedInto, refetchAll } from "./parts.js";

const SILENCE_MS = 45_000; // a beat comes every few seconds; this long without means the line is dead
const DOUBT_MS = 12_000; // this long without a beat and an answer that did not come: the line is dead
const GRACE_MS = 1_000; // leaving a page also ends its stream: not worth an alert
const WHY_WAIT_MS = 10_000;

let channel = null;
let stream = null;
let lastContact = now();
let lost = false;
let graceTimer = 0;
let reopenTimer = 0;
let retryMs = 1_000;

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
    const answer = await fetch(location.href, { method: "HEAD", redirect: "manual", cache: "no-store", signal: AbortSignal.timeout(WHY_WAIT_MS) });
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

/** After a sleep the line may be dead without a word: a new one at once, by whoever leads. */
function wakeUp() {
  if (!slept()) return;
  document.dispatchEvent(new CustomEvent("rinsebell:woke"));
  if (stream) open();
  else refetchAll();
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
  still(() => { if (!lost) document.getElementById("contact").replaceChildren(); });
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
  still(() => { if (lost) document.getElementById("contact").replaceChildren(words); });
  document.documentElement.dataset.contact = "lost";
  document.dispatchEvent(new CustomEvent("rinsebell:contact", { detail: { lost: true } }));
}

function signedOut() {
  if (!isTypedInto()) return reloadOnce();
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

export function start() {
  if (!document.body.dataset.live) return;
  document.addEventListener("rinsebell:signed-out", signedOut);
  // The stream says when contact is back, and then everything is fetched again.
  document.addEventListener("rinsebell:unheard", () => { if (!navigator.onLine || now() - lastContact > DOUBT_MS) soonLost(); });
  setInterval(wakeUp, 1_000);
  document.addEventListener("visibilitychange", wakeUp);
  addEventListener("offline", () => hear({ kind: "error" }));

  channel = "BroadcastChannel" in window ? new BroadcastChannel("rinsebell-live") : null;
  channel?.addEventListener("message", (event) => hear(event.data));
  if (!channel || !navigator.locks) return lead();
  // Held until this tab closes; then the next in line leads. Kept while hidden: bells must ring.
  navigator.locks.request("rinsebell-live", () => { lead(); return new Promise(() => {}); });
  // A tab that does not lead notices silence too: its leader may be frozen.
  setInterval(() => { if (now() - lastContact > SILENCE_MS) soonLost(); }, 5_000);
}
