"""What a station shows when the network is cut, when it slept, when a bell's time comes, when others are at work."""

from house import wait_for
from service import events, is_at_the_first_pass, run_page, time_passes, touches
from story import PIN


CLOCK = "return document.querySelector('[data-clock=up]').innerText"


def seconds(reading):
    """"1:02:03" or "5:10" in seconds."""
    total = 0
    for part in reading.strip("+").split(":"):
        total = total * 60 + int(part)
    return total


def test_a_killed_server_is_said_and_a_tap_is_kept_and_recorded_once(place):
    chair, server = is_at_the_first_pass(place), place.house.servers[0]
    first = events(place, "section_started")
    touches(chair, "1 back right")  # a clock to look at
    wait_for("on record", lambda: events(place, "section_started") == first + 1, 15)
    before = first + 1
    server.kill()
    chair.sees("No contact since", "Clocks go on; signing waits.", limit_s=30)
    touches(chair, "3 front left")
    chair.sees("Kept here until the server is back: front left", limit_s=30)
    clocks = chair.run_js(CLOCK)
    wait_for("clocks go on", lambda: chair.run_js(CLOCK) != clocks, 10)
    place.house.restart(0)
    wait_for("recorded", lambda: events(place, "section_started") == before + 1, 60)
    chair.sees("front left touched, pass 1", limit_s=60)
    wait_for("said no more", lambda: not any(w in chair.text.lower() for w in ("kept here until", "no contact since")), 15)
    place.basin.signs_in("Mara Quill", PIN["Mara Quill"], place.run)
    place.basin.sees("front left touched, pass 1")
    chair.driver.refresh()
    chair.sees("front left touched, pass 1")
    assert events(place, "section_started") == before + 1, "once"
    chair.complaints_so_far_are_the_outage()


def test_a_cut_line_keeps_taps_and_sends_each_once(place):
    """Nothing comes and nothing is refused, as when a cable is pulled; a tap the server took without being heard is not doubled."""
    chair, server = is_at_the_first_pass(place), place.house.servers[0]
    before = events(place, "section_started")
    server.hold()
    try:
        for name in ("2 back left", "4 front right"):
            touches(chair, name)
        chair.sees("Kept here until the server is back: back left", "front right", limit_s=30)
    finally:
        server.go_on()
    wait_for("both", lambda: events(place, "section_started") >= before + 2, 40)
    wait_for("kept no more", lambda: "kept here until" not in chair.text.lower(), 40)
    assert events(place, "section_started") == before + 2, "once each"
    tapped = "select string_agg(data->>'section', ',' order by happened_at desc) from run_event where kind = 'section_started'"
    assert place.house.sql(tapped).split(",")[:2] == ["front-right", "back-left"], "at the instants of the taps"
    chair.complaints_so_far_are_the_outage()


def test_a_tap_where_the_door_was_shown_is_kept(place):
    """The station's cookies are gone: the server leads to its door, which is no answer to a fact."""
    chair = is_at_the_first_pass(place)
    before = events(place, "section_started")
    cookies = chair.driver.get_cookies()
    chair.driver.delete_all_cookies()
    touches(chair, "1 back right")
    chair.sees("Kept here until the server is back: back right")
    for cookie in cookies:
        chair.driver.add_cookie({k: cookie[k] for k in ("name", "value", "path", "httpOnly", "sameSite")})
    chair.goes_to(place.run)
    wait_for("recorded", lambda: events(place, "section_started") == before + 1, 20)
    wait_for("kept no more", lambda: "kept here until" not in chair.text.lower(), 20)


def test_a_tablet_that_slept_shows_the_right_clocks_at_once(place):
    """Its steady counter stood still for four minutes, its wall clock and the salon's went on; the line is dead."""
    chair, server = is_at_the_first_pass(place), place.house.servers[0]
    asleep = seconds(chair.run_js(CLOCK))
    server.hold()
    try:
        place.house.later(minutes=4)
        chair.run_js("const wall = Date.now; Date.now = () => wall.call(Date) + 240000")
        wait_for("four minutes on", lambda: 240 <= seconds(chair.run_js(CLOCK)) - asleep <= 255, 4)
    finally:
        server.go_on()
    chair.run_js("document.querySelector('main [data-part]').dataset.old = '1'")
    wait_for("asked anew", lambda: chair.run_js("return !document.querySelector('main [data-part]').dataset.old"), 20)
    truth = float(place.house.sql("select extract(epoch from rinsebell_now() - min(happened_at)) from run_event where kind = 'section_started'"))
    assert abs(seconds(chair.run_js(CLOCK)) - truth) <= 2
    chair.complaints_so_far_are_the_outage()


def test_a_device_clock_set_wrong_changes_nothing(place):
    chair = is_at_the_first_pass(place)
    shown = seconds(chair.run_js(CLOCK))
    chair.run_js("const wall = Date.now; Date.now = () => wall.call(Date) - 3600000")
    wait_for("clocks go on", lambda: seconds(chair.run_js(CLOCK)) > shown, 5)
    chair.run_js("const wall = Date.now; Date.now = () => wall.call(Date) + 7200000")
    wait_for("put right by the server", lambda: shown < seconds(chair.run_js(CLOCK)) < shown + 30, 10)


def test_a_bell_is_announced_once(place):
    chair = place.chair
    time_passes(place.house, place.run, [(chair, "Tobias Fenn")], minutes=34, seconds=10)
    # One minute before the target (the sheet's 35 from first touch): seen, and read out once.
    said = "window.said = []; new MutationObserver(() => { const t = document.getElementById('said').textContent.trim(); if (t) window.said.push(t); }).observe(document.getElementById('said'), {childList: true, characterData: true, subtree: true})"
    chair.sees("any heat, any sting?")
    key = chair.run_js("return document.querySelector('[data-bell]').dataset.bell")
    rung = chair.run_js("return JSON.parse(localStorage.getItem('rinsebell_rung'))")
    assert rung.count(key) == 1
    chair.run_js(said)
    for _ in range(2):  # swapped anew, and in its second looking: silent
        # Marked before it is asked for: a quick answer may be there before the next word.
        chair.run_js("document.querySelector('main [data-part]').dataset.old = '1'; document.dispatchEvent(new CustomEvent('rinsebell:refetch'))")
        wait_for("swapped", lambda: chair.run_js("return !document.querySelector('main [data-part]').dataset.old"), 10)
    assert not [t for t in chair.run_js("return window.said") if "heat" in t or "Nerys" in t]
