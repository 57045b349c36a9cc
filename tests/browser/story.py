"""What people do in the salon, named as they would say it."""

import datetime
import re

PIN = {"Ondine Marsh": "402917", "Tobias Fenn": "518306", "Mara Quill": "730924", "Joss Ember": "264819"}
PASSPHRASE = "three calm herons wade"

CREAM, LOTION, NEUTRALISER = "Straightening cream", "Curl lotion", "Neutraliser"


def found_the_salon(chair):
    """First run: salon, manager, station, first person."""
    chair.goes_to("/")
    chair.sees("Begin a salon")
    chair.writes("Name of the salon", "Kestrel Row").writes("Time zone", "Europe/Paris")
    chair.writes("Name of the manager", "Ondine Marsh").writes("Passphrase", PASSPHRASE)
    chair.writes("The manager's PIN", PIN["Ondine Marsh"])
    chair.writes("What this station is called", "Chair 1").writes("Where it stands", "at a chair")
    chair.writes("Name", "Tobias Fenn").writes("What they do", "stylist").writes("Their PIN", PIN["Tobias Fenn"])
    chair.presses("Begin", "main")
    assert chair.goes_to("/first-run").text.count("Begin a salon") == 0, "the page is gone for ever"


def add_a_person(station, name, role, qualified=()):
    station.goes_to("/team/people/new")
    station.writes("Name", name).writes("What they do", role).writes("PIN", PIN[name])
    for what in qualified:
        station.chooses("May open hair with", what)
    station.presses("Add to the team", "main")


def give_hours(station, name, hours="08:00–20:00"):
    station.goes_to("/team").presses(name, "main")
    for day in ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday"):
        station.writes(day, hours)
    station.presses("Keep the hours", "main")


def enter_a_product(station, name, chemistry, use, base="no base, by the sheet", skin="patch test on skin"):
    station.goes_to("/shelf/products/new")
    station.writes("Name", name).writes("Chemistry", chemistry).chooses("Used as", use)
    station.chooses("Form", "cream").chooses("Strength", "regular")
    station.chooses("Base", base).chooses("Skin test", skin)
    station.presses("Keep the product", "main")
    return station.path


def enter_the_sheet(station, target, least, most):
    station.chooses("Which clock", "on the hair").chooses("Counted from", "the first touch")
    station.writes("The sheet says", str(target)).writes("Longest allowed", str(most))
    if least:
        station.writes("Shortest", str(least))
    station.presses("Keep these times", "main")


def book_a_lot_in(station, code, today):
    station.goes_to(f"{station.path.split('?')[0]}/lots/new")
    station.writes("Lot code", code).writes("Received", "900").writes("Came in on", today.isoformat())
    station.writes("Best before", (today + datetime.timedelta(days=400)).isoformat())
    station.presses("Book the lot in", "main")
    station.sees(code)


def enter_a_client(station, name, born="1994-03-02"):
    station.goes_to("/clients/new").writes("Name", name).writes("Born on", born).writes("Phone", "+33 1 99 00 12 34")
    station.writes("Curl", "tight").presses("Keep the record", "main")
    return station.path.split("?")[0]


def read_the_consult(station, client, today, new_growth_mm=25, days_ago=84):
    """A first consult: the whole length is accounted for, one thio service to the tips."""
    station.goes_to(f"{client}/consult")
    if station.has("Read the consult again"):
        station.presses("Read the consult again", "main")
    first = "Length of the hair" in station.text
    station.chooses("Ever a temporary black tattoo", "no").chooses("The scalp, as you see it", "intact")
    for question in ("Scratched, or brushed hard", "Is the scalp being treated", "Pregnant?", "Taking any medication?", "Silver, or a product"):
        station.chooses(question, "no")
    station.chooses("Colour put on at home", "never")
    if first:
        station.writes("Length of the hair, stretched", "180")
        station.chooses("Can the client say", "yes, all of it")
        on = (today - datetime.timedelta(days=days_ago)).isoformat()
        station.writes("What it was", "thio").writes("Begins today at", str(new_growth_mm)).writes("Done on, about", on).writes("Give or take", "7")
    station.presses("Keep the consult", "main")


def place_a_patch_test(station, client, product, where):
    station.goes_to(f"{client}/tests")
    station.writes("Product and lot", product).chooses("Where it sits", where).presses("Placed now", "main")


def read_the_patch_tests(station, client):
    """Each one that waits: taken off if it is still on, then read in the chair."""
    station.goes_to(f"{client}/tests")
    while station.has("Taken off now", "main"):
        station.presses("Taken off now", "main")
    while station.has("Read in the chair", "main"):
        station.chooses("What is seen", "no reaction").presses("Read in the chair", "main")


