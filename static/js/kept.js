// Facts kept at this station until the server has taken them, and those it refused until somebody noted it.
// One entry a fact: two tabs of one browser never write over each other's list.
import { still } from "./hands.js";
import { clockTime } from "./now.js";
import { t } from "./words.js";

const KEPT = "rinsebell_kept:"; // facts waiting for the server
const NOT_TAKEN = "rinsebell_not_taken:"; // facts the server answered with a refusal: shown until noted

const nameIn = (list, fact) => `${list}${String(Math.round(fact.happened)).padStart(15, "0")}:${new URLSearchParams(fact.body).get("fact_id")}`;

function keysOf(list) {
  try {
    return Object.keys(localStorage).filter((key) => key.startsWith(list)).sort();
  } catch {
    return [];
  }
}

function read(list) {
  return keysOf(list).flatMap((key) => {
    try {
      const fact = JSON.parse(localStorage.getItem(key));
      return fact ? [fact] : [];
    } catch {
      return [];
    }
  });
}

function write(list, fact) {
  try {
    localStorage.setItem(nameIn(list, fact), JSON.stringify(fact));
    return true;
  } catch {
    return false;
  }
}

/** Keeps a fact { url, body, happened, words }; false where this browser cannot. */
export const keep = (fact) => write(KEPT, fact);

/** The server has decided about it. */
export function drop(fact) {
  try {
    localStorage.removeItem(nameIn(KEPT, fact));
  } catch {
    // Never kept.
  }
}

/** The server refused it, and nobody has seen the reasons. */
export const notTaken = (fact) => write(NOT_TAKEN, fact);

/** What waits, in the order it happened. */
export const kept = () => read(KEPT);

function noted() {
  for (const key of keysOf(NOT_TAKEN)) localStorage.removeItem(key);
  tell();
}

const BACK = ["section_started", "section_rinsed", "test_curl_read", "progress_read"]; // what may be taken back
const field = (fact, name) => new URLSearchParams(fact.body).get(name);

/** The last kept tap that may be taken back and was not. */
function lastTap(facts) {
  const gone = facts.map((fact) => field(fact, "taken_back"));
  return facts.findLast((fact) => BACK.includes(field(fact, "kind")) && !gone.includes(field(fact, "fact_id")));
}

/** Says how many facts wait here, and which were not taken. */
export function tell() {
  return still(show);
}

function show() {
  document.getElementById("kept")?.remove();
  const [waiting, refused] = [read(KEPT), read(NOT_TAKEN)];
  if (waiting.length + refused.length === 0) return;
  const place = document.createElement("section");
  place.id = "kept";
  place.setAttribute("aria-label", t("Kept at this station"));
  place.className = refused.length > 0 ? "refusal wet" : "notice wet";
  const line = (words) => place.append(Object.assign(document.createElement("p"), { textContent: words }));
  const named = (facts) => facts.map((fact) => `${fact.words}, ${clockTime(fact.happened)}`).join("; ");
  const act = (words, go) => {
    const button = Object.assign(document.createElement("button"), { type: "button", className: "act", textContent: words });
    button.addEventListener("click", go);
    place.append(button);
  };
  if (waiting.length > 0) line(t("Kept here until the server is back: {}.", named(waiting)));
  const last = lastTap(waiting);
  if (last) act(t("Take back: {}, {}", last.words, clockTime(last.happened)), () => document.dispatchEvent(new CustomEvent("rinsebell:take-back", { detail: last })));
  if (refused.length > 0) {
    line(t("The server did not take: {}. Have it put on record by hand.", named(refused)));
    act(t("It is noted"), noted);
  }
  document.getElementById("contact")?.after(place);
}

/** What an earlier version kept as one list. */
export function start() {
  for (const list of [KEPT, NOT_TAKEN]) {
    const old = list.slice(0, -1);
    try {
      const facts = JSON.parse(localStorage.getItem(old) ?? "[]");
      if (facts.every((fact) => write(list, fact))) localStorage.removeItem(old);
    } catch {
      // Nothing readable there.
    }
  }
}
