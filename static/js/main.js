// Starts everything a page may use. Each module stands alone: one that fails leaves the others working.
import * as acts from "./acts.js";
import * as bell from "./bell.js";
import * as clock from "./clock.js";
import * as hands from "./hands.js";
import * as keys from "./keys.js";
import * as live from "./live.js";
import * as parts from "./parts.js";
import * as pulse from "./pulse.js";
import * as rehearsal from "./rehearsal.js";
import * as scan from "./scan.js";
import * as sign from "./sign.js";
import * as theme from "./theme.js";
import * as trial from "./trial.js";
import * as zone from "./zone.js";

for (const part of [pulse, hands, clock, theme, keys, scan, sign, parts, acts, bell, trial, live, rehearsal, zone]) {
  try {
    part.start();
  } catch (error) {
    console.error("A part of this page did not start.", error);
  }
}
