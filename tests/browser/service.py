"""Giving a service at the Run screen, from any station."""

import os
import statistics

from house import wait_for
from story import PIN

ANSWERS = {
    "Patch test": "no reaction since it was read", "Scalp": "intact", "Gloves": "nitrile, new pair",
    "Draping": "towel and waterproof cape", "Base": "scalp and hairline covered", "Barrier": "cream, fresh dry cotton",
    "Hair dry": "dry to the root", "Hair damp": "damp, blotted", "Eye protection": "fresh cotton, bib and towel",
    "Strand test": "strand test read and passed", "Consent": "signed by the client", "Plan": "clear, or the named tests",
    "Lot": "dispensed, in date",
}

# The first hold point that still asks: its form's id and its title.
ASKED = """
const f = [...document.querySelectorAll('form[id^=hp-]')].find((f) => f.querySelector('button[name=sign]'));
return f && [f.id, f.querySelector('legend').textContent.trim()];
"""

# When it was tapped here; when news from elsewhere was on the glass there (one machine, one clock).
NOTE_TAPS = "if (!window.noting) { window.noting = true; document.addEventListener('click', () => sessionStorage.setItem('tapped', Date.now()), true); }"
NOTE_NEWS = """
if (!window.news) { window.news = []; document.addEventListener('rinsebell:swapped', () => window.news.push([Date.now(), document.body.innerText.replace(/\\s+/g, ' ')])); }
"""


class Latency:
    """From a tap at one station to the glass of the other, seconds."""

    def __init__(self):
        self.figures = []

    def of(self, here, tap, there, words):
        here.run_js(NOTE_TAPS)
        there.run_js(NOTE_NEWS)
        tap()
        there.sees(words)
        tapped = float(here.run_js("return sessionStorage.getItem('tapped')"))
        seen = there.run_js(
            "const [w, t] = arguments; return (window.news.find(([at, text]) => at >= t && text.includes(w)) ?? [0])[0]", words, tapped)
        assert seen, f"{words} came to the other station, but not as news"
        self.figures.append((seen - tapped) / 1000)

    def words(self):
        return (f"{len(self.figures)} taps, median {statistics.median(self.figures) * 1000:.0f} ms, "
                f"worst {max(self.figures) * 1000:.0f} ms, load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")

    def holds(self):
        """Half within a second, whatever else the machine does; every one within a second of a machine with a
        core for each that wants one, and where several want one, in as many seconds."""
        share = max(1.0, os.getloadavg()[0] / os.cpu_count())
        return statistics.median(self.figures) < 1.0 and max(self.figures) < share


def answers_what_is_asked(station, only=None, besides=()):
    """Signs each hold point that is asked by the button with what is seen; dispenses where a bowl is asked."""
    while True:
        if station.has("Dispense", "form[action$='/lots']"):
            # Of a mixture both parts are weighed; the proportion is the sheet's, so nothing stands there before.
            station.run_js("const g = document.querySelector('#part_grams'); if (g && !g.value) g.value = '60'")
            station.presses("Dispense", "form[action$='/lots']")
            continue
        asked = [a for a in [station.run_js(ASKED)] if a]
        if not asked or (only and asked[0][1] not in only):
            return
        form, title = asked[0]
        station.presses(ANSWERS[title], f"#{form}")
        station.sees_not("not yet ")


def starts(station, title):
    station.presses(f"Start: {title}", ".bar")
    assert station.path.startswith("/runs/"), station.path
    refused = station.run_js("return document.querySelector('.refusal')?.innerText ?? ''")
    assert not refused, refused


def answers_and_starts(station, title):
    answers_what_is_asked(station)
    starts(station, title)


def is_done(station, title):
    station.presses(f"Done: {title}", ".bar")


def touches(station, quadrant):
    """A tap on the head map."""
    station.taps(quadrant, ".head-form")


def run_page(run, *stations):
    for station in stations:
        station.goes_to(run)


def time_passes(house, run, stations, **by):
    """The salon's clock goes on and everybody looks again."""
    house.later(**by)
    for station, name in stations:
        station.goes_to(run)
        where = station.run_js("return document.querySelector('.station .where').innerText")
        if name and ("locked" in where or "nobody" in where):  # idle in between: the PIN again
            station.signs_in(name, PIN[name], run)


def step_in_hand(station):
    return station.run_js("return document.querySelector('tr[aria-current=step] td')?.innerText ?? ''")


def main_act(station):
    return wait_for("an act", lambda: station.run_js(
        "const b = document.querySelector('#act')?.cloneNode(true); b?.querySelector('kbd')?.remove(); return b?.textContent.trim()"))


def rinses_clear(station):
    """Quadrant after quadrant, or the whole head, as the screen asks."""
    for _ in range(6):
        act = main_act(station)
        if not act.endswith(("clear", "Water is on the whole head")):
            return
        station.taps(act, ".bar")
        wait_for("the next act", lambda act=act: main_act(station) != act, 15)


def reads_a_curl(station, reading):
    """On the first rod; on record when the screen shows it among the readings."""
    station.taps(reading, "form[data-fact=test_curl_read] fieldset")
    station.sees(f"test curl, first rod: {reading}")


BEFORE = ("Consult and drape", "Inspect scalp and hair", "Wash the hair, leave the scalp alone", "Dry with the cool dryer",
          "Four quadrants", "Base over scalp and hairline", "Gloves on, dispense")


def is_at_the_first_pass(place):
    """The stylist at the chair, the first pass in hand; what is missing until there is done."""
    run_page(place.run, place.chair)
    for title in (*BEFORE, "First pass"):
        if place.chair.has(f"Start: {title}", ".bar"):
            answers_and_starts(place.chair, title)
    assert "First pass" in place.chair.headline, place.chair.headline
    return place.chair


def events(place, kind):
    """How many of this kind the service's record holds."""
    number = place.run.rsplit("/", 1)[1]
    return int(place.house.sql(f"select count(*) from run_event where run_id = {number} and kind = '{kind}'"))
