// Single keys on the Run screen: space for the main act, digits for quadrants, R for stop and rinse.
//   <button data-key="Space">, <button data-key="1">, <button data-key="R">
// Only there, only outside fields, and they can be switched off (WCAG 2.2, 2.1.4).

const SWITCH = "rinsebell_keys";

function isOff() {
  return localStorage.getItem(SWITCH) === "off";
}

function onKey(event) {
  if (isOff() || event.repeat || event.ctrlKey || event.altKey || event.metaKey || event.defaultPrevented) return;
  const at = event.target;
  if (at.closest?.("input, select, textarea, [contenteditable], dialog, summary")) return;
  // A focused button or link keeps its own meaning of space.
  if (event.key === " " && at.closest?.("button, a[href]")) return;
  const key = event.key === " " ? "Space" : event.key.toUpperCase();
  const button = [...document.querySelectorAll("button[data-key]")].find((one) => one.dataset.key === key);
  if (!button || button.disabled || button.getAttribute("aria-disabled") === "true") return;
  event.preventDefault();
  button.click();
}

function show(toggle) {
  document.documentElement.dataset.keys = isOff() ? "off" : "on";
  toggle.textContent = isOff() ? "Single keys are off" : "Single keys are on";
  toggle.setAttribute("aria-pressed", String(!isOff()));
}

export function start() {
  if (!document.body.classList.contains("run")) return;
  document.addEventListener("keydown", onKey);
  const toggle = document.querySelector("[data-keys-toggle]");
  if (!toggle) return;
  toggle.hidden = false;
  show(toggle);
  toggle.addEventListener("click", () => { localStorage.setItem(SWITCH, isOff() ? "on" : "off"); show(toggle); });
}
