// A scanner is a keyboard that types very fast and ends with Enter. Where its keys come to no field they go into
// the page's scan field, and never to single-key acts or to the button that has the focus.
//   <input data-scan>: the field of the page that takes a code
import { say } from "./now.js";
import { t } from "./words.js";

const GAP_MS = 50; // no hand strikes key after key as fast as this; no scanner is slower
const SCAN_KEYS = 4; // so many in one burst are no hand
const GROUP = "\u001d"; // the separator of element strings; scanners send it as Ctrl+]

let burst = []; // what came so far: { char, act }
let last = -Infinity;
let timer = 0;
let singleKey = () => null; // keys.js: what a single key would do

/** Says what a key does when it comes alone: a function, or nothing. */
export function onSingleKey(find) {
  singleKey = find;
}

const inField = (at) => Boolean(at?.closest?.("input, select, textarea, [contenteditable], dialog"));

function onKey(event) {
  if (event.repeat || event.altKey || event.metaKey || event.defaultPrevented || inField(event.target)) return;
  const quick = event.timeStamp - last <= GAP_MS;
  last = event.timeStamp;
  if (event.key === "Enter" || event.key === "Tab") {
    if (!quick || burst.length < SCAN_KEYS) return;
    event.preventDefault();
    event.stopPropagation();
    return settle(true);
  }
  const char = event.ctrlKey ? (event.key === "]" ? GROUP : "") : event.key.length === 1 ? event.key : "";
  if (!char) return;
  const act = event.ctrlKey ? null : singleKey(event);
  if (act || (quick && burst.length > 0)) event.preventDefault();
  burst.push({ char, act });
  clearTimeout(timer);
  timer = setTimeout(settle, GAP_MS, false);
}

/** The burst is over: a scan, or the keys of a hand. */
function settle(ended) {
  clearTimeout(timer);
  const came = burst;
  burst = [];
  if (came.length < SCAN_KEYS) {
    for (const { act } of came) act?.();
    return;
  }
  const field = document.querySelector("[data-scan]");
  if (!field) return say(t("A scan came in; nothing on this screen takes one."));
  field.value = came.map(({ char }) => char).join("");
  field.dispatchEvent(new Event("input", { bubbles: true }));
  if (ended) field.form.requestSubmit();
  else field.focus();
}

export function start() {
  if (!document.querySelector("[data-scan]") && !document.body.classList.contains("run")) return;
  document.addEventListener("keydown", onKey, true);
}
