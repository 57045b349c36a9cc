"""Two stations on two server processes over one data folder (RINSEBELL_BIN names the program)."""

import os
import pathlib
import sys

import pytest

sys.path.insert(0, str(pathlib.Path(__file__).parent))

from house import House  # noqa: E402
from station import Station  # noqa: E402

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


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    outcome = yield
    if call.when == "call" and outcome.get_result().failed:
        item.failed = True