def read_a_strand_test(station, client, product):
    station.goes_to(f"{client}/tests")
    station.writes("Product", product, among="form[action$='/tests/strand']")
    station.chooses("Strand from", "the worst place").writes("Minutes used", "20")
    station.chooses("Curl formed", "yes").chooses("Wet stretch", "returns").chooses("Gummy", "no")
    station.presses("Keep the strand test", "main")


def feel_and_measure(station, client, new_growth_mm):
    station.goes_to(f"{client}/readings")
    station.chooses("Place", "whole head").writes("New growth", str(new_growth_mm))
    station.chooses("The hair was", "stretched").chooses("Read by", "ruler")
    station.chooses("Texture", "medium").chooses("Porosity", "normal").chooses("Density", "medium")
    station.chooses("Wet stretch", "returns").chooses("Breakage", "no").chooses("Lightened", "no")
    station.presses("Keep the reading", "main")
    if "Measured again" in station.text:
        station.chooses("That far from what was expected", "Measured again").presses("Keep the reading", "main")


def have_the_consent_signed(station, client, name):
    station.goes_to(f"{client}/consent")
    station.writes("Client's signature, name typed", name)
    station.presses("I have read this and agree", "main")


def plan_a_retouch(station, client):
    station.goes_to(f"{client}/plan").presses("Curl retouch", "main")
    station.presses("Check the plan", "main")
    return station.path


def make_the_salon_ready(house, chair, basin):
    """From an empty folder to two stations, people with hours, products with sheets and lots."""
    house.take_the_clock()
    found_the_salon(chair)
    chair.signs_in("Ondine Marsh", PIN["Ondine Marsh"])
    pair_a_station(chair, basin, "Basin", "at a basin")
    add_a_person(chair, "Mara Quill", "assistant")
    add_a_person(chair, "Joss Ember", "reception")
    for name in ("Tobias Fenn", "Mara Quill"):
        give_hours(chair, name)
    chair.goes_to("/team/salon").writes("Chairs", "2").writes("Basins", "1").writes("Hoods", "0")
    chair.writes("Where the eye wash is", "left of the basin").presses("Keep", "main")
    fill_the_shelf(chair, today(house))


def today(house):
    """The day in the salon, by its own clock."""
    return datetime.date.fromisoformat(house.sql("select (rinsebell_now() at time zone 'Europe/Paris')::date"))


def tomorrow_at(house, hour, days=1):
    """The clock goes to that hour of a later day (never Sunday)."""
    day = today(house) + datetime.timedelta(days=days)
    while day.weekday() == 6:
        day += datetime.timedelta(days=1)
    house.sql("update practice_clock set ahead = ahead + "
              f"((timestamp '{day} {hour:02}:00' at time zone 'Europe/Paris') - rinsebell_now())")


def pair_a_station(manager, new, name, where):
    """The manager makes a station and reads its code out; it is typed at the new browser."""
    manager.goes_to("/team/stations/new").writes("What it is called", name).writes("Where it stands", where)
    manager.presses("Keep", "main").presses("Show a pairing code", "main")
    code = re.search(r"\d[\d ]{6,}\d", manager.headline)[0]
    new.goes_to("/").writes("Pairing code", code).presses("Pair this browser", "main")
    new.sees(f"{name} · nobody signed in")


def fill_the_shelf(station, day):
    """What a curl retouch needs, each with its sheet and a lot."""
    for name, chemistry, use, sheet in (
        (CREAM, "thio", "straightener", (35, None, 42)),
        (LOTION, "thio", "curl or waving lotion", (45, None, 65)),
        (NEUTRALISER, "peroxide neutraliser", "neutraliser", None),
    ):
        enter_a_product(station, name, chemistry, use, base="base on scalp")
        if sheet:
            enter_the_sheet(station, *sheet)
        book_a_lot_in(station, f"7K-{name[:3].upper()}", day)


def meet_a_client(house, station, name):
    """Record, consult, both patch tests placed."""
    client = enter_a_client(station, name)
    read_the_consult(station, client, today(house))
    station.sees("brings nothing against it")
    place_a_patch_test(station, client, CREAM, "behind the left ear")
    place_a_patch_test(station, client, LOTION, "inside the left elbow")
    station.sees("To read from")
    return client


def make_ready(house, station, client, name):
    """On the day: tests read, consult read again, hair felt and measured, consent signed, a plan that is clear."""
    read_the_patch_tests(station, client)
    station.sees("Every patch test is read")
    for product in (CREAM, LOTION):
        read_a_strand_test(station, client, product)
    read_the_consult(station, client, today(house))
    feel_and_measure(station, client, 26)
    have_the_consent_signed(station, client, name)
    station.sees("Signed today")
    plan_a_retouch(station, client)
    station.sees("Clear")


def start_the_service(station, chair="Chair 1"):
    station.writes("Chair", chair).presses("Start the service", "main")
    assert station.path.startswith("/runs/"), station.text[:1500]
    return station.path
