// Single keys on the Run screen: space for the main act, digits for the sections (0 the tenth), R for stop and rinse.
//   <button data-key="Space">, <button data-key="1">, <button data-key="R">; a link may carry one as well
// Only there, only outside fields, and they can be switched off (WCAG 2.2, 2.1.4). A key that comes alone is a
// hand's; a burst is a scanner's (scan.js).
import { onSingleKey } from "./scan.js";
import { t } from "./words.js";

const SWITCH = "rinsebell_keys";

let byFinger = null; // what a finger was at last

function isOff() {
  return localStorage.getItem(SWITCH) === "off";
}

/** What a key does when it comes alone; nothing for a key without an act. */
function actOf(event) {
  if (isOff()) return null;
  // A focused button, link or summary keeps its own meaning of space, unless a finger left the focus there: then the
  // key is a foot's, and means the act in hand.
  const focused = event.key === " " && event.target.closest?.("button, a[href], summary");
  if (focused && focused !== byFinger) return null;
  if (focused) focused.blur();
  const key = event.key === " " ? "Space" : event.key.toUpperCase();
  const found = () => [...document.querySelectorAll(":is(button, a)[data-key]")].find((one) => one.dataset.key === key);
  if (!found()) return null;
  return () => {
    // Found again: the page may have been swapped since the key came down.
    const button = found();
    if (button && !button.disabled && button.getAttribute("aria-disabled") !== "true") button.click();
  };
}

function show(toggle) {
  document.documentElement.dataset.keys = isOff() ? "off" : "on";
  toggle.textContent = isOff() ? t("Single keys are off") : t("Single keys are on");
  toggle.setAttribute("aria-pressed", String(!isOff()));
}

export function start() {
  if (!document.body.classList.contains("run")) return;
  onSingleKey(actOf);
  document.addEventListener("pointerdown", (event) => { byFinger = event.target.closest?.("button, a[href], summary") ?? null; }, true);
  // Swapped meanwhile: the new one stands for it.
  document.addEventListener("rinsebell:swapped", () => { if (byFinger && !byFinger.isConnected) byFinger = document.activeElement; });
  document.addEventListener("keydown", (event) => { if (event.key === "Tab") byFinger = null; }, true);
  const toggle = document.querySelector("[data-keys-toggle]");
  if (!toggle) return;
  toggle.hidden = false;
  show(toggle);
  toggle.addEventListener("click", () => { localStorage.setItem(SWITCH, isOff() ? "on" : "off"); show(toggle); });
}
