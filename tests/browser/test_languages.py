"""The screens in their languages: the pseudo-language shows what no catalogue has; a person's own language goes with them."""

import html.parser
import re

import pytest

import demo

PSEUDO = {"Accept-Language": "en-x-pseudo"}
ATTRIBUTES = ("title", "aria-label", "placeholder", "alt", "data-words", "aria-description", "data-of")
# Words that are the same in every language: units, codes, formats, the program's own name, languages' own names.
SAME = set("mm min pH rinsebell shipped English Español español JPEG PNG WebP MB CSV PIN GTIN UTF kg of the".split()) - {"of", "the"}


class Texts(html.parser.HTMLParser):
    """What a page says: its texts and the attributes that are read out."""

    SILENT = ("script", "style", "code", "kbd", "noscript", "template")

    def __init__(self, page):
        super().__init__()
        self.said, self.silent = [], 0
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        if tag in self.SILENT:
            self.silent += 1
        self.said += [value for name, value in attrs if name in ATTRIBUTES and value]

    def handle_endtag(self, tag):
        if tag in self.SILENT:
            self.silent -= 1

    def handle_data(self, data):
        if not self.silent and data.strip():
            self.said.append(" ".join(data.split()))


def outside_brackets(text):
    """What of a text stands in no brackets of the pseudo-language, which may lie in one another."""
    depth, left = 0, []
    for letter in text:
        depth += letter == "["
        left.append(letter if depth == 0 or letter == "\n" else " ")
        depth -= letter == "]" and depth > 0
    return "".join(left)


def data_words(house):
    """Every word that stands in a text of the database: names and notes that people wrote, and codes, whose own words are not looked for here."""
    tables = house.sql("""select format('select string_agg(%I::text, '' '') from %I', column_name, table_name) from information_schema.columns
        where table_schema = 'public' and data_type in ('text', 'ARRAY', 'jsonb') and table_name not in ('protocol', 'shipped_protocol', 'protocol_revision', 'post')""")
    words = set()
    for question in tables.splitlines():
        words.update(re.findall(r"[^\W\d_]+", house.sql(question)))
    return words


@pytest.fixture(scope="module")
def spoken(demo_salon):
    house, seats = demo_salon.house, demo_salon.seats
    known = data_words(house) | SAME
    forgotten = {}
    for role in ("manager", "stylist", "locked"):
        reader = demo.Reader(house.servers[0].origin, seats[role])
        plain = reader.get
        reader.get = lambda path, plain=plain: plain(path, **PSEUDO)
        for page in demo.every_page(reader, ["/floor", "/sign-in"]):
            # One after the other: brackets may open in one paragraph and close in another.
            lines = Texts(page.text).said
            for text, outside in zip(lines, outside_brackets("\n".join(lines)).split("\n")):
                if [w for w in re.findall(r"[^\W\d_]{3,}", outside) if w not in known]:
                    forgotten.setdefault(text[:120], f"{role} {page.path}")
    return forgotten


def test_no_sentence_of_a_screen_was_forgotten(spoken):
    assert not spoken, "\n".join(f"{where}: {text}" for text, where in list(spoken.items())[:400])


class Codes(html.parser.HTMLParser):
    """What a page hands to the program and to its scripts: addresses, names and values, topics; nothing a person reads."""

    TAKEN = ("href", "action", "name", "data-topics", "data-part", "data-fact", "data-key", "data-reveal", "for", "class", "type")
    VALUES = ("option", "button", "input")
    # Made anew for each showing, or the page's own address.
    ANEW = ("once", "fact_id", "known", "mark", "data-server-now")

    def __init__(self, page):
        super().__init__()
        self.found = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        has = dict(attrs)
        if has.get("action") == "/language" or has.get("name") in ("language", *self.ANEW):
            return
        self.found += [(tag, name, has[name]) for name in self.TAKEN if name in has]
        if tag in self.VALUES and "value" in has and (tag != "input" or has.get("type") in ("hidden", "radio", "checkbox")):
            self.found.append((tag, "value", has["value"]))


def test_a_language_changes_words_and_no_code(demo_salon):
    """An address, a field's name or an answer's code that went through a catalogue would act wrongly in that language alone."""
    house, seats = demo_salon.house, demo_salon.seats
    demo.sits_as(demo_salon.station, seats["manager"])
    demo.unlocks(house, demo_salon.station, "manager")
    reader = demo.Reader(house.servers[0].origin, demo_salon.station.driver.get_cookies())
    pages = demo.every_page(reader, ["/floor"])
    assert len(pages) > 50
    # Widths of drawings follow their words, instants go on between two readings, and the digest of a consent is that of the words shown.
    still = lambda found: sorted({(tag, name, re.sub(r"^[0-9a-f]{64}$|\d{9,}", "N", str(value))) for tag, name, value in found if not (name == "class" and tag in ("svg", "text", "line", "rect", "div"))})
    wrong = []
    for page in pages:
        plain, other = still(Codes(page.text).found), still(Codes(reader.get(page.path, **PSEUDO).text).found)
        wrong += [f"{page.path}: {code}" for code in set(plain) ^ set(other)]
    assert not wrong, "\n".join(wrong[:40])


def test_a_person_takes_their_language_along(demo_salon):
    house, station, seats = demo_salon.house, demo_salon.station, demo_salon.seats
    demo.sits_as(station, seats["manager"])
    demo.unlocks(house, station, "manager", "/clients")
    station.goes_to("/clients").presses("Español", "footer")
    assert station.path == "/clients"
    assert station.run_js("return document.documentElement.lang") == "es"
    assert "Clientes" in station.text
    elsewhere = demo.Reader(house.servers[0].origin, station.driver.get_cookies()).get("/shelf")
    assert '<html lang="es"' in elsewhere.text
    stylist = demo.Reader(house.servers[0].origin, seats["stylist"]).get("/floor")
    assert '<html lang="en"' in stylist.text
    station.goes_to("/clients").presses("English", "footer")
    assert station.run_js("return document.documentElement.lang") == "en"


def test_whom_nobody_knows_is_answered_as_the_browser_wishes(demo_salon):
    """RFC 9110, 12.5.4."""
    stranger = demo.Reader(demo_salon.house.servers[0].origin)
    assert '<html lang="es"' in stranger.get("/welcome", **{"Accept-Language": "es-MX,es;q=0.9,en;q=0.8"}).text
    assert '<html lang="en"' in stranger.get("/welcome", **{"Accept-Language": "de,en;q=0.8"}).text
