"""Pictures of every screen, to be looked at: `RINSEBELL_BIN=… python tests/browser/shots.py`.

From the demo salon, light and dark, at a phone's, two tablets' and a wall's width, into target/shots, with a contact sheet.
"""

import os
import pathlib
import shutil
import subprocess
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parent))

from house import House  # noqa: E402
from station import Station  # noqa: E402

TOP = pathlib.Path(__file__).resolve().parents[2]
WIDTHS = {"phone": 390, "tablet": 820, "chair": 1180, "wall": 1920}
# Where each screen is found: a fixed path, or the first row of a question to the database.
PLACES = {
    "floor": "/floor", "day": "/day", "clients": "/clients", "regrowth": "/regrowth", "regrowth-blocked": "/regrowth?group=blocked", "waiting": "/waiting", "calendar": "/calendar", "days-off": "/team/days-off", "openings": "/openings", "shelf": "/shelf",
    "product-entry": "/shelf/products/new", "scan": "/shelf/scan?code=(01)09506000134352(17)280100(10)Z9", "team": "/team", "salon": "/team/salon", "proof": "/proof", "overview": "/overview", "sign-in": "/sign-in",
}
ASKED = {
    "run": "select '/runs/' || run_id from run order by run_id limit 1",
    "plan-refused": "select '/plans/' || plan_id from plan where verdict = 'refuse' order by plan_id desc limit 1",
    "plan": "select '/plans/' || plan_id from plan where verdict <> 'refuse' order by plan_id desc limit 1",
    "client": "select '/clients/' || client_id from client order by client_id limit 1",
    "strand": "select '/clients/' || client_id || '/strand' from strand_event group by client_id order by count(*) desc, client_id limit 1",
    "consult": "select '/clients/' || client_id || '/consult' from consult order by consult_id desc limit 1",
    "consent": "select '/clients/' || client_id || '/consent' from consent order by consent_id desc limit 1",
    "readings": "select '/clients/' || client_id || '/readings' from strand_event group by client_id order by count(*) desc, client_id limit 1",
    "tests": "select '/clients/' || client_id || '/tests' from skin_test order by skin_test_id desc limit 1",
    "followups": "select '/clients/' || client_id || '/followups' from due order by client_id limit 1",
    "product": "select '/shelf/products/' || product_id from product order by product_id limit 1",
    "lot": "select '/shelf/lots/' || lot_id from lot order by lot_id limit 1",
    "lot-apart": "select '/shelf/lots/' || lot_id from lot where quarantined order by lot_id limit 1",
    "lot-entry": "select '/shelf/products/' || product_id || '/lots/new' from product order by product_id limit 1",
    "lot-judgement": "select '/shelf/lots/' || lot_id || '/judgement' from lot where quarantined order by lot_id limit 1",
    "recall": "select '/shelf/lots/' || lot_id || '/recall' from dispensed order by lot_id limit 1",
    "product-never-on-skin": "select '/shelf/products/' || product_id from product where family = 'guanidine-hydroxide' order by product_id limit 1",
    "person": "select '/team/people/' || person_id from person order by person_id limit 1",
    "booking": "select '/bookings/' || booking_id from booking order by booking_id limit 1",
    "visit": "select '/proof/runs/' || run_id from run order by run_id limit 1",
}


def sit_down(station):
    """One of the demo's stations; the PINs its page prints, by name."""
    station.goes_to("/")
    station.driver.find_element("css selector", "button[name=station]").click()
    station.sees("Demo PINs")
    pairs = station.run_js("return [...document.querySelectorAll('table tbody tr')].map((r) => [r.cells[0].innerText, r.cells[1].innerText])")
    return dict(pairs)


def paths(house):
    found = dict(PLACES)
    for name, question in ASKED.items():
        path = house.sql(question)
        if path:
            found[name] = path
        else:
            print(f"nothing in the demo for {name}")
    return found


def take(program, out=TOP / "target" / "shots"):
    """All pictures; gives the folder."""
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir(parents=True)
    house = House(program, demo=True)
    station = Station(house.servers[0].origin)
    try:
        pins = sit_down(station)
        manager = house.sql("select name from person where role = 'manager' order by person_id limit 1")
        pin = next(pin for who, pin in pins.items() if who.startswith(manager))
        station.signs_in(manager, pin)
        for name, path in paths(house).items():
            for where, width in WIDTHS.items():
                for theme in ("light", "dark"):
                    if where in ("tablet", "wall") and theme == "dark":
                        continue
                    shoot(station, path, width, theme, out / f"{name}-{where}-{theme}.png")
        print(station.complaints())
    finally:
        station.close()
        house.close()
    montage(out)
    return out


def shoot(station, path, width, theme, file, height=None):
    """One whole page at one width."""
    send = station.driver.execute_cdp_cmd
    send("Emulation.setDeviceMetricsOverride", {"width": width, "height": height or 900, "deviceScaleFactor": 1, "mobile": False})
    send("Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": theme}, {"name": "prefers-reduced-motion", "value": "reduce"}]})
    station.goes_to(path)
    station.driver.execute_async_script("document.fonts.ready.then(() => arguments[0]())")
    if height is None:
        tall = min(station.run_js("return document.documentElement.scrollHeight"), 4000)
        send("Emulation.setDeviceMetricsOverride", {"width": width, "height": max(tall, 600), "deviceScaleFactor": 1, "mobile": False})
    station.driver.save_screenshot(str(file))


def montage(out):
    """A contact sheet, where ImageMagick is installed."""
    if not shutil.which("montage"):
        return
    files = sorted(str(f) for f in out.glob("*-chair-light.png"))
    subprocess.run(["montage", "-label", "%t", *files, "-geometry", "590x1200>+8+8", "-tile", "4x", str(out / "sheet.png")], check=True)


if __name__ == "__main__":
    print(take(os.environ["RINSEBELL_BIN"]))
