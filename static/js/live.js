// News from the server: one stream a browser, shared between its tabs. What it makes stale: parts.js.
//   <body data-live="/live" data-topics="floor">
// Events: "beat" (server's now, ms, each second), "changed" ("topic version"),
// "gap" (something was missed: fetch everything), "away" (the database does not answer).
// Lost contact is told within 5 s: so long without a beat (2.5 s), the server is asked by another line (1.8 s), looked at
// each quarter of a second. Only time in which this page was awake counts, and a server that answers is not lost: a slow
// tablet and a page behind another raise no false alarm.
import { still } from "./hands.js";
import { tell as tellKept } from "./kept.js";
import { clockTime, heard, now, say, slept } from "./now.js";
import { changed, isTypedInto, refetchAll } from "./parts.js";
import { each } from "./pulse.js";
import { t } from "./words.js";

const SILENT_MS = 2_500;
const PROBE_MS = 1_800;
const AWAKE_MS = 1_000; // no beat of this page counts for more: what is longer was a stall
const STALE_MS = 10_000; // a server that answers and sends nothing: the stream is dead
const AGAIN_MS = 2_000; // so often a lost server is asked
const GRACE_MS = 1_000; // leaving a page also ends its stream: not worth an alert
const WHY_WAIT_MS = 10_000;
const LEAD = "rinsebell-live";

let channel = null;
let stream = null;
let leads = false;
let lastContact = now();
let lost = false;
let away = false; // the server answers, its database does not
let silent = 0;
let beats = 0;
let lastTick = performance.now();
let lastProbe = 0;
let probing = false;
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
  stream.addEventListener("away", () => tell({ kind: "away" }));
  stream.addEventListener("error", () => {
    tell({ kind: "error" });
    // The browser gives up after any answer but 200. Ask why before doing anything.
    if (stream?.readyState === EventSource.CLOSED) whyClosed();
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
  reopenTimer = setTimeout(() => { if (leads) open(); }, retryMs);
}

function lead() {
  leads = true;
  open();
}

/** Waits for its turn to lead, or takes it from a tab that the browser has frozen. */
function queue(steal) {
  const held = () => { lead(); return new Promise(() => {}); };
  navigator.locks.request(LEAD, steal ? { steal } : {}, held).catch(() => {
    // Taken by another tab.
    leads = false;
    clearTimeout(reopenTimer);
    stream?.close();
    stream = null;
    queue(false);
  });
}

/** To this tab and to all others. */
function tell(news) {
  channel?.postMessage(news);
  hear(news);
}

// ---- Silence

function watch() {
  if (slept()) {
    // After a sleep the line may be dead without a word: a new one at once, by whoever leads.
    document.dispatchEvent(new CustomEvent("rinsebell:woke"));
    if (leads) open();
    else refetchAll();
  }
  const at = performance.now();
  silent += Math.min(at - lastTick, AWAKE_MS);
  lastTick = at;
  if (probing || away) return;
  if (lost ? at - lastProbe >= AGAIN_MS : silent >= SILENT_MS) probe();
}

async function probe() {
  probing = true;
  const [began, before] = [performance.now(), beats];
  lastProbe = began;
  let answered = false;
  try {
    answered = (await fetch("/health/live", { cache: "no-store", signal: AbortSignal.timeout(PROBE_MS) })).ok;
  } catch {
    // Nobody answered, or not in time.
  }
  // News that came while this page was busy is heard first.
  await new Promise((go) => { setTimeout(go); });
  probing = false;
  if (beats !== before) return;
  const stalled = performance.now() - began > PROBE_MS + AWAKE_MS;
  if (!answered && !stalled) return lose();
  silent = 0;
  if (!answered || (!lost && now() - lastContact < STALE_MS)) return;
  if (leads || !navigator.locks) open();
  else queue(true);
}

// ---- What a tab does with news

function hear(news) {
  if (news.kind === "beat" || news.kind === "changed") contact(news.now);
  if (news.kind === "open") refetchAll();
  if (news.kind === "changed") changed(news.line);
  if (news.kind === "error") soonLost();
  if (news.kind === "away") {
    [away, silent] = [true, 0];
    lose();
  }
  if (news.kind === "signed-out") signedOut();
}

function contact(serverNow) {
  if (Number.isFinite(serverNow)) heard(serverNow);
  lastContact = now();
  [away, silent] = [false, 0];
  beats += 1;
  clearTimeout(graceTimer);
  graceTimer = 0;
  if (!lost) return;
  lost = false;
  still(() => { if (!lost) document.getElementById("contact").replaceChildren(); });
  delete document.documentElement.dataset.contact;
  say(t("Connected again."));
  document.dispatchEvent(new CustomEvent("rinsebell:contact", { detail: { lost: false } }));
}

function soonLost() {
  if (lost || graceTimer) return;
  graceTimer = setTimeout(lose, navigator.onLine ? GRACE_MS : 0);
}

function lose() {
  clearTimeout(graceTimer);
  graceTimer = 0;
  if (lost) return;
  lost = true;
  const words = document.createElement("p");
  words.className = "lost";
  words.textContent = `${t("No contact since {}. Clocks go on; signing waits.", clockTime(lastContact))} `;
  const more = document.createElement("small");
  more.textContent = t("What you tap is kept here and sent when the server is back.");
  words.append(more);
  still(() => { if (lost) document.getElementById("contact").replaceChildren(words); });
  document.documentElement.dataset.contact = "lost";
  document.dispatchEvent(new CustomEvent("rinsebell:contact", { detail: { lost: true } }));
  tellKept();
}

function signedOut() {
  if (!isTypedInto()) return reloadOnce();
  const words = document.createElement("p");
  words.className = "lost";
  words.textContent = t("This station was locked. What you typed is still here: copy it, then load the page again.");
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
  // A request nobody answered: is the server there?
  document.addEventListener("rinsebell:unheard", () => { if (!navigator.onLine) soonLost(); else if (!lost && !probing && silent > AWAKE_MS) probe(); });
  each(watch);
  document.addEventListener("visibilitychange", watch);
  addEventListener("offline", () => hear({ kind: "error" }));

  channel = "BroadcastChannel" in window ? new BroadcastChannel(LEAD) : null;
  channel?.addEventListener("message", (event) => hear(event.data));
  if (!channel || !navigator.locks) return lead();
  // Held until this tab closes; then the next in line leads. Kept while hidden: bells must ring.
  queue(false);
}
