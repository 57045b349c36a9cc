"""Every screen in its states, as every kind of glass shows it, on one contact sheet to be looked at.

`RINSEBELL_BIN=… python tests/browser/contact_sheet.py [OUT]`; pictures into target/contact (or the folder named), all of
them small on sheet-*.jpg. Each state is judged as well: nothing wider than its screen, nothing that axe or the Nu checker has
against it (the latter where Java is).
"""

import os
import pathlib
import shutil
import sys
import tempfile
import time

from PIL import Image

sys.path.insert(0, str(pathlib.Path(__file__).parent))

import demo  # noqa: E402
import judges  # noqa: E402
import story  # noqa: E402
from camera import LOOKS, Camera, sheet  # noqa: E402
from house import House  # noqa: E402
from station import Station  # noqa: E402
from story import PIN  # noqa: E402
from walk import Walk, ready_house  # noqa: E402

TOP = pathlib.Path(__file__).resolve().parents[2]
USUAL = ("chair", "phone-dark")
EVERY = ("chair", "chair-dark", "phone", "phone-dark", "narrow", "zoom", "forced", "forced-dark", "still")
EMPTY = ("floor", "day", "clients", "regrowth", "openings", "messages", "shelf", "protocols", "team", "proof", "overview", "waiting", "calendar", "incidents")
# Kinds of page shown in every look; the others in the usual ones.
MAIN = ("/floor", "/practice/N", "/clients/N/strand", "/plans/N", "/regrowth", "/day", "/clients/N/consult?again")
PAPER = {"/day": "paper-wide", "/practice/N": "paper", "/proof/runs/N": "paper", "/plans/N": "paper", "/clients/N/strand": "paper", "/clients/N/consent": "paper", "/regrowth": "paper"}
LONGER = (("/overview", ""), ("/waiting", ""), ("/calendar", ""), ("/team/days-off", ""), ("/incidents", "?all=yes"))


class Sheet:
    """The pictures, and what the judges said of each state."""

    def __init__(self, out):
        self.out, self.found, self.texts, self.pictures = out, [], {}, []

    def of(self, station):
        return Camera(station, self.out)

    def state(self, camera, name, looks=USUAL, path=None, ready=None, judge=True):
        """One state: its pictures, and once the judges."""
        station = camera.station
        camera.take(name, looks, path, ready)
        if judge and camera.script_ran():
            self.found += [f"{name}: axe {words}" for words in judges.axe(station)]
        self.texts[name] = f"<!doctype html>\n{station.driver.page_source}"  # as script left it
        print(f"{name}: {', '.join(looks)}", flush=True)

    def end(self, *cameras):
        for camera in cameras:
            self.found += [f"{name}, {look}: {px} px wider than the screen" for name, look, px in camera.wide]
            self.pictures += [(f"{name} · {look}", file) for (name, look), file in camera.taken.items()]
        self.pictures.sort(key=lambda pair: pair[1].name)
        for look in LOOKS:
            some = [(name, file) for name, file in self.pictures if name.endswith(f" · {look}")]
            if some:
                small = LOOKS[look].width < 600
                sheet(some, self.out / f"sheet-{look}.jpg", columns=10 if small else 6, width=240 if small else 460, tall=700)
        sheet(self.pictures, self.out / "sheet.jpg", columns=14, width=220, tall=420)


def empty_salon(program, sheet):
    """From the first page to the first client."""
    house = House(program)
    chair = Station(house.servers[0].origin)
    camera = sheet.of(chair)
    try:
        sheet.state(camera, "first-run", EVERY, "/first-run")
        chair.goes_to("/first-run").presses("Begin", "main")
        sheet.state(camera, "first-run-errors", ("chair", "phone-dark"))
        story.found_the_salon(chair)
        sheet.state(camera, "sign-in-first", USUAL, "/sign-in")
        chair.signs_in("Ondine Marsh", PIN["Ondine Marsh"])
        for name in EMPTY:
            sheet.state(camera, f"empty-{name}", USUAL, f"/{name}")
        client = story.enter_a_client(chair, "Nerys Amblin")
        for tab in ("", "/strand", "/consult", "/consent", "/readings", "/tests", "/plan", "/visits", "/messages", "/followups", "/test-visits"):
            sheet.state(camera, f"first-client{tab.replace('/', '-')}", USUAL, f"{client}{tab}")
        for name, path, act in (
            ("client", "/clients/new", "Keep the record"), ("product", "/shelf/products/new", "Keep the product"), ("person", "/team/people/new", "Add to the team"),
            ("station", "/team/stations/new", "Keep"), ("consult", f"{client}/consult", "Keep the consult"), ("reading", f"{client}/readings", "Keep the reading"),
        ):
            chair.goes_to(path).presses(act, "main")
            sheet.state(camera, f"error-{name}", USUAL)
        sheet.state(camera, "nothing-there", USUAL, "/clients/987654")
    finally:
        chair.close()
        house.close()
    return camera


