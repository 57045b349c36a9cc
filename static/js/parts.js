// The live parts of a page: fetched again when what they follow has changed, swapped when no hand is at them.
//   <section data-part="/runs/12/live" data-topics="run:12"> is fetched again when its topic changes;
//   data-every="60" also fetches it again each 60 seconds.
import { handsOff } from "./hands.js";
import { now } from "./now.js";
import { each } from "./pulse.js";
import { t } from "./words.js";

const WAIT_MS = 10_000;
const RETRY_MS = 3_000;

const lastVersion = new Map();
const running = new Map(); // url on its way → asked for once more meanwhile
const typedInto = new WeakSet();

const all = () => [...document.querySelectorAll("[data-part]")];
const lost = () => document.documentElement.dataset.contact === "lost";

/** Takes in "topic version". The same news is taken once; a lower version is news as well, since
 * versions are given before a commit and transactions end in any order. */
export function changed(line) {
  const [topic, version] = line.split(" ");
  if (version !== undefined && lastVersion.get(topic) === version) return;
  if (lastVersion.size > 500) lastVersion.clear(); // a page may stand for weeks, each service is a topic
  lastVersion.set(topic, version);
  for (const part of all()) {
    const topics = (part.dataset.topics ?? document.body.dataset.topics ?? "").split(" ");
    if (topics.includes(topic)) refetch(part.dataset.part);
  }
}

/** Fetches every part of the page again. */
export function refetchAll() {
  for (const part of all()) refetch(part.dataset.part);
}

/** Something was typed on this page and not sent. */
export function isTypedInto() {
  return [...document.forms].some((form) => typedInto.has(form));
}

/** Fetches one part again; asked for while it is on its way, once more after it. */
async function refetch(url) {
  if (running.has(url)) {
    running.set(url, true);
    return;
  }
  running.set(url, false);
  try {
    const answer = await fetch(url, { headers: { "X-Rinsebell-Part": "1" }, cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(WAIT_MS) });
    if (answer.status === 401 || answer.type === "opaqueredirect") document.dispatchEvent(new CustomEvent("rinsebell:signed-out"));
    else if (answer.ok) await swap(url, await answer.text());
    else if (answer.status === 429 || answer.status >= 500) later(url);
  } catch {
    document.dispatchEvent(new CustomEvent("rinsebell:unheard"));
    later(url);
  } finally {
    const again = running.get(url);
    running.delete(url);
    if (again) refetch(url);
  }
}

/** A part that did not come is asked for again; out of contact the stream says when. */
function later(url) {
  setTimeout(() => { if (!lost() && all().some((part) => part.dataset.part === url)) refetch(url); }, RETRY_MS);
}

async function swap(url, html) {
  // What came before the tap that was waited for is old, if it is asked for again anyway.
  if (await handsOff() && running.get(url)) return;
  const old = all().find((part) => part.dataset.part === url);
  if (!old) return;
  const answer = new DOMParser().parseFromString(html, "text/html");
  const found = [...answer.querySelectorAll("[data-part]")].find((part) => part.dataset.part === url) ?? answer.body.firstElementChild;
  if (!found) return;
  // A page that stands for weeks takes up what a newer server brings.
  const own = document.querySelector("script[src]")?.src;
  const theirs = answer.querySelector("script[src]")?.getAttribute("src");
  if (own && theirs && new URL(theirs, location.href).href !== own && !isTypedInto()) return renew(theirs);
  const fresh = document.adoptNode(found);
  const left = carryTyped(old, fresh);
  const focus = old.contains(document.activeElement) ? document.activeElement : null;
  const [x, y, focusTop] = [scrollX, scrollY, focus?.getBoundingClientRect().top];
  const caret = caretOf(focus);
  const opened = [...old.querySelectorAll("details[id][open]")].map((details) => details.id);
  old.replaceWith(fresh);
  if (left.length > 0) keepBeside(fresh, left);
  for (const id of opened) document.getElementById(id)?.setAttribute("open", "");
  scrollTo(x, y);
  // A focus whose place is gone goes to the main act, else to the page: never to nowhere.
  const next = focus && (focus.isConnected ? focus : again(focus, fresh) ?? fresh.querySelector("#act") ?? document.getElementById("main"));
  if (next) {
    next.focus({ preventScroll: true });
    if (caret) next.setSelectionRange(...caret);
    // What the hand is at stays where it is, whatever grew or went above it.
    if (focusTop >= 0 && focusTop < innerHeight) scrollBy(0, next.getBoundingClientRect().top - focusTop);
  }
  document.dispatchEvent(new CustomEvent("rinsebell:swapped", { detail: { part: fresh, title: answer.title } }));
}

