"""Every page of the program, for every role: valid, and nothing that axe has against it.

The judges are other people's (judges.py). Looks, states and the heavier validator: contact_sheet.py, by tests/slow.
"""

import collections
import re

import pytest

import demo
import judges

# Routes that are no page of the demo's, each with the reason.
NO_PAGE = {
    "/clients.csv": "a file", "/clients/import/{id}/refused.csv": "a file", "/feeds/{key}": "a calendar file", "/incidents/{id}/report": "a file",
    "/overview/due.csv": "a file", "/overview/holds.csv": "a file", "/overview/hours.csv": "a file", "/overview/incidents.csv": "a file",
    "/overview/missed.csv": "a file", "/overview/spread.csv": "a file", "/overview/stock.csv": "a file", "/overview/times.csv": "a file",
    "/shelf/lots/{id}/recall.csv": "a file",
    "/health/live": "one word", "/health/ready": "one word", "/runs/{id}/events": "JSON", "/runs/{id}/live": "a part of /runs/{id}",
    "/": "leads on", "/first-run": "contact_sheet.py: there is a salon", "/clients/import/{id}/trial": "contact_sheet.py: no file waits",
    "/overview/incidents/rows": "the demo has none", "/overview/spread/rows": "the demo has none", "/overview/times/rows": "the demo has none",
    "/runs/{id}/aftercare": "contact_sheet.py: at a service's end", "/clients/{id}/complaint/noted": "tests/it/incidents.rs: after a complaint",
}
DRAFT = "/protocols/curl-retouch"
# Where colours are looked at in the dark too: tokens, states and patterns meet there.
DARK = ("/floor", "/runs/1", "/plans/1", "/regrowth", "/clients/5/consult?again=1", "/overview", "/team/salon")


@pytest.fixture(scope="module")
def salon(demo_salon):
    """The demo salon, its pages by role (each kind once), and one browser."""
    house, station, seats = demo_salon.house, demo_salon.station, demo_salon.seats
    for role in demo.ROLES:
        demo.seated(demo_salon, station, role)
    more_to_see(house, demo.seated(demo_salon, station, "manager"))
    pages = {}
    for role, cookies in seats.items():
        reader = demo.Reader(house.servers[0].origin, cookies)
        begin = ["/floor", "/sign-in", *(["/incidents?all=yes", f"{DRAFT}/draft", f"{DRAFT}/publication"] if role == "manager" else [])]
        pages[role] = demo.every_page(reader, begin)
    stranger = demo.Reader(house.servers[0].origin)
    pages["nobody"] = demo.every_page(stranger, ["/welcome", "/sign-in", *demo.links_of_a_client(house), "/c/1/no-such-link", "/nowhere"], of_a_kind=4)
    return house, station, seats, pages


def more_to_see(house, station):
    """A draft of a protocol, a sting told afterwards."""
    station.goes_to(DRAFT).presses("Change a copy", "main")
    station.goes_to(house.sql("select '/clients/' || client_id from run order by run_id limit 1"))
    station.presses("Write down an incident", "main")


def each(pages):
    return [(role, page) for role, found in pages.items() for page in found]


def test_every_page_of_the_program_is_visited(salon):
    kinds = {demo.kind_of(page.path).partition("?")[0] for _, page in each(salon[3])}
    routes = demo.routes()
    unseen = {r for r in routes if re.sub(r"\{[^}]*\}", "N", r).replace("/c/N/N", "/c/N/T") not in kinds}
    assert unseen <= set(NO_PAGE), unseen - set(NO_PAGE)
    assert set(NO_PAGE) <= routes, set(NO_PAGE) - routes
    assert len(salon[3]["manager"]) > 50


def test_every_page_is_parsed_without_an_error_and_built_as_a_page(salon):
    """HTML Living Standard, 13.2.2 Parse errors; one h1, one main, no id twice, a language and a title of its own."""
    wrong = []
    for role, page in each(salon[3]):
        at = f"{role} {page.path}"
        wrong += [f"{at}: {words}" for words in judges.parse_errors(page.text)]
        ids = collections.Counter(re.findall(r'\sid="([^"]*)"', page.text))
        wrong += [f"{at}: id {name} {n} times" for name, n in ids.items() if n > 1]
        for what, pattern in (("h1", r"<h1[ >]"), ("main", r"<main[ >]"), ("title", r"<title>[^<]+</title>"), ("lang", r'<html lang="[a-z]')):
            # A drawing has titles of its own.
            text = page.text.partition("</head>")[0] if what == "title" else page.text
            if len(re.findall(pattern, text)) != 1:
                wrong.append(f"{at}: {len(re.findall(pattern, text))} {what}")
    assert not wrong, "\n".join(wrong[:40])


def test_axe_has_nothing_against_any_page_of_any_role(salon):
    """axe-core, WCAG 2.0 to 2.2 A and AA and its best practices. Pages built alike for two roles are judged once."""
    _, station, seats, pages = salon
    found, judged = [], set()
    for role, role_pages in pages.items():
        new = [p for p in role_pages if built(p) not in judged]
        judged.update(built(p) for p in new)
        demo.sits_as(station, seats.get(role, []))
        for page in new:
            station.goes_to(page.path)
            found += [f"{role} {page.path}: {words}" for words in judges.axe(station)]
    print(f"\naxe: {len(judged)} pages of {len(each(pages))}")
    assert not found, "\n".join(found[:20])


def built(page):
    """How a page is put together below its line of screens: tags and classes, not words."""
    main = page.text.partition("<main")[2]
    return tuple(dict.fromkeys(re.findall(r"<[a-z0-9]+(?: class=\"[^\"]*\")?", main)))


def test_colours_hold_in_the_dark_as_well(salon):
    """WCAG 2.2, 1.4.3 and 1.4.11, by axe."""
    _, station, seats, _ = salon
    demo.sits_as(station, seats["manager"])
    station.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": "dark"}]})
    try:
        found = [f"{path}: {words}" for path in DARK for words in judges.axe(station.goes_to(path), ("wcag2aa",))]
    finally:
        station.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    assert not found, "\n".join(found)


def test_head_map_and_act_stand_within_one_thumbs_screen(salon):
    """4-look.md: on a phone of 390 by 844 the whole head map and the act are seen without scrolling."""
    _, station, seats, _ = salon
    demo.sits_as(station, seats["stylist"])
    station.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True})
    try:
        station.goes_to("/runs/1")
        head, bar, act = station.run_js("return ['.head', '.bar', '#act'].map((css) => { const b = document.querySelector(css).getBoundingClientRect(); return [b.top, b.bottom]; })")
        assert 0 <= head[0] and head[1] <= bar[0], (head, bar)
        assert bar[0] < act[0] and act[1] <= 844
        small = station.run_js("return [...document.querySelectorAll('.quad, .bar .act')].map((e) => e.getBoundingClientRect()).filter((b) => b.width < 64 || b.height < 64).length")
        assert small == 0
    finally:
        station.driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