def full_salon(program, sheet):
    """The demo: every page it leads to, and its service under way to its end."""
    house = House(program, demo=True)
    chair, other = Station(house.servers[0].origin), Station(house.servers[1].origin)
    camera, across = sheet.of(chair), sheet.of(other)
    try:
        house.take_the_clock()
        seats = demo.seats(house, chair)
        reader = demo.Reader(house.servers[0].origin, seats["manager"])
        pages = demo.every_page(reader, ["/floor", *(path + query for path, query in LONGER)])
        demo.sits_as(chair, seats["manager"])
        for page in pages:
            kind = demo.kind_of(page.path)
            name = kind.strip("/").replace("/", "-").replace("?", "-") or "floor"
            looks = EVERY if kind in MAIN else USUAL
            if kind in PAPER:
                looks = (*looks, PAPER[kind])
            sheet.state(camera, name, looks, page.path)
        sheet.state(camera, "floor-plain", ("plain",), "/floor", judge=False)
        sheet.state(camera, "regrowth-plain", ("plain",), "/regrowth", judge=False)
        chair.goes_to("/team/salon").writes("Youngest age", "8").presses("Keep", "main")
        sheet.state(camera, "error-salon", USUAL)
        sheet.state(camera, "sign-in", USUAL, "/sign-in")
        the_wrong_pin(chair)
        sheet.state(camera, "error-sign-in", USUAL)
        demo.sits_as(chair, seats["manager"])
        in_inches(house, sheet, camera, pages)
        for role in demo.ROLES[1:]:
            demo.sits_as(chair, seats[role])
            sheet.state(camera, f"floor-as-{role}", ("chair",), "/floor")
        demo.sits_as(other, seats["locked"])
        the_service(house, sheet, camera, across, seats)
    finally:
        house.servers[0].go_on()
        chair.close()
        other.close()
        house.close()
    return camera, across


def in_inches(house, sheet, camera, pages):
    """Where lengths stand, said in inches, in both languages; a length nobody can read."""
    station = camera.station
    told = {demo.kind_of(page.path): page.path for page in pages}
    for language in ("en", "es"):
        house.sql(f"update salon set length_unit = 'in', language = '{language}'")
        for kind in ("/clients/N/strand", "/clients/N/readings", "/plans/N", "/regrowth", "/clients/N/consult?again"):
            name = kind.strip("/").replace("/", "-").replace("?", "-")
            sheet.state(camera, f"inch-{language}-{name}", USUAL, told[kind])
    house.sql("update salon set language = 'en'")
    station.goes_to(told["/clients/N/readings"]).writes("New growth", "an inch").writes("Shortest layer", "3 1/2").presses("Keep the reading", "main")
    sheet.state(camera, "error-length", USUAL)
    house.sql("update salon set length_unit = 'mm'")


def the_wrong_pin(station):
    station.goes_to("/sign-in")
    station.run_js("document.querySelector('.names input').click()")
    station.writes("PIN", "000000").presses("Sign in", "main")


