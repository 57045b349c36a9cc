"""A service without a mouse, and without script.

Beside the journey: a salon of its own (`place`), one client's service, from its first step to its first pass.
"""

from selenium.common.exceptions import NoSuchElementException, StaleElementReferenceException

import service
from house import wait_for
from service import BEFORE, answers_and_starts, events, run_page
from station import Station


def test_a_hold_point_and_a_step_work_without_script(place):
    """First, while the service is young: the same station's browser with script off."""
    plain = Station(place.house.servers[0].origin, script=False)
    try:
        for cookie in place.chair.goes_to("/floor").driver.get_cookies():
            plain.goes_to("/health/live").driver.add_cookie({k: cookie[k] for k in ("name", "value", "path")})
        def body(css="body"):
            try:
                return plain.driver.find_element("css selector", css).text
            except (StaleElementReferenceException, NoSuchElementException):
                return ""  # between two pages

        def press(css):
            plain.driver.find_element("css selector", css).click()

        plain.goes_to(place.run)
        assert "Without script" in body()
        press("#act")
        wait_for("the step is in hand", lambda: "Consult and drape" in body("h1"), 15)
        press("#act")
        wait_for("the next step", lambda: "Inspect" in body("h1"), 15)
        # What the inspection is there to see is answered at its end.
        press("#hp-scalp button[value='scalp:intact']")
        wait_for("signed", lambda: "Scalp: intact" in body(), 15)
    finally:
        plain.close()


def test_keys_alone_give_a_pass(place):
    """4-look.md: space is the main act, digits the quadrants, R stop and rinse."""
    chair = place.chair
    run_page(place.run, chair)
    for title in BEFORE[2:]:
        answers_and_starts(chair, title)
    service.answers_what_is_asked(chair)
    chair.run_js("document.activeElement.blur(); window.before = true")
    chair.keys(" ")
    wait_for("First pass by the space key", lambda: "First pass" in chair.headline and not chair.run_js("return window.before"), 20)
    for number, quadrant in enumerate(("back right", "back left"), 1):
        chair.run_js("document.activeElement.blur()")
        chair.keys(str(number))
        chair.sees(f"{quadrant} touched, pass 1")
    assert events(place, "section_started") == 2
    chair.run_js("document.activeElement.blur()")
    chair.taps("Single keys are on")
    chair.run_js("document.activeElement.blur()")
    chair.keys("3")
    assert not chair.run_js("return document.querySelector('[aria-busy]')"), "nothing is on its way"
    chair.taps("Single keys are off")
    assert events(place, "section_started") == 2, "switched off, a digit does nothing"


def test_a_scan_that_comes_to_no_field_acts_on_nothing(place):
    """A scanner is a keyboard: its digits are no quadrants, its letters no stop, its Enter no tap on what has the focus."""
    chair = place.chair
    run_page(place.run, chair)
    before = [events(place, kind) for kind in ("section_started", "stop_recorded")]
    main = service.main_act(chair)
    # As after a tap: the focus is on the main act, and the scan's Enter would press it.
    chair.run_js("document.getElementById('act').focus()")
    chair.keys("0109520000990015103R1\ue007")
    wait_for("said", lambda: "nothing on this screen takes one" in chair.run_js("return document.getElementById('said').textContent"), 10)
    assert [events(place, kind) for kind in ("section_started", "stop_recorded")] == before
    assert service.main_act(chair) == main and not chair.run_js("return document.querySelector('[aria-busy]')")
    # Where the screen has a field for codes, they come there.
    chair.goes_to("/shelf")
    chair.run_js("document.activeElement.blur(); window.before = true")
    chair.keys("XK-NOT-THERE\ue007")
    wait_for("looked up", lambda: chair.path.startswith("/shelf/scan?code=XK-NOT-THERE"), 10)


def test_every_act_is_reached_by_tab(place):
    chair = run_and_look(place)
    chair.run_js("document.body.tabIndex = -1; document.body.focus()")
    wanted = set(chair.run_js(f"return [...document.querySelectorAll('{ACTS}')].filter((e) => e.checkVisibility({{visibilityProperty: true}})).map({NAME_OF})"))
    reached = set()
    for _ in range(len(wanted) + 60):
        chair.keys("\ue004")
        reached.add(chair.run_js(f"return ({NAME_OF})(document.activeElement)"))
    assert len(wanted) > 5 and wanted <= reached, wanted - reached


ACTS = "main button, main a[href], main summary, .bar button, .bar a[href]"
NAME_OF = "(e) => `${e.tagName} ${e.name ?? ''} ${e.value ?? ''} ${e.textContent.replace(/[0-9]+:[0-9:]+/g, '').replace(/\\s+/g, ' ').trim()}`"


def run_and_look(place):
    run_page(place.run, place.chair)
    return place.chair
