"""A salon with people at two stations, on two server processes: the desk as reception and a manager find it."""

import contextlib

from house import House
from station import Station


@contextlib.contextmanager
def desk_of(program, then, **salon):
    """The house, its stations, who sits at each; `then` says where each begins."""
    house = House(program, demo=True, **salon)
    # The salon's quiet hours would make this a test of the hour it runs at.
    house.sql("update salon set quiet_from = '00:00', quiet_until = '00:00', quiet_weekdays = '{}'")
    stations = [Station(server.origin) for server in house.servers]
    try:
        pins = {}
        for n, station in enumerate(stations):
            station.goes_to("/")
            station.driver.find_elements("css selector", "button[name=station]")[n].click()
            station.sees("Demo PINs")
            rows = station.run_js("return [...document.querySelectorAll('table tbody tr')].map((r) => [r.cells[0].innerText, r.cells[1].innerText])")
            pins.update(dict(rows))
        people = [house.sql(f"select name from person where role = '{role}' order by person_id limit 1") for role in ("reception", "manager")]
        for station, who, where in zip(stations, people, then, strict=True):
            station.signs_in(who, next(pin for name, pin in pins.items() if name.startswith(who)), then=where)
        yield house, stations, people
    finally:
        for station in stations:
            station.close()
        house.close()