/** Loads the page anew, once for each version of the server: behind two of them it would never end. */
function renew(version) {
  const key = "rinsebell_renewed";
  if (sessionStorage.getItem(key) === version) return;
  sessionStorage.setItem(key, version);
  location.reload();
}

function caretOf(field) {
  try {
    return typeof field?.selectionStart === "number" ? [field.selectionStart, field.selectionEnd] : null;
  } catch {
    return null; // a kind of field without one
  }
}

const pathOf = (link) => new URL(link, location.href).pathname;
const fieldsOf = (form) => [...form.elements].filter((field) => field.name && field.type !== "hidden" && field.tagName !== "BUTTON");
/** What makes a form this form, on every showing. */
const nameOf = (form) => [form.id, pathOf(form.getAttribute("action") ?? ""), form.dataset.fact, ...fieldsOf(form).map((field) => field.name)].join(" ");

/** Puts what was typed into the fresh part; gives the forms that have no place there any more. */
function carryTyped(old, fresh) {
  const typed = [...old.querySelectorAll("form")].filter((form) => typedInto.has(form));
  const left = [];
  for (const form of typed) {
    const other = [...fresh.querySelectorAll("form")].find((one) => nameOf(one) === nameOf(form));
    if (!other) {
      left.push(form);
      continue;
    }
    if (form.querySelector("canvas")) {
      // What was drawn cannot be put elsewhere: the form itself stays, with what is new of what it sends unseen.
      for (const field of form.querySelectorAll("input[type=hidden]:not([data-sign-value])")) {
        const now = [...other.elements].find((one) => one.name === field.name);
        if (now) field.value = now.value;
      }
      other.replaceWith(form);
      continue;
    }
    const target = fieldsOf(other);
    fieldsOf(form).forEach((field, at) => {
      if ("checked" in field) target[at].checked = field.checked;
      if (field.type !== "checkbox" && field.type !== "radio") target[at].value = field.value;
    });
    typedInto.add(other);
  }
  return left;
}

/** The screen goes on; a half-filled form it has no place for stands under it, as it was, until it is put away. */
function keepBeside(fresh, forms) {
  const box = document.createElement("section");
  box.className = "section notice left-over";
  const words = document.createElement("p");
  words.textContent = t("The screen has gone on. What you typed is still here.");
  const away = Object.assign(document.createElement("button"), { type: "button", className: "act", textContent: t("Put it away") });
  away.addEventListener("click", () => {
    for (const form of forms) typedInto.delete(form);
    box.remove();
  });
  box.append(words, ...forms, away);
  fresh.append(box);
}

/** The element of the fresh part that stands for the one that had the focus. */
function again(focus, fresh) {
  if (focus.id) return document.getElementById(focus.id);
  const among = (css, same) => [...fresh.querySelectorAll(css)].find(same);
  if (focus.dataset.key) return among("[data-key]", (other) => other.dataset.key === focus.dataset.key);
  if (focus.name) {
    const form = focus.form && nameOf(focus.form);
    const value = focus.tagName === "BUTTON" || focus.type === "radio" ? focus.value : null;
    return among("[name]", (other) => other.name === focus.name && (value === null || other.value === value) && (other.form && nameOf(other.form)) === form);
  }
  if (focus.href) return among("a[href]", (other) => other.href === focus.href);
  if (focus.form) return among("button:not([name])", (other) => other.form && nameOf(other.form) === nameOf(focus.form));
  return null;
}

export function start() {
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
  addEventListener("pageshow", (event) => { if (event.persisted) refetchAll(); });
  each(() => {
    for (const part of document.querySelectorAll("[data-every]")) {
      const due = Number(part.dataset.fetchedAt ?? 0) + Number(part.dataset.every) * 1000;
      if (!part.dataset.fetchedAt) part.dataset.fetchedAt = String(now());
      else if (now() >= due && !lost()) {
        part.dataset.fetchedAt = String(now());
        refetch(part.dataset.part);
      }
    }
  });
}
