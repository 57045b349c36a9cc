"""Two stations on two server processes over one data folder (RINSEBELL_BIN names the program)."""

import os
import pathlib
import sys
import types

import pytest

sys.path.insert(0, str(pathlib.Path(__file__).parent))

import demo  # noqa: E402
import story  # noqa: E402
from house import House  # noqa: E402
from station import Station  # noqa: E402
from story import PIN  # noqa: E402

TOP = pathlib.Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def program():
    target = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", TOP / "target"))
    found = os.environ.get("RINSEBELL_BIN") or str(target / "debug" / "rinsebell")
    assert os.access(found, os.X_OK), f"{found} is not there: cargo build, or set RINSEBELL_BIN"
    return found


@pytest.fixture(scope="session")
def house(program):
    house = House(program)
    yield house
    house.close()


@pytest.fixture(scope="session")
def chair(house):
    """The stylist's station, on the first process."""
    station = Station(house.servers[0].origin)
    yield station
    station.close()


@pytest.fixture(scope="session")
def basin(house):
    """The assistant's station, on the second process."""
    station = Station(house.servers[1].origin)
    yield station
    station.close()


@pytest.fixture(scope="session")
def demo_salon(program):
    """The demo salon, a seat for each role, two browsers on two processes."""
    house = House(program, demo=True)
    station, other = (Station(server.origin) for server in house.servers)
    try:
        yield types.SimpleNamespace(house=house, station=station, other=other, seats=demo.seats(house, station))
    finally:
        station.close()
        other.close()
    house.close()


@pytest.fixture(scope="session")
def place(program):
    """A founded salon with a service under way, nothing opened yet."""
    yield from a_place(program)


@pytest.fixture(scope="session")
def second(program):
    """Another one: what loses contact, lets bells ring and closes the hair leaves the first as it is."""
    yield from a_place(program)


def a_place(program):
    house = House(program)
    stations = [Station(server.origin) for server in house.servers]
    try:
        chair, basin = stations
        story.make_the_salon_ready(house, chair, basin)
        chair.signs_in("Tobias Fenn", PIN["Tobias Fenn"])
        client = story.meet_a_client(house, chair, "Nerys Amblin")
        story.tomorrow_at(house, 9, days=3)
        chair.signs_in("Tobias Fenn", PIN["Tobias Fenn"])
        story.make_ready(house, chair, client, "Nerys Amblin")
        run = story.start_the_service(chair)
        yield types.SimpleNamespace(house=house, chair=chair, basin=basin, client=client, run=run)
    finally:
        for station in stations:
            station.close()
    house.close()


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    outcome = yield
    if call.when == "call" and outcome.get_result().failed:
        item.failed = True


@pytest.fixture(scope="module", autouse=True)
def nobody_looks_on():
    """Between two files no browser keeps a page going: a dozen live screens in the background slow the one that is tested."""
    yield
    for station in Station.opened:
        station.driver.get("about:blank")


# Checks of one salon follow one another: a service under way there does not wait for the others (its clocks go on).
SALONS = {1: ("test_journey",), 2: ("test_act_in_hand", "test_contact", "test_hands", "test_wall"), 3: ("test_keys", "test_news", "test_screens", "test_taps")}


def pytest_collection_modifyitems(items):
    rank = {name: number for number, names in SALONS.items() for name in names}
    items.sort(key=lambda item: rank.get(item.path.stem, 0))