def the_service(house, sheet, camera, across, seats):
    """The demo's service: by the stylist at the chair, looked at from a locked station."""
    chair, other = camera.station, across.station
    demo.sits_as(chair, seats["stylist"])
    run = house.sql("select '/runs/' || run_id from run where ended_at is null order by run_id limit 1")
    sheet.state(camera, "run", (*EVERY, "thumb", "plain", "paper"), run)
    sheet.state(across, "run-locked", USUAL, run)
    sheet.state(across, "floor-locked", (*EVERY, "wall"), "/floor")
    sheet.state(across, "floor-wall", ("wall",), "/floor", ready=lambda: other.run_js("document.documentElement.dataset.mode = 'wall'"))
    sheet.state(camera, "run-where-it-stings", ("chair", "phone"), f"{run}#stings")
    # Nobody answers.
    chair.goes_to(run)
    house.servers[0].kill()
    chair.sees("No contact since", limit_s=60)
    chair.run_js("document.querySelector('.quad').click()")
    chair.sees("Kept here until", limit_s=60)
    sheet.state(camera, "run-no-contact", ("chair", "chair-dark", "phone", "thumb", "narrow", "forced"))
    house.restart(0)
    chair.sees_not_soon("No contact since")
    # Time goes on: a bell, then over the longest allowed.
    house.later(minutes=19)
    sheet.state(camera, "run-bell", (*EVERY, "thumb"), run)
    sheet.state(across, "floor-bell", (*EVERY, "wall"), "/floor")
    house.later(minutes=11)
    sheet.state(camera, "run-over", (*EVERY, "thumb"), run)
    sheet.state(across, "floor-over", (*EVERY, "wall"), "/floor")
    sheet.state(across, "run-over-locked", ("phone",), run)
    demo.unlocks(house, chair, "stylist", run)
    chair.taps("Stop and rinse", ".bar")
    chair.sees("Stopped")
    sheet.state(camera, "run-stopped", (*EVERY, "thumb"), run)
    sheet.state(across, "floor-stopped", USUAL, "/floor")
    incident = house.sql("select '/incidents/' || incident_id from incident order by incident_id desc limit 1")
    demo.unlocks(house, demo.sits_as(chair, seats["manager"]), "manager")
    sheet.state(camera, "incident", (*USUAL, "paper"), incident)
    sheet.state(camera, "visit-stopped", ("chair", "paper"), run.replace("/runs", "/proof/runs"))
    chair.goes_to("/protocols/curl-retouch").presses("Change a copy", "main")
    sheet.state(camera, "protocol-draft", USUAL, "/protocols/curl-retouch/draft")


def keeps_a_photo(station, visit):
    """A photo of the result, drawn here; the client agrees."""
    with tempfile.NamedTemporaryFile(suffix=".png") as file:
        Image.linear_gradient("L").resize((900, 600)).save(file, "PNG")
        file.flush()
        station.goes_to(visit)
        station.run_js("document.querySelector('#photos details').open = true; document.querySelector('#agreed_by-client').click()")
        station.driver.find_element("css selector", "#photo").send_keys(file.name)
        station.presses("Keep the photo")
        station.sees("Photo 1: ")


def whole_service(program, sheet):
    """One service of a short protocol from its start, refused at first, to the sheet taken home."""
    house = House(program)
    chair = Station(house.servers[0].origin)
    camera = sheet.of(chair)
    try:
        ready_house(house, chair)
        walk = Walk(house, chair, "gloss").begins()
        sheet.state(camera, "run-begins", (*USUAL, "thumb"), walk.run)
        chair.presses("Start: ", ".bar")
        sheet.state(camera, "run-refused", (*USUAL, "thumb"))
        chair.goes_to(walk.run)
        walk.goes_to_the_end()
        sheet.state(camera, "run-ended", USUAL, walk.run)
        sheet.state(camera, "aftercare", (*USUAL, "paper"), f"{walk.run}/aftercare")
        visit = walk.run.replace("/runs", "/proof/runs")
        sheet.state(camera, "visit-ended", (*USUAL, "paper"), visit)
        keeps_a_photo(chair, visit)
        sheet.state(camera, "visit-photo", (*USUAL, "paper"), visit, ready=lambda: chair.run_js("document.querySelectorAll('#photos details').forEach((d) => { d.open = true; })"))
    finally:
        chair.close()
        house.close()
    return camera


def main(out):
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir(parents=True)
    began = time.monotonic()
    made, program = Sheet(out), os.environ["RINSEBELL_BIN"]
    made.end(empty_salon(program, made), *full_salon(program, made), whole_service(program, made))
    if shutil.which("java"):
        made.found += [f"Nu {words}" for words in judges.checked_by_nu(made.texts) if ": info " not in words]
    print(f"{len(made.pictures)} pictures of {len(made.texts)} states in {time.monotonic() - began:.0f} s: {out / 'sheet.jpg'}")
    print("\n".join(made.found))
    return made.found


if __name__ == "__main__":
    sys.exit(1 if main(pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else TOP / "target" / "contact") else 0)
