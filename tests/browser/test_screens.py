"""What must hold on any screen: nothing runs out of a narrow one, and the console is quiet."""

import pytest

import story
from station import Station
from story import PIN


@pytest.mark.parametrize("path", [
    "/floor", "{run}", "/clients", "{client}", "{client}/strand", "{client}/consult", "{client}/consent", "{client}/readings",
    "{client}/tests", "{client}/plan", "{client}/followups", "/plans/1", "/regrowth", "/regrowth?group=soon", "/openings", "/waiting", "/calendar", "/day", "/shelf",
    "/shelf/products/1", "/shelf/products/new", "/team", "/team/people/2", "/team/salon", "/team/days-off", "/team/stations/2", "/proof", "/overview", "/sign-in",
])
def test_a_narrow_screen_needs_no_sideways_scroll_and_the_console_is_quiet(place, narrow, path):
    """WCAG 2.2, 1.4.10 Reflow: 320 CSS px."""
    narrow.goes_to(path.format(run=place.run, client=place.client))
    assert narrow.text.strip() and "Nothing here" not in narrow.headline and "does not answer" not in narrow.text
    assert narrow.run_js("return innerWidth") == 320
    beyond = narrow.width_beyond()
    assert beyond <= 0, (beyond, narrow.run_js(WIDEST))
    assert not narrow.complaints()


WIDEST = """return [...document.querySelectorAll('main *, header *, footer *, .bar *')].map((e) => [e.getBoundingClientRect().right, e.tagName + '.' + e.className + ' ' + e.textContent.trim().slice(0, 40)])
  .filter(([r]) => r > document.documentElement.clientWidth).sort((a, b) => b[0] - a[0]).slice(0, 5)"""


@pytest.fixture(scope="module")
def narrow(place):
    """A station 320 px wide with the manager at it."""
    station = Station(place.house.servers[1].origin)
    station.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride",
                                   {"width": 320, "height": 640, "deviceScaleFactor": 1, "mobile": False})
    place.basin.signs_in("Ondine Marsh", PIN["Ondine Marsh"])
    story.pair_a_station(place.basin, station, "Pocket", "office")
    station.signs_in("Ondine Marsh", PIN["Ondine Marsh"])
    yield station
    station.close()
