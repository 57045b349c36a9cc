"""What people do in the salon, named as they would say it."""

import datetime

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
    station.writes("Lot code", code).writes("Received", "900").writes("Came in on", today.isoformat())
    station.writes("Best before", (today + datetime.timedelta(days=400)).isoformat())
    station.presses("Book the lot in", "main")


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
