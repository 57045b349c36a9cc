"""A slip of a gloved thumb at the Run screen: taken back, asked about, out of reach of the stop."""

import pytest

from conftest import a_place
from house import wait_for
from service import answers_and_starts, events, is_at_the_first_pass, main_act, run_page, starts, touches


@pytest.fixture(scope="module")
def place(program):
    yield from a_place(program)


def test_a_step_begun_by_mistake_is_taken_back_once(place):
    chair = place.chair
    run_page(place.run, chair)
    starts(chair, "Consult and drape")
    assert not chair.has("Stop and rinse", ".bar"), "nothing has met the head"
    assert not chair.has("It stings", ".bar")
    chair.presses("Take back: “Consult and drape” begun", ".undo")
    chair.sees("Next: Consult and drape")
    assert events(place, "permission_withdrawn") == 1
    assert not chair.run_js("return Boolean(document.querySelector('.undo'))"), "a second tap takes back nothing more"
    starts(chair, "Consult and drape")


def test_a_good_answer_is_put_right_and_what_stops_stands_apart(place):
    chair = place.chair
    for title in ("Inspect scalp and hair", "Wash the hair, leave the scalp alone"):
        if chair.has(f"Start: {title}", ".bar"):
            answers_and_starts(chair, title)
    good, bad = chair.run_js("""
        const box = (e) => { const r = e.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; };
        document.querySelectorAll('details').forEach((d) => { d.open = true; });
        const form = document.querySelector('#answered form, #pause form[id^=held]');
        const buttons = [...form.querySelectorAll('button[name=sign]')];
        return [buttons.filter((b) => !b.closest('.stops')).map(box), buttons.filter((b) => b.closest('.stops')).map(box)]""")
    assert good and bad
    for one in good:
        for other in bad:
            apart = max(one[0] - other[2], other[0] - one[2], one[1] - other[3], other[1] - one[3])
            assert apart >= 8, (one, other)


def test_the_stop_is_never_a_slip_away_from_the_main_act(place):
    chair = is_at_the_first_pass(place)
    assert chair.has("Stop and rinse", ".bar") and chair.has("It stings", ".bar")
    apart = chair.run_js("""
        const [a, b] = ['#act', '.bar .stop'].map((s) => document.querySelector(s).getBoundingClientRect());
        return Math.max(b.left - a.right, a.left - b.right, b.top - a.bottom, a.top - b.bottom)""")
    print(f"main act and stop: {apart:.0f} px apart")
    assert apart >= 64


def test_a_sting_stays_until_its_place_is_rinsed_and_looked_at(place):
    chair = is_at_the_first_pass(place)
    for quadrant in ("1 back right", "2 back left", "3 front left", "4 front right"):
        touches(chair, quadrant)
        chair.sees(f"Take back: {quadrant[2:]} touched")
    chair.taps("It stings", ".bar")
    chair.taps("hairline", "#stings")
    chair.sees("It stings: rinse hairline now", "In hand: First pass")
    assert main_act(chair) == "Hairline rinsed"
    assert not chair.has("Start: Second pass")
    chair.taps("Hairline rinsed", ".bar")
    chair.sees("It stung, hairline: read the scalp before anything more goes on", "In hand: First pass")
    chair.presses("intact", "#scalp")
    chair.sees("First pass")
    wait_for("the step again", lambda: main_act(chair) == "Start: Second pass")


def test_work_is_not_ended_far_too_soon_by_one_tap(place):
    chair = place.chair
    answers_and_starts(chair, "Second pass")
    for quadrant in ("1 back right", "2 back left", "3 front left", "4 front right"):
        touches(chair, quadrant)
        chair.sees(f"Take back: {quadrant[2:]} touched, pass 2")
    answers_and_starts(chair, "Cover and process")
    chair.taps("Start: Comb and smooth", ".bar")
    chair.sees("Sooner than meant", "Cover and process: it has worked")
    number = place.run.rsplit("/", 1)[1]
    begun = f"select count(*) from run_event where run_id = {number} and kind = 'step_started' and step = 'smooth'"
    assert place.house.sql(begun) == "0", "nothing is done by one tap"
    chair.taps("Keep working", "#early")
    chair.sees_not("Sooner than meant")
    chair.taps("Start: Comb and smooth", ".bar")
    answers = chair.run_js("return [...document.querySelectorAll('form[id^=hp-]')].length")
    assert answers >= 1, "gloves are asked before it"


def test_an_alarm_that_comes_in_moves_nothing_under_a_finger(place):
    chair = place.chair
    chair.taps("Stop and rinse", ".bar")
    chair.sees("Stopped")
    chair.goes_to("/clients")
    wait_for("the alarm", lambda: chair.run_js("return Boolean(document.querySelector('.loudest .notice'))"))
    bottom, glass, height, before, after = chair.run_js("""
        const notice = document.querySelector('.loudest .notice'), top = () => document.querySelector('h1').getBoundingClientRect().top;
        const b = notice.getBoundingClientRect(), before = top();
        notice.remove();
        return [b.bottom, innerHeight, b.height, before, top()]""")
    assert before == after, "what is read stays where it is"
    assert abs(bottom - glass) <= 1 and height < glass / 4, "at the foot of the glass"
