"""A locked station shows nobody what was open for somebody: on every tab at once, and nothing typed is lost."""

from house import wait_for
from demo import seated, unlocks

COVERED = "return [getComputedStyle(document.querySelector('main')).display, Boolean(document.querySelector('.covered'))]"


def test_every_tab_is_covered_when_the_station_locks_and_comes_back_as_it_was(demo_salon):
    station = seated(demo_salon, demo_salon.station, "manager")
    station.goes_to("/clients/new")
    station.writes("Name", "Half typed")
    first = station.driver.current_window_handle
    station.driver.switch_to.new_window("tab")
    second = station.driver.current_window_handle
    try:
        station.locks()
        station.driver.switch_to.window(first)
        wait_for("covered", lambda: station.run_js(COVERED) == ["none", True], 5)
        station.sees("Locked, or somebody else is signed in here.")
        # Somebody else at this station reads none of it either.
        station.driver.switch_to.window(second)
        demo_salon.seats["manager"] = comes_back(demo_salon, station, "stylist")
        station.driver.switch_to.window(first)
        assert station.run_js(COVERED) == ["none", True]
        station.driver.switch_to.window(second)
        demo_salon.seats["manager"] = comes_back(demo_salon, station, "manager")
        station.driver.switch_to.window(first)
        wait_for("shown again", lambda: station.run_js(COVERED) == ["block", False], 5)
        assert station.run_js("return document.querySelector('[name=name]').value") == "Half typed"
    finally:
        station.driver.switch_to.window(second)
        station.driver.close()
        station.driver.switch_to.window(first)


def comes_back(salon, station, role):
    """Signs in by PIN in this tab; gives the browser's cookies."""
    unlocks(salon.house, station, role)
    return station.driver.get_cookies()
