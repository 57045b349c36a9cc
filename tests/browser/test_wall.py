"""The Floor on the wall: read from three metres, needs nobody for a week."""

import math
import os
import signal
import time

import pytest

from house import wait_for
from station import Station
from story import PIN, pair_a_station

# ISO 9241-303 (ergonomics of electronic displays, from memory): characters of 16 minutes of arc at least, 20 to 22 preferred.
LEAST_ARC_MIN = 16
DISTANCE_MM = 3_000
# A 24-inch screen of 1920 by 1080: 531 mm across.
WALL_PX, WALL_MM = 1920, 531

CHROME_PX = 150  # what the browser's own lines take of a window; a wall shows the page alone

SWAPS = 1_500
GROWTH_BYTES = 1_500_000

# Swaps the part again and again with what the server gives, as news does.
SOAK = """
const done = arguments[arguments.length - 1];
const [many] = arguments;
let left = many;
document.addEventListener('rinsebell:swapped', function next() {
  left -= 1;
  if (left <= 0) { document.removeEventListener('rinsebell:swapped', next); return done(many); }
  setTimeout(() => document.dispatchEvent(new CustomEvent('rinsebell:refetch')));
});
document.dispatchEvent(new CustomEvent('rinsebell:refetch'));
"""


@pytest.fixture(scope="module")
def place(second):
    return second


@pytest.fixture(scope="module")
def wall(place):
    """A browser paired as the wall's station, nobody signed in."""
    station = Station(place.house.servers[1].origin, width=WALL_PX, height=1080 + CHROME_PX)
    place.chair.signs_in("Ondine Marsh", PIN["Ondine Marsh"])
    pair_a_station(place.chair, station, "Wall", "on the wall")
    station.goes_to("/floor")
    yield station
    station.close()


def heap(station):
    station.driver.execute_cdp_cmd("HeapProfiler.collectGarbage", {})
    found = station.driver.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]
    return {m["name"]: m["value"] for m in found if m["name"] in ("JSHeapUsedSize", "Nodes", "JSEventListeners")}


def test_clocks_are_read_from_three_metres(wall):
    wall.sees("Nerys A.")
    size, digit = wall.run_js("""
        const sizeOf = (one) => parseFloat(getComputedStyle(one).fontSize) * (one.currentCSSZoom ?? 1);
        const [clock] = [...document.querySelectorAll('.track .clock')].sort((a, b) => sizeOf(a) - sizeOf(b));
        const size = sizeOf(clock);
        const pen = document.createElement('canvas').getContext('2d');
        pen.font = `100px ${getComputedStyle(clock).fontFamily}`;
        return [size, size * pen.measureText('0').actualBoundingBoxAscent / 100];""")
    across = wall.run_js("return innerWidth")
    mm = digit * WALL_MM / across
    arc = math.degrees(math.atan(mm / DISTANCE_MM)) * 60
    print(f"smallest clock {size:.0f} px, digits {digit:.0f} px, on a 24-inch wall {mm:.1f} mm: {arc:.1f} minutes of arc at 3 m")
    assert size >= 72, "4-look.md: 4.5rem at least"
    assert arc >= LEAST_ARC_MIN
    tapped = wall.run_js("return [...document.querySelectorAll('button, summary, input, form')].filter((e) => e.checkVisibility({ visibilityProperty: true })).length")
    assert tapped == 0, "nothing to tap"


def test_a_week_of_nobody_locks_nothing(wall, place):
    place.house.later(days=7)
    wall.driver.refresh()
    wall.sees("Nerys A.")
    assert wall.path == "/floor"
    assert wall.run_js("return document.documentElement.dataset.mode") == "wall"


@pytest.mark.skipif("RINSEBELL_SLOW" not in os.environ, reason="takes minutes: tests/slow")
def test_memory_stays_bounded_over_many_swaps(wall):
    wall.driver.execute_cdp_cmd("Performance.enable", {})
    wall.driver.set_script_timeout(400)
    wall.driver.execute_async_script(SOAK, 200)  # caches and compiled code are there
    before = heap(wall)
    began = time.monotonic()
    wall.driver.execute_async_script(SOAK, SWAPS)
    took = time.monotonic() - began
    after = heap(wall)
    print(f"{SWAPS} swaps in {took:.0f} s: " + ", ".join(f"{k} {before[k]:.0f} to {after[k]:.0f}" for k in before))
    assert after["JSHeapUsedSize"] - before["JSHeapUsedSize"] < GROWTH_BYTES
    assert after["Nodes"] < before["Nodes"] * 1.5 + 500 and after["JSEventListeners"] < before["JSEventListeners"] * 1.5 + 50


def in_contact(station):
    return station.run_js("return document.documentElement.dataset.contact !== 'lost'")


def fetched_anew(station):
    station.run_js("document.querySelector('main [data-part]').dataset.old = '1'")
    wait_for("fetched anew", lambda: station.run_js("return !document.querySelector('main [data-part]').dataset.old"), 60)


def test_it_comes_back_after_the_server_was_restarted(wall, place):
    place.house.servers[1].kill()
    wait_for("lost", lambda: not in_contact(wall), 10)
    place.house.restart(1)
    wait_for("in contact", lambda: in_contact(wall), 30)
    fetched_anew(wall)
    wall.sees("Nerys A.")
    wall.complaints_so_far_are_the_outage()


def test_it_comes_back_after_the_database_was_restarted(wall, place):
    """The database's server ends at once, as in a fault of power; whoever watches over it starts it again."""
    file = place.house.data / "pg" / "postmaster.pid"
    pid = int(file.read_text().split()[0])
    os.kill(pid, signal.SIGQUIT)
    # It may be back before a beat was missed: then nothing was lost, and nothing is said.
    wait_for("another database server", lambda: file.exists() and file.read_text().split()[0:1] not in ([], [str(pid)]), 30)
    wait_for("in contact", lambda: in_contact(wall), 60)
    fetched_anew(wall)
    wall.sees("Nerys A.")
