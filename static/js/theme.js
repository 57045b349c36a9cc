// Light or dark, kept in a cookie the server reads; wall mode for a screen nobody taps.
import { t } from "./words.js";

const COOKIE = "rinsebell_theme";
const root = document.documentElement;

function isDark() {
  return root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
}

function words(toggle) {
  toggle.textContent = isDark() ? t("Light page") : t("Dark page");
}

/** Keeps a wall screen lit; a browser that cannot just lets it sleep. */
async function stayLit() {
  try {
    await navigator.wakeLock?.request("screen");
  } catch {
    // Low battery or not allowed.
  }
}

function wall(on) {
  if (on) root.dataset.mode = "wall";
  else delete root.dataset.mode;
  if (on) {
    stayLit();
    root.requestFullscreen?.().catch(() => {});
  }
}

export function start() {
  const toggle = document.querySelector("[data-theme-toggle]");
  if (toggle) {
    toggle.hidden = false;
    words(toggle);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => words(toggle));
    toggle.addEventListener("click", () => {
      root.dataset.theme = isDark() ? "light" : "dark";
      document.cookie = `${COOKIE}=${root.dataset.theme}; Path=/; Max-Age=31536000; SameSite=Lax`;
      words(toggle);
    });
  }
  const toWall = document.querySelector("[data-wall-toggle]");
  if (toWall && document.querySelector(".floor-page")) {
    toWall.hidden = false;
    toWall.addEventListener("click", () => wall(true));
    document.addEventListener("fullscreenchange", () => { if (!document.fullscreenElement) wall(false); });
    document.addEventListener("keydown", (event) => { if (event.key === "Escape") wall(false); });
  }
  if (root.dataset.mode === "wall") {
    stayLit();
    document.addEventListener("visibilitychange", () => { if (!document.hidden) stayLit(); });
  }
}
