"""A working day at the desk of an invented salon: a year of work, made by the program itself in seconds."""

import base64
import re

import pytest
from selenium.webdriver import Keys

from desk import desk_of
from house import wait_for

SALON = ("--seed", "7", "--clients", "150", "--years", "1", "--staff", "5")

# The rows of the call list: name, service, all words, and what its button says.
ROWS = """return [...document.querySelectorAll('table.due tbody tr:not(.group)')].map((r) => ({
  name: r.querySelector('th b a').innerText, href: r.querySelector('th b a').getAttribute('href'),
  service: r.querySelector('th').childNodes[2].textContent.split(/[,;]/)[0].trim(), words: r.innerText.replace(/\\s+/g, ' '),
  call: r.querySelector('form button')?.innerText ?? '' }))"""

# What keeps somebody from being booked at once.
STANDS_BEFORE = ("patch test", "wait until", "looks first", "plan refused", "skin reacted")


@pytest.fixture(scope="module")
def desks(program):
    with desk_of(program, ("/regrowth", "/overview"), invented=SALON) as (house, stations, _):
        yield house, *stations


def rows(desk, path="/regrowth"):
    """Every row of a view, page after page."""
    desk.goes_to(path)
    found = desk.run_js(ROWS)
    while desk.has("Next", "main"):
        desk.presses("Next", "main")
        found += desk.run_js(ROWS)
    return found


def row_of(desk, group, name):
    desk.goes_to(f"/regrowth?group={group}&text={name}")
    return next((r["words"] for r in desk.run_js(ROWS) if r["name"] == name), None)


def presses_key(desk, selector, key=Keys.ENTER):
    """Enter on what a selector finds, as from the keyboard; a new page comes."""
    desk.run_js("window.before = true; document.querySelector(arguments[0]).focus()", selector)
    desk.keys(key)
    wait_for("a new page", lambda: not desk.run_js("return window.before || document.readyState !== 'complete'"), 30)


def books_first(desk):
    """Takes the first opening of the page; the booking's number."""
    desk.presses(desk.run_js("return document.querySelector('ol.openings button').innerText"), "ol.openings")
    assert re.fullmatch(r"/bookings/\d+", desk.path), f"{desk.path}: {desk.text[:1500]}"
    return int(desk.path.rsplit("/", 1)[1])


def test_the_call_list_is_worked_from_call_to_outcome_by_keyboard(desks):
    _, desk, _ = desks
    desk.goes_to("/regrowth").sees("to reach today", "The next free chair", "Nothing noted yet today.")
    first = next(r for r in desk.run_js(ROWS) if r["call"])
    presses_key(desk, "table.due form button")
    desk.sees("This call is yours until", first["name"])
    tomorrow = desk.run_js("const d = new Date(Date.now() + 2 * 86400e3); return d.toISOString().slice(0, 10)")
    desk.chooses("Outcome", "spoke").writes("What is done next", "find an opening").writes("On which day", tomorrow)
    desk.writes("Note", "asked for a morning").presses("Note it", "main")
    desk.sees("Noted today: one try.")
    assert first["name"] not in [r["name"] for r in desk.run_js(ROWS)], "whoever was reached is not called again today"
    words = row_of(desk, "waiting", first["name"])
    assert words and "spoke; find an opening" in words and "asked for a morning" in words, words
    assert not desk.complaints()


