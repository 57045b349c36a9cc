"""A station that loses its server: told within five seconds, never without cause; what was tapped meanwhile is kept,
marked, and recorded at its own instant, whatever the device's clock says.
"""

import os
import time

import pytest

from house import time_itself, wait_for
from service import events, is_at_the_first_pass, run_page, touches

LOST = "return document.documentElement.dataset.contact === 'lost'"
LIMIT_S = 5.0


@pytest.fixture(scope="module")
def place(second):
    return second


def back_in_contact(*stations):
    for station in stations:
        wait_for("in contact", lambda station=station: not station.run_js(LOST), 30)
        station.complaints_so_far_are_the_outage()


def beats_come(station):
    """The stream is open: three beats were heard."""
    station.run_js("""window.beats = 0; window.listening = new BroadcastChannel('rinsebell-live');
        window.listening.addEventListener('message', (e) => { if (e.data.kind === 'beat') window.beats += 1; });""")
    wait_for("beats", lambda: station.run_js("return window.beats") >= 3, 20)


def lost_after(station, limit_s=12):
    began = time.monotonic()
    wait_for("lost", lambda: station.run_js(LOST), limit_s, 0.02)
    return time.monotonic() - began


def test_a_held_a_killed_and_an_unplugged_server_are_told_within_five_seconds(place):
    chair = is_at_the_first_pass(place)
    server = place.house.servers[0]
    took = {}
    beats_come(chair)
    server.hold()
    try:
        took["held"] = lost_after(chair)
    finally:
        server.go_on()
    back_in_contact(chair)

    chair.driver.execute_cdp_cmd("Network.enable", {})
    cut = {"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0}
    chair.driver.execute_cdp_cmd("Network.emulateNetworkConditions", cut)
    took["unplugged"] = lost_after(chair)
    chair.driver.execute_cdp_cmd("Network.emulateNetworkConditions", {**cut, "offline": False, "downloadThroughput": -1, "uploadThroughput": -1})
    back_in_contact(chair)

    server.kill()
    took["killed"] = lost_after(chair)
    place.house.restart(0)
    back_in_contact(chair)
    print("told after", {what: f"{s:.1f} s" for what, s in took.items()})
    assert max(took.values()) <= LIMIT_S, took


def test_a_tab_that_does_not_lead_is_told_as_soon(place):
    chair = is_at_the_first_pass(place)
    first = chair.driver.current_window_handle
    chair.driver.switch_to.new_window("tab")
    second = chair.driver.current_window_handle
    try:
        chair.goes_to("/floor")
        beats_come(chair)
        server = place.house.servers[0]
        server.hold()
        try:
            took = lost_after(chair)
            chair.driver.switch_to.window(first)
            wait_for("and the one behind it", lambda: chair.run_js(LOST), LIMIT_S)
        finally:
            server.go_on()
        print(f"told after {took:.1f} s")
        assert took <= LIMIT_S
        back_in_contact(chair)
    finally:
        chair.driver.switch_to.window(second)
        chair.driver.close()
        chair.driver.switch_to.window(first)


@pytest.mark.skipif("RINSEBELL_SLOW" not in os.environ, reason="takes minutes: tests/slow")
def test_a_slow_tablet_and_a_page_behind_another_raise_no_false_alarm(place):
    """A processor a twentieth as fast, stalls of up to six seconds, then half a minute behind another page."""
    chair = is_at_the_first_pass(place)
    chair.run_js("window.alarms = 0; document.addEventListener('rinsebell:contact', (e) => { if (e.detail.lost) window.alarms += 1; })")
    chair.driver.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": 20})
    try:
        for stall_ms in (1_500, 3_000, 4_500, 6_000, 3_500, 6_000):
            chair.run_js("setTimeout((ms) => { const until = performance.now() + ms; while (performance.now() < until); }, 0, arguments[0])", stall_ms)
            time_itself(stall_ms / 1000 + 1.5)
    finally:
        chair.driver.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": 1})
    first = chair.driver.current_window_handle
    chair.driver.switch_to.new_window("tab")
    chair.driver.get("about:blank")
    time_itself(30)
    chair.driver.close()
    chair.driver.switch_to.window(first)
    assert chair.run_js("return window.alarms") == 0
    assert not chair.run_js(LOST)


def test_a_kept_tap_is_marked_as_kept_on_the_screen_and_on_record(place):
    chair, server = is_at_the_first_pass(place), place.house.servers[0]
    before = events(place, "section_started")
    server.hold()
    try:
        touches(chair, "3 front left")
        wait_for("lost", lambda: chair.run_js(LOST), 12)
        waits = chair.run_js("return [...document.querySelectorAll('form[data-permission]')].filter((f) => f.querySelector('.why[data-contact]')).length")
        assert waits > 0, "permissions wait, with the reason beside them"
        time_itself(3)
    finally:
        server.go_on()
    wait_for("recorded", lambda: events(place, "section_started") == before + 1, 40)
    chair.sees("kept at Chair 1, told at")
    number = place.run.rsplit("/", 1)[1]
    late = place.house.sql(f"select extract(epoch from recorded_at - happened_at) from run_event where run_id = {number} and kind = 'section_started' order by seq desc limit 1")
    assert float(late) > 5
    back_in_contact(chair)


def test_a_wrong_clock_of_the_station_moves_no_kept_tap(place):
    """Put forward by three hours, then back by two, while there is no contact."""
    chair, server = is_at_the_first_pass(place), place.house.servers[0]
    number = place.run.rsplit("/", 1)[1]
    for hours, quadrant in ((3, "1 back right"), (-2, "2 back left")):
        before = events(place, "section_started")
        server.hold()
        try:
            wait_for("lost", lambda: chair.run_js(LOST), 12)
            chair.run_js("const wall = Date.now.bind(Date), by = arguments[0] * 3600000; Date.now = () => wall() + by", hours)
            time_itself(1)
            truth = float(place.house.sql("select extract(epoch from rinsebell_now())"))
            touches(chair, quadrant)
            time_itself(4)
        finally:
            server.go_on()
        wait_for("recorded", lambda before=before: events(place, "section_started") == before + 1, 40)
        at = float(place.house.sql(f"select extract(epoch from happened_at) from run_event where run_id = {number} and kind = 'section_started' order by seq desc limit 1"))
        print(f"{hours:+} h: recorded {at - truth:+.1f} s from the tap")
        assert -1 <= at - truth <= 3, at - truth
        back_in_contact(chair)
        run_page(place.run, chair)


def test_two_stations_that_kept_different_instants_are_both_recorded_and_it_is_said(place):
    chair, basin = is_at_the_first_pass(place), place.basin
    run_page(place.run, basin)
    before = events(place, "section_started")
    for server in place.house.servers:
        server.hold()
    try:
        touches(chair, "4 front right")
        time_itself(2.5)
        touches(basin, "4 front right")
        for station in (chair, basin):
            wait_for("lost", lambda station=station: station.run_js(LOST), 12)
        time_itself(4)
    finally:
        for server in place.house.servers:
            server.go_on()
    wait_for("both", lambda: events(place, "section_started") == before + 2, 40)
    for station in (chair, basin):
        station.sees("Front right, pass 1, was told by two stations", "at Chair 1 (kept there", "at Basin (kept there", "the earlier counts")
    back_in_contact(chair, basin)
