// The server's clock as this page knows it, and clock times in the salon's zone.
// Counted on the page's own steady counter, so that setting the device's clock changes nothing.

const ASLEEP_MS = 2_500; // less is the wall clock being put right

let offset = Number(document.body.dataset.serverNow) - performance.now();
if (!Number.isFinite(offset)) offset = Date.now() - performance.now();

/** Milliseconds since 1970 (UTC), by the server's clock. */
export function now() {
  return performance.now() + offset;
}

/** Takes in an instant just heard from the server. News is late, never early: an older offset that
 * is a little ahead is the better one; a jump (a device that slept) is taken as it is. */
export function heard(serverNow) {
  const heardOffset = serverNow - performance.now();
  if (heardOffset > offset || offset - heardOffset > 2000) offset = heardOffset;
  believed = false;
}

let believed = false; // the device's word for a sleep is all there is

/** False while the instants of this page rest on the device's own clock. */
export const sure = () => !believed;

let wall = Date.now() - performance.now();

/** The steady counter stands still while a device sleeps, its wall clock does not: true when the two have come
 * apart. What was slept through is added until the server is heard again; a clock put back is not believed. */
export function slept() {
  const apart = Date.now() - performance.now() - wall;
  wall += apart;
  if (apart > ASLEEP_MS) [offset, believed] = [offset + apart, true];
  return Math.abs(apart) > ASLEEP_MS;
}

/** "13:50:02" in the salon's zone. */
export function clockTime(ms) {
  const wish = { hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false };
  try {
    return new Intl.DateTimeFormat("en-GB", { ...wish, timeZone: document.body.dataset.zone }).format(ms);
  } catch {
    return new Intl.DateTimeFormat("en-GB", wish).format(ms);
  }
}

/** Says something once to a screen reader. */
export function say(words) {
  const place = document.getElementById("said");
  if (!place) return;
  place.textContent = "";
  // An emptied region must be seen empty before the same words are news again.
  setTimeout(() => { place.textContent = words; }, 50);
}
