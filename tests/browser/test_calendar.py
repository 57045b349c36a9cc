"""A calendar feed as a calendar program reads it, and the day sheet on paper.

The feed is parsed by the general library `icalendar`; instants are compared with the database's own.
"""

import base64
import datetime
import os
import re
import urllib.error
import urllib.request

import icalendar
import pytest

from demo import sit_down
from house import House
from station import Station

UTC = datetime.timezone.utc


@pytest.fixture(scope="module")
def demo(program):
    """The demo salon with its manager at a station, and the links made there."""
    house = House(program, demo=True)
    station = Station(house.servers[0].origin)
    try:
        pins = sit_down(station)
        manager = house.sql("select name from person where role = 'manager' order by person_id limit 1")
        station.signs_in(manager, next(pin for who, pin in pins.items() if who.startswith(manager)))
        yield house, station
    finally:
        station.close()
        house.close()


def link(station, whose):
    """Makes a link on the page; gives it as shown."""
    station.goes_to("/calendar").writes("Whose calendar", whose).presses("Make a link")
    return station.run_js("return document.getElementById('link').value")


def fetched(url, **headers):
    try:
        with urllib.request.urlopen(urllib.request.Request(url, headers=headers), timeout=20) as answer:
            return answer.status, dict(answer.headers), answer.read()
    except urllib.error.HTTPError as e:
        return e.code, dict(e.headers), e.read()


def events(body):
    return [e for e in icalendar.Calendar.from_ical(body).walk("VEVENT")]


def stretches(house, where):
    """Stretches of hands in the database, those of one booking that touch joined, in UTC."""
    rows = house.sql("select h.booking_id, extract(epoch from lower(h.span))::bigint, extract(epoch from upper(h.span))::bigint from booking_hands h "
                     f"join booking b using (salon_id, booking_id) where h.live and b.state in ('booked', 'kept') and {where} order by 1, 2").splitlines()
    joined = []
    for row in rows:
        booking, start, end = map(int, row.split("|"))
        if joined and joined[-1][0] == booking and joined[-1][2] >= start:
            joined[-1][2] = max(joined[-1][2], end)
        else:
            joined.append([booking, start, end])
    return sorted((datetime.datetime.fromtimestamp(a, UTC), datetime.datetime.fromtimestamp(b, UTC)) for _, a, b in joined)


def test_a_feed_is_read_by_a_calendar_library_and_holds_the_hands_of_its_person(demo):
    house, station = demo
    who = house.sql("select p.name from booking_hands join person p using (salon_id, person_id) group by p.name order by count(*) desc, p.name limit 1")
    url = link(station, who)
    status, headers, body = fetched(url)
    assert status == 200 and headers["content-type"].startswith("text/calendar")
    for line in body.split(b"\r\n"):
        assert len(line) <= 75, line
    found = events(body)
    told = sorted((e.decoded("dtstart"), e.decoded("dtend")) for e in found)
    assert told == stretches(house, f"h.person_id = (select person_id from person where name = '{who}')")
    assert len({str(e["uid"]) for e in found}) == len(found)
    assert all(e.decoded("dtstamp").tzinfo is not None for e in found)
    # Initials, and nothing that names anybody, any service or any test.
    text = body.decode().replace("\r\n ", "").lower()
    names = house.sql("select name from client").splitlines()
    for word in [part for name in names for part in name.lower().split() if len(part) > 2] + ["curl", "retouch", "relaxer", "colour", "patch", "test"]:
        assert not re.search(rf"\b{re.escape(word)}\b", text), word
    assert all(re.fullmatch(r"Busy(, \w\.( \w\.)?)?", str(e["summary"])) for e in found)
    # The same bytes each time, and not sent twice.
    assert fetched(url)[2] == body
    assert fetched(url, **{"If-None-Match": headers["etag"]})[0] == 304


def test_the_clocks_change_and_every_instant_stays(demo):
    """A booking over the night when 02:00 to 03:00 comes twice (25 October 2026 in Paris) and one after it."""
    house, station = demo
    salon, person, client = house.sql("select salon_id, (select min(person_id) from person where role = 'stylist'), (select min(client_id) from client) from salon").split("|")
    who = house.sql(f"select name from person where person_id = {person}")
    year = int(house.sql("select extract(year from rinsebell_now())"))
    # The last Sunday of the next October that lies within the feed's half year, or of March.
    now = datetime.datetime.fromisoformat(house.sql("select to_char(rinsebell_now() at time zone 'UTC', 'YYYY-MM-DD\"T\"HH24:MI:SS')"))
    changes = [max(datetime.datetime(y, m, d, 1) for d in range(24, 32) if datetime.datetime(y, m, d).weekday() == 6) for y in (year, year + 1) for m in (3, 10)]
    change = next(c for c in changes if datetime.timedelta(days=2) < c - now)
    if change - now > datetime.timedelta(days=175):
        pytest.skip("no clock change within half a year of today")
    wanted = []
    for hours in (-1, 24):
        start = change + datetime.timedelta(hours=hours)
        end = start + datetime.timedelta(hours=2)
        house.sql(f"""with b as (insert into booking (salon_id, client_id, purpose, protocol, span, made_by)
            values ({salon}, {client}, 'service', 'curl-retouch', '[{start}Z, {end}Z)', {person}) returning salon_id, booking_id, span)
            insert into booking_hands (salon_id, booking_id, part_no, person_id, span) select salon_id, booking_id, 0, {person}, span from b""")
        wanted.append((start.replace(tzinfo=UTC), end.replace(tzinfo=UTC)))
    told = [(e.decoded("dtstart"), e.decoded("dtend")) for e in events(fetched(link(station, who))[2])]
    for pair in wanted:
        assert pair in told, (pair, told)


def test_a_link_taken_back_opens_nothing(demo):
    house, station = demo
    who = house.sql("select name from person where role = 'assistant' order by person_id limit 1")
    url = link(station, who)
    assert fetched(url)[0] == 200
    station.goes_to("/calendar").presses("Take it back", "tbody tr")
    assert fetched(url)[0] == 404
    assert not station.complaints()


def printed(station, path, width_in, height_in):
    """The page as Chromium prints it, landscape; gives the PDF."""
    station.goes_to(path)
    station.driver.execute_async_script("document.fonts.ready.then(() => arguments[0]())")
    asked = {"landscape": True, "paperWidth": width_in, "paperHeight": height_in, "printBackground": False, "preferCSSPageSize": False}
    return base64.b64decode(station.driver.execute_cdp_cmd("Page.printToPDF", asked)["data"])


@pytest.mark.parametrize(("paper", "size_in"), [("A4", (8.27, 11.69)), ("Letter", (8.5, 11))])
def test_the_fullest_day_prints_on_one_page(demo, paper, size_in, tmp_path):
    house, station = demo
    day = house.sql("select (lower(span) at time zone 'Europe/Paris')::date from booking where state <> 'cancelled' group by 1 order by count(*) desc, 1 limit 1")
    pdf = printed(station, f"/day?on={day}", *size_in)
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))
    assert pages == 1, f"{pages} pages on {paper}"
    kept = os.environ.get("RINSEBELL_PRINTS")
    if kept:
        with open(os.path.join(kept, f"day-{paper}.pdf"), "wb") as out:
            out.write(pdf)
