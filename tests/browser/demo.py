"""The demo salon, a seat for each role, and every page of it, found by following its links."""

import base64
import collections
import hashlib
import hmac
import html
import http.client
import pathlib
import re
import urllib.parse

TOP = pathlib.Path(__file__).resolve().parents[2]
ROLES = ("manager", "stylist", "assistant", "reception")
MOST_PAGES = 400


class Page:
    """One answer of the server."""

    def __init__(self, path, status, kind, text, headers):
        self.path, self.status, self.kind, self.text, self.headers = path, status, kind, text, headers

    @property
    def is_html(self):
        return self.kind.startswith("text/html")


class Reader:
    """Reads pages with somebody's cookies, as a browser without script does; never follows a redirect by itself."""

    def __init__(self, origin, cookies=()):
        self.host = origin.removeprefix("http://")
        self.cookies = "; ".join(f"{c['name']}={c['value']}" for c in cookies)

    def get(self, path, **headers):
        line = http.client.HTTPConnection(self.host, timeout=60)
        try:
            line.request("GET", path, headers={"Cookie": self.cookies, **headers})
            answer = line.getresponse()
            body = answer.read()
        finally:
            line.close()
        head = {k.lower(): v for k, v in answer.getheaders()}
        kind = head.get("content-type", "")
        text = body.decode() if kind.startswith("text/") and "content-encoding" not in head else ""
        return Page(path, answer.status, kind, text, {**head, ":body": body})


def kind_of(path):
    """The address with its ids and words blotted out: pages of one kind differ by what they tell, not by how."""
    path, _, query = path.partition("?")
    keys = sorted({part.partition("=")[0] for part in query.split("&") if part})
    path = re.sub(r"^/c/[0-9]+/[^/]+", "/c/N/T", path)
    path = re.sub(r"/(protocols|practice)/[^/]+", r"/\1/N", re.sub(r"/[0-9]+(?=/|$)", "/N", path))
    return path + ("?" + "&".join(keys) if keys else "")


def links(page):
    """Addresses of this server that a page leads to."""
    for found in re.findall(r'\shref="([^"#]*)', page.text):
        address = urllib.parse.urljoin(page.path, html.unescape(found))
        if address.startswith("/") and not address.startswith(("/assets/", "//")):
            yield address


def every_page(reader, begin, of_a_kind=1):
    """All kinds of page that `begin` leads to, each once, in the order they were found."""
    seen, waiting, pages = collections.Counter(), collections.deque(begin), []
    asked = set()
    while waiting and len(pages) < MOST_PAGES:
        path = waiting.popleft()
        kind = kind_of(path)
        if path in asked or seen[kind] >= of_a_kind:
            continue
        asked.add(path)
        page = reader.get(path)
        if page.status == 303:
            waiting.append(urllib.parse.urljoin(path, page.headers["location"]).partition("#")[0])
            continue
        seen[kind] += 1
        if page.is_html:
            pages.append(page)
            waiting.extend(links(page))
    return pages


def routes():
    """Paths of every page the program knows, as its sources name them."""
    found = set()
    for file in (TOP / "src" / "web").rglob("*.rs"):
        found.update(re.findall(r'^\s+get "(/[^"]*)" Open::', file.read_text(), re.MULTILINE))
    return found


LINK_KEY = hashlib.sha256(b"a key for tests").digest()


def links_of_a_client(house):
    """Links as messages carry them (src/secret/link.rs): to choose a time, to a booking, to stop messages."""
    house.sql("insert into post (salon_id, from_address, reply_phone, link_key) select salon_id, 'desk@salon.example', '+33 6 39 98 00 00', "
              "sha256('a key for tests')::bytea from salon on conflict (salon_id) do update set link_key = excluded.link_key")
    made = house.sql("""
        with who as (select b.salon_id, b.client_id, b.booking_id, (select min(person_id) from person p where p.salon_id = b.salon_id) as by
            from booking b join client c using (salon_id, client_id) where b.state = 'booked' and lower(b.span) > rinsebell_now() order by b.booking_id limit 1)
        insert into client_link (salon_id, client_id, opens, protocol, booking_id, made_by, expires_at)
            select salon_id, client_id, opens, case opens when 'openings' then 'curl-retouch' end, case opens when 'booking' then booking_id end, by,
                date_trunc('second', rinsebell_now()) + interval '30 days' from who, unnest(array['openings', 'booking']) opens
            returning salon_id, link_id, extract(epoch from expires_at)::bigint""")
    found = []
    for salon, link, ends in (map(int, line.split("|")) for line in made.splitlines()):
        for purpose in b"os":
            told = bytes([purpose]) + link.to_bytes(8, "big")
            mac = hmac.new(LINK_KEY, salon.to_bytes(8, "big") + told + ends.to_bytes(8, "big"), "sha256").digest()
            found.append(f"/c/{salon}/{base64.urlsafe_b64encode(told + mac).decode().rstrip('=')}")
    return found


def seats(house, station):
    """Cookies by role, and of a locked station: each sits down at a station of its own."""
    taken = {}
    names = {role: house.sql(f"select name from person where role = '{role}' order by person_id limit 1") for role in ROLES}
    for number, role in enumerate((*ROLES, "locked")):
        station.driver.delete_all_cookies()
        pins = sit_down(station, number)
        if role != "locked":
            station.signs_in(names[role], next(pin for who, pin in pins.items() if who.startswith(names[role])))
        taken[role] = station.driver.get_cookies()
    return taken


def sit_down(station, number=0):
    """One of the demo's stations; the PINs its page prints, by name."""
    station.goes_to("/")
    buttons = station.driver.find_elements("css selector", "button[name=station]")
    buttons[min(number, len(buttons) - 1)].click()
    station.sees("Demo PINs")
    return dict(station.run_js("return [...document.querySelectorAll('table tbody tr')].map((r) => [r.cells[0].innerText, r.cells[1].innerText])"))


def unlocks(house, station, role, then="/floor"):
    """The PIN again, where a station locked itself meanwhile."""
    name = house.sql(f"select name from person where role = '{role}' order by person_id limit 1")
    station.goes_to("/sign-in")
    pins = dict(station.run_js("return [...document.querySelectorAll('table tbody tr')].map((r) => [r.cells[0].innerText, r.cells[1].innerText])"))
    station.signs_in(name, next(pin for who, pin in pins.items() if who.startswith(name)), then)


def sits_as(station, cookies):
    """The browser becomes the one whose cookies these are."""
    station.goes_to("/health/live")
    station.driver.delete_all_cookies()
    for cookie in cookies:
        station.driver.add_cookie({k: cookie[k] for k in ("name", "value", "path", "httpOnly", "sameSite") if k in cookie})
    return station


def seated(salon, station, role):
    """The browser becomes this role's; with the PIN again where its session ended meanwhile."""
    sits_as(station, salon.seats[role]).goes_to("/floor")
    where = station.run_js("return document.querySelector('.station .where').innerText")
    if "locked" in where or "nobody" in where:
        unlocks(salon.house, station, role)
        salon.seats[role] = station.driver.get_cookies()
    return station
