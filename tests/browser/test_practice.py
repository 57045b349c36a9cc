"""A practice on a head of yarn: by keys alone, without script, and with a bell that rings.

Issue 7: everybody who treats hair may practise a whole service at the Run screen's own parts, and nothing is recorded.
"""

from selenium.webdriver.common.keys import Keys

import demo
from house import wait_for
from station import Station

SAID = "Practice on a head of yarn: nothing is recorded."
RECORDS = "select (select count(*) from run) + (select count(*) from run_event) + (select count(*) from record_act)"
# Where the page stands: its headline, its last tap, its refusal.
STANDS = "return [document.querySelector('h1')?.textContent, document.querySelector('.undo')?.textContent, document.querySelector('.refusal')?.textContent].join('|')"
# The first answer that is asked for, or the bowl's button.
ASKED = "form.bowl[method=post] button:not(details *), form[id^=hp-] button[name=sign]:not(details *)"


def goes_on(station, act):
    """An act that leads to another page."""
    station.run_js("window.before = true")
    act()
    wait_for("the page after it", lambda: not station.run_js("return window.before || document.readyState !== 'complete'"), 30)


def tabs_to(station, css):
    """The focus comes there by the Tab key alone, as far as anybody's patience goes."""
    for _ in range(250):
        if station.run_js("return document.activeElement.matches(arguments[0])", css):
            return
        station.keys(Keys.TAB)
    raise AssertionError(f"no Tab leads to {css} on {station.path}")


def practises_by_keys(station):
    """Until the first pass is in hand: answers by Tab and Enter, everything else by the space key."""
    for _ in range(60):
        assert SAID in station.text and station.width_beyond() == 0, station.path
        if "First pass" in station.headline and not station.run_js(f"return document.querySelector('{ASKED}')"):
            return
        if station.run_js(f"return Boolean(document.querySelector('{ASKED}'))"):
            tabs_to(station, ASKED)
            goes_on(station, lambda: station.keys(Keys.ENTER))
        else:
            before = station.run_js(STANDS)
            station.run_js("document.activeElement.blur()")
            goes_on(station, lambda: station.keys(" "))
            if station.run_js("return Boolean(document.querySelector('.refusal'))"):
                tabs_to(station, ".practised-acts a:nth-of-type(2)")
                goes_on(station, lambda: station.keys(Keys.ENTER))
            assert station.run_js(STANDS) != before, "the space key does the next act"
    raise AssertionError(f"no first pass: {station.headline}")


def test_a_service_is_practised_by_keys_alone_and_a_bell_rings(demo_salon):
    house, station = demo_salon.house, demo_salon.station
    demo.seated(demo_salon, station, "assistant")
    before = house.sql(RECORDS)
    station.goes_to("/floor")
    assert station.run_js("return Boolean(document.querySelector('a[href=\"/practice\"]'))"), "found from the Floor"
    station.goes_to("/practice")
    tabs_to(station, "a[href='/practice/curl-retouch']")
    goes_on(station, lambda: station.keys(Keys.ENTER))
    practises_by_keys(station)
    for number, quadrant in enumerate(("back right", "back left"), 1):
        station.run_js("document.activeElement.blur()")
        goes_on(station, lambda number=number: station.keys(str(number)))
        assert f"{quadrant} touched, pass 1" in station.text
    goes_on(station, lambda: station.keys("t"))
    assert "Taken back" not in station.headline and "back left touched, pass 1" not in station.run_js("return document.querySelector('.undo')?.textContent ?? ''")
    # On to the bell, by the practice's own clock; the page says it, and tells the ear which.
    for _ in range(6):
        tabs_to(station, ".practised-acts a:nth-of-type(2)")
        goes_on(station, lambda: station.keys(Keys.ENTER))
    assert station.run_js("return document.querySelector('[data-bell]').dataset.bellWords").startswith("Head of yarn: ")
    assert station.run_js("return JSON.parse(localStorage.rinsebell_rung).some((key) => key.startsWith('-'))"), "a bell of no run rang"
    goes_on(station, lambda: station.keys("r"))
    assert "Stopped" in station.text and SAID in station.text
    assert not station.run_js("return Object.keys(localStorage).some((key) => key.startsWith('rinsebell_kept:'))"), "nothing is kept at the station"
    assert house.sql(RECORDS) == before, "nothing is recorded"
    assert not station.complaints()


def test_a_bell_that_comes_due_is_asked_for_by_the_page_itself(demo_salon):
    station = demo_salon.station
    demo.seated(demo_salon, station, "assistant")
    station.goes_to("/practice/curl-retouch")
    practises_by_keys(station)
    station.run_js("document.activeElement.blur()")
    goes_on(station, lambda: station.keys("1"))
    bell = station.run_js("return document.querySelector('.practised-acts').textContent")
    assert "On to the next bell" in bell, bell
    # Three seconds before the bell: then nobody touches anything.
    href = station.run_js("return [...document.querySelectorAll('.practised-acts a')].find((a) => a.textContent.startsWith('On to the next bell')).getAttribute('href')")
    ahead = int(href.partition("ahead=")[2].partition("&")[0])
    station.goes_to(href.replace(f"ahead={ahead}", f"ahead={ahead - 6}"))
    assert not station.run_js("return Boolean(document.querySelector('[data-bell]'))")
    wait_for("the bell, by itself", lambda: station.run_js("return Boolean(document.querySelector('[data-bell]'))"), 20)
    assert SAID in station.text


def test_head_map_and_act_of_a_practice_stand_within_one_thumbs_screen(demo_salon):
    """4-look.md, as on the Run (test_pages.py): 390 by 844, nothing scrolled; and the line that it is a practice above them."""
    station = demo_salon.station
    demo.seated(demo_salon, station, "assistant")
    station.goes_to("/practice/curl-retouch")
    practises_by_keys(station)
    path = station.path
    station.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True})
    try:
        station.goes_to(path)
        line, head, bar, act = station.run_js("return ['.practised-line', '.head', '.bar', '#act'].map((css) => { const b = document.querySelector(css).getBoundingClientRect(); return [b.top, b.bottom]; })")
        assert 0 <= line[0] and line[1] <= head[0] and head[1] <= bar[0], (line, head, bar)
        assert bar[0] < act[0] and act[1] <= 844
        station.run_js("scrollTo(0, document.body.scrollHeight)")
        line = station.run_js("const b = document.querySelector('.practised-line').getBoundingClientRect(); return [b.top, b.bottom]")
        assert line[0] >= 0 and line[1] <= 100, "it stays in sight at the foot of the page as well"
    finally:
        station.driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_a_practice_works_without_script(demo_salon):
    demo.seated(demo_salon, demo_salon.station, "assistant")
    plain = Station(demo_salon.house.servers[0].origin, script=False)
    try:
        demo.sits_as(plain, demo_salon.seats["assistant"])
        plain.driver.get(plain.origin + "/practice/curl-retouch")
        find = plain.driver.find_elements
        headlines = set()
        for _ in range(40):
            assert SAID.split(":")[0] in plain.driver.find_element("css selector", ".practised-line").text
            headlines.add(plain.driver.find_element("css selector", "h1").text)
            if len(headlines) >= 5:
                break
            asked = find("css selector", ASKED)
            refused = find("css selector", ".refusal")
            there = asked[0] if asked else find("css selector", ".practised-acts a")[1] if refused else plain.driver.find_element("css selector", "#act")
            url = plain.driver.current_url
            there.click()
            wait_for("the page after it", lambda url=url: plain.driver.current_url != url or find("css selector", ".refusal"), 20)
        assert len(headlines) >= 5, headlines
    finally:
        plain.close()