def test_a_call_ends_in_a_booking_and_its_cancellation_is_offered_to_who_waits(desks):
    house, desk, _ = desks
    ready = [r for r in rows(desk) if r["call"] and not any(words in r["words"] for words in STANDS_BEFORE)]
    pairs = [(a, b) for a in ready for b in ready if a is not b and a["service"] == b["service"]]
    assert pairs, [(r["name"], r["words"]) for r in ready]
    called, waits = pairs[0]
    # The one who waits: nothing suits of what there is.
    desk.goes_to(waits["href"] + "/followups").presses("Find an opening", "main")
    desk.taps("Nothing that suits")
    last = desk.run_js("const d = new Date(Date.now() + 60 * 86400e3); return d.toISOString().slice(0, 10)")
    # By the salon's own day: the first opening that is booked below may be of today.
    first = house.sql("select (now() at time zone zone)::date from salon limit 1")
    desk.writes("First day that would do", first).writes("Last day that would do", last).presses("Put on the list", "#waiting")
    desk.goes_to("/waiting").sees(waits["name"])
    # The one who is called: booked while on the telephone.
    desk.goes_to(called["href"] + "/followups").presses("Take the call", "main")
    desk.presses("Find an opening", "main")
    booking = books_first(desk)
    assert row_of(desk, "promised", called["name"]), "promised"
    # Called off: the time is offered, and taken by who waits.
    desk.goes_to(f"/bookings/{booking}").writes("Why", "work came between").presses("Cancel this booking", "main")
    words = row_of(desk, "now", called["name"])
    assert words and "booked, cancelled since" in words, words
    desk.goes_to("/waiting").sees("Times that came free")
    presses_key(desk, ".boxes a")
    desk.sees("Whom this time fits", waits["name"])
    books_first(desk)
    assert row_of(desk, "promised", waits["name"]), "promised"
    desk.goes_to("/waiting").sees_not(waits["name"])
    assert not desk.complaints()


def pages(desk):
    """How many sheets of A4 the page prints on (ISO 216: 210 × 297 mm)."""
    paper = {"paperWidth": 210 / 25.4, "paperHeight": 297 / 25.4, "preferCSSPageSize": True}
    pdf = base64.b64decode(desk.driver.execute_cdp_cmd("Page.printToPDF", paper)["data"])
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def test_the_fullest_day_to_come_prints_on_one_sheet(desks):
    house, desk, _ = desks
    day = house.sql("select (lower(span) at time zone (select zone from salon limit 1))::date from booking where state = 'booked' and lower(span) > now() "
                    "group by 1 order by count(*) desc, 1 limit 1")
    desk.goes_to(f"/day?on={day}")
    booked = int(house.sql(f"select count(*) from booking where state = 'booked' and (lower(span) at time zone (select zone from salon limit 1))::date = '{day}'"))
    links = desk.run_js("return new Set([...document.querySelectorAll('.day-sheet a[href^=\"/bookings/\"]')].map((a) => a.getAttribute('href'))).size")
    assert booked >= 3 and links == booked, (day, booked, links)
    assert pages(desk) == 1
    assert not desk.complaints()


def test_a_bar_of_the_overview_leads_to_its_rows_by_keyboard(desks):
    _, _, office = desks
    office.goes_to("/overview")
    bars = office.run_js("return [...document.querySelectorAll('.figure svg a')].map((a) => [a.getAttribute('href'), a.getAttribute('aria-label')])")
    assert len(bars) > 24 and all(href and name for href, name in bars)
    href, name = next(bar for bar in bars if bar[0].startswith("/overview/due/rows"))
    due = int(re.search(r"Due: (\d+)", name)[1])
    assert office.run_js("const a = document.querySelector('#due svg a'); a.focus(); return document.activeElement === a")
    presses_key(office, "#due svg a")
    assert office.path == href
    listed = office.run_js("return document.querySelectorAll('table tbody tr').length")
    assert listed == due, (name, listed)
    office.goes_to("/overview")
    # By a finger: the middle of a bar is the link, not the picture.
    office._click(lambda: office.driver.find_element("css selector", "#hours svg a"))
    wait_for("the rows", lambda: office.path.startswith("/overview/hours/rows"), 20)
    assert not office.complaints()


@pytest.mark.parametrize("width", [1180, 1024])
def test_a_managers_line_of_screens_stays_one_line(desks, width):
    _, _, office = desks
    before = office.driver.get_window_size()
    office.driver.set_window_size(width, before["height"])
    try:
        office.goes_to("/overview")
        tops = office.run_js("return [...document.querySelectorAll('.screens li a')].map((a) => Math.round(a.getBoundingClientRect().top))")
        assert len(tops) >= 10 and len(set(tops)) == 1, tops
        assert office.width_beyond() == 0
    finally:
        office.driver.set_window_size(before["width"], before["height"])
