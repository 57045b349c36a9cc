"""The first run: from the address that was printed to the first signed hold point, by somebody who works alone.

Issue 7: under five minutes by one who has never seen it. The shortest honest path is the trade's own: nobody is treated
on the first day, a new client has a patch-test visit 48 hours before (trade-rules.md). Fields and taps are counted; the
time is the keystroke-level model's (Card, Moran, Newell 1980, from memory: 0.28 s a key, 1.1 s to point, 0.2 s to tap,
1.35 s to think), with a think for every field and tap, and three for every page, whose words are read as well.
"""

import types

import pytest

from house import House
from station import Station
from story import PASSPHRASE, PIN

KEY_S, POINT_S, TAP_S, THINK_S = 0.28, 1.1, 0.2, 1.35
READ_S = 60 / 238  # a word, silent reading of English (Brysbaert 2019, from memory)
FIELDS_MOST, TAPS_MOST, PAGES_MOST = 6, 13, 9


class Newcomer:
    """Does what a newcomer does, and counts it."""

    def __init__(self, station):
        self.station, self.fields, self.taps_done, self.pages, self.seconds = station, [], [], [], 0.0
        self.path = None
        self.sees()

    def sees(self):
        """A page that is another one is read: its headline, the sentences under it, what its fields and acts are called."""
        if self.station.path.partition("?")[0] == self.path:
            return
        self.path = self.station.path.partition("?")[0]
        words = self.station.run_js("return document.querySelector('main').innerText.split(/\\s+/).length")
        self.pages.append((self.path, words))
        # A page is glanced over, not read to the end.
        self.seconds += 3 * THINK_S + min(words, 120) * READ_S

    def writes(self, label, text):
        self.station.writes(label, text)
        self.fields.append(label)
        self.seconds += THINK_S + POINT_S + TAP_S + len(text) * KEY_S

    def taps(self, words, among="main"):
        self.station.presses(words, among)
        self.taps_done.append(words)
        self.seconds += THINK_S + POINT_S + TAP_S
        self.sees()


@pytest.fixture(scope="module")
def fresh(program):
    """An empty data folder, nobody's salon, one browser."""
    house = House(program)
    station = Station(house.servers[0].origin)
    try:
        yield types.SimpleNamespace(house=house, station=station)
    finally:
        station.close()
    house.close()


def test_faults_of_the_first_page_are_each_said_once(fresh):
    """Two PINs with the same fault are two faults, and each says whose it is."""
    station = fresh.station
    station.goes_to("/").writes("Name of the salon", "Kestrel Row").writes("Name of the manager", "Ondine Marsh")
    station.writes("Passphrase", PASSPHRASE).writes("The manager's PIN", "1234")
    station.writes("Name", "Tobias Fenn").writes("Their PIN", "1234").presses("Begin", "main")
    said = station.run_js("return [...document.querySelectorAll('.refusal li')].map((li) => li.textContent)")
    assert len(said) == 2 and len(set(said)) == 2, said
    assert any("manager" in words for words in said) and any("first person" in words for words in said), said
    kept = station.run_js("return [...document.querySelectorAll('main input:not([type=password])')].map((f) => f.value)")
    assert "Kestrel Row" in kept and "Tobias Fenn" in kept, "nothing typed is lost but secrets"


def test_from_the_address_to_the_first_signed_hold_point(fresh):
    station = fresh.station
    one = Newcomer(station.goes_to("/"))
    one.writes("Name of the salon", "Kestrel Row")
    one.writes("Name of the manager", "Ondine Marsh")
    one.writes("Passphrase", PASSPHRASE)
    one.writes("The manager's PIN", PIN["Ondine Marsh"])
    one.taps("Begin")
    if station.find("value", "Ondine Marsh"):
        station.run_js("const r = document.querySelector('input[name=person]'); if (r && !r.checked) r.click()")
    one.writes("PIN", PIN["Ondine Marsh"])
    one.taps("Sign in")
    assert "Practise on a head of yarn" in station.text and "nothing under way" in station.text.lower()
    one.taps("Find the client")
    one.taps("Enter a client")
    one.writes("Name", "Nerys Amblin")
    one.taps("Keep the record")
    one.taps("A test visit")
    one.taps("Start it now", "#patch-test")
    assert station.path.startswith("/runs/"), station.path
    for _ in range(3):
        if station.run_js("return Boolean(document.querySelector('form[id^=hp-] button[name=sign]'))"):
            break
        one.taps("", "#act")
    value = station.run_js("return document.querySelector('form[id^=hp-] button[name=sign]').textContent")
    one.taps(value, "form[id^=hp-]")
    signed = fresh.house.sql("select count(*) from run_event where kind = 'hold_point_signed'")
    assert signed == "1", f"{signed} hold points on record"
    print(f"\nfirst run: {len(one.fields)} fields, {len(one.taps_done)} taps, {len(one.pages)} pages, {one.seconds:.0f} s by the model; {one.pages}")
    assert len(one.fields) <= FIELDS_MOST, one.fields
    assert len(one.taps_done) <= TAPS_MOST, one.taps_done
    assert len(one.pages) <= PAGES_MOST, one.pages
    assert one.seconds < 300, one.seconds


def test_who_begins_alone_is_the_one_at_the_chair(fresh):
    people = fresh.house.sql("select name || ' ' || role from person order by person_id")
    assert people == "Ondine Marsh manager", people
    assert fresh.house.sql("select string_agg(chemistry, ',') from qualification") == "thio"
