"""Two receptionists at one list: a call taken at one desk is seen at the other without a reload."""

import pytest

from desk import desk_of
from house import wait_for
from station import until_sees


@pytest.fixture(scope="module")
def desks(program):
    """The demo salon with two people at two stations of two processes."""
    with desk_of(program, ("/regrowth", "/regrowth")) as desk:
        yield desk


def first_call(station):
    """Words of the first button of the list that calls somebody."""
    return station.run_js("return document.querySelector('table.due form button').innerText")


def test_a_call_taken_at_one_desk_is_seen_at_the_other_without_a_reload(desks):
    house, (desk, office), people = desks
    name = first_call(desk)
    assert name.startswith("Call ")
    office.run_js("window.before = true")
    desk.presses(name, "table.due")
    desk.sees("This call is yours until")
    until_sees(office, f"{people[0]} is calling, until")
    assert office.run_js("return window.before"), "the page was not loaded again"
    # The second one is told who has it, also where its page was old.
    client = desk.path
    office.goes_to(client).sees(f"{people[0]} is calling since")
    assert not office.has("Take the call")
    office.goes_to("/regrowth")
    office.run_js("window.before = true")
    desk.chooses("Outcome", "message left").presses("Note it", "main")
    desk.sees("to reach today")
    first = name.removeprefix("Call ")
    wait_for("the call is over at the other desk", lambda: f"{people[0]} is calling" not in office.text, 10)
    assert office.run_js("return window.before"), "the page was not loaded again"
    office.goes_to("/regrowth?group=waiting").sees(first, "message left")
    assert not desk.complaints() + office.complaints()


def test_the_list_is_worked_without_script(desks):
    """Filters are a plain form, calls plain buttons."""
    house, (desk, _), _ = desks
    desk.goes_to("/regrowth")
    links = desk.run_js("return [...document.querySelectorAll('nav.views a')].map((a) => a.getAttribute('href'))")
    assert len(links) >= 10 and all(link.startswith("/regrowth") for link in links)
    for link in links:
        desk.goes_to(link)
        assert desk.headline, link
        assert desk.run_js("return document.querySelectorAll('nav.views [aria-current]').length") == 1
    desk.goes_to("/regrowth").taps("Narrow the list")
    desk.writes("Name or phone", "zzz").presses("Show these")
    assert desk.path.startswith("/regrowth?") and "text=zzz" in desk.path
    desk.sees("Nobody of whom you asked for.").presses("Everybody")
    assert desk.path == "/regrowth"
