"""A service of a family beside the curl's, and a test visit, from the client's page to the end of the record.

Every protocol is walked by tests/slow.
"""

import pytest

from house import House
from station import Station
from walk import Walk, ready_house


@pytest.fixture(scope="module")
def chair(program):
    house = House(program)
    station = Station(house.servers[0].origin)
    try:
        ready_house(house, station)
        station.house = house
        yield station
        assert not station.complaints(), station.complaints()
    finally:
        station.close()
    house.close()


@pytest.mark.parametrize("code", ["wave-alkaline", "relaxer-sodium-retouch", "lightener-regrowth", "visit-strand-test"])
def test_a_service_is_walked_to_its_end(chair, code):
    walk = Walk(chair.house, chair, code).begins().goes_to_the_end()
    wanted = [s["title"] for s in walk.protocol["steps"] if not s.get("optional")]
    assert [t for t in wanted if t in walk.steps] == wanted, "every step was started, in its order"
    touched = int(chair.house.sql(f"select count(*) from strand_event where run_id = {walk.run.rsplit('/', 1)[1]}"))
    assert (touched == 0) == walk.visit, "a test visit leaves nothing in the hair, a service what it put on"
