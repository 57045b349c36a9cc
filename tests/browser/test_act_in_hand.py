"""A foot switch at the Run screen. By itself and first of its salon's checks: it wants quadrants nobody has touched yet."""

import pytest

from house import wait_for
from service import events, is_at_the_first_pass, touches


@pytest.fixture(scope="module")
def place(second):
    return second


def test_a_foot_switch_acts_on_the_act_in_hand_though_a_finger_tapped_a_quadrant(place):
    """Space, as a foot switch sends it, right after a tap: not the tapped quadrant once more."""
    chair = is_at_the_first_pass(place)
    number = place.run.rsplit("/", 1)[1]
    chair.sees("Keys and a foot switch")
    touches(chair, "1 back right")
    chair.sees("Take back: back right touched")
    before = events(place, "section_started")
    act = chair.run_js("return document.querySelector('#act').textContent.trim()")
    assert act.startswith("Touching"), act
    wanted = chair.run_js("return document.querySelector('.bar input[name=section]').value")
    chair.keys(" ")
    wait_for("recorded", lambda: events(place, "section_started") == before + 1, 15)
    last = place.house.sql(f"select data->>'section' from run_event where run_id = {number} and kind = 'section_started' order by seq desc limit 1")
    assert last == wanted
