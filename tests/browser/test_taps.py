"""Taps: none lost, none doubled, in their order, whatever comes in between.

What the browser does with a tap cannot be seen from the server, so its requests are held in the browser here.
"""

import pytest
from selenium.webdriver import ActionChains

from house import wait_for
from service import events, is_at_the_first_pass, main_act, run_page

# Facts wait in the browser until `answer()`; the page's parts come from the server, after `let()` when held.
HOLD = """
const real = window.fetch;
Object.assign(window, { posts: [], answers: [], came: 0, held: null });
window.answer = () => window.answers.shift()();
window.let = () => { const all = window.held; window.held = null; all.forEach((go) => go()); };
window.fetch = async (url, how = {}) => {
  if (how.method === 'POST') {
    window.posts.push(new URLSearchParams(how.body));
    return new Promise((go) => window.answers.push(() => go(new Response(null, { status: 204 }))));
  }
  if (!how.headers?.['X-Rinsebell-Part']) return real(url, how);
  if (window.held) await new Promise((go) => window.held.push(go));
  const answer = await real(url, how);
  const text = await answer.text();
  setTimeout(() => { window.came += 1; });
  return new Response(text, { status: answer.status });
};
window.look = () => { document.querySelector('main [data-part]').dataset.old = '1'; document.dispatchEvent(new CustomEvent('rinsebell:refetch')); };
"""
SENT = "return window.posts.map((p) => p.get('section') ?? p.get('kind'))"
SWAPPED = "return !document.querySelector('main [data-part]').dataset.old"


@pytest.fixture
def chair(place):
    """At the first pass, its taps held in the browser; nothing of them is left in it after."""
    station = is_at_the_first_pass(place)
    station.run_js(HOLD)
    # What the page asks for when its stream opens is over: nothing but the test's own news comes then.
    news_comes(station)
    wait_for("shown", lambda: station.run_js(SWAPPED), 15)
    yield station
    station.run_js("Object.keys(localStorage).filter((k) => k.startsWith('rinsebell_kept')).forEach((k) => localStorage.removeItem(k))")


def quadrant(station, code):
    """In the middle of the glass, where no bar lies over it."""
    return station.run_js("const e = document.querySelector(`.head-form button[value='${arguments[0]}']`); e.scrollIntoView({ block: 'center', behavior: 'instant' }); return e", code)


def hand(station):
    return ActionChains(station.driver, duration=0)


def news_comes(station):
    """The page asks for its part and has it in hand."""
    came = station.run_js("const n = window.came; window.look(); return n")
    wait_for("the part", lambda: station.run_js("return window.came") > came, 15)


def test_a_slow_press_is_not_swapped_away(chair):
    """A wet glove presses for three seconds, and news comes meanwhile."""
    hand(chair).move_to_element(quadrant(chair, "front-left")).click_and_hold().perform()
    news_comes(chair)
    hand(chair).pause(2.6).release().perform()
    assert chair.run_js(SENT) == ["front-left"]
    chair.run_js("window.answer()")
    wait_for("the news is shown after it", lambda: chair.run_js(SWAPPED), 15)


def test_quick_taps_on_a_slow_tablet_are_all_sent(chair):
    """The next finger is down before the page has got over the last tap, with a swap waiting for it."""
    chair.run_js("""document.addEventListener('click', () => { const until = performance.now() + 250; while (performance.now() < until); });
        window.held = []; window.look()""")
    wait_for("the part is on its way", lambda: chair.run_js("return window.held.length"), 15)
    first, second = quadrant(chair, "front-left"), quadrant(chair, "front-right")
    across = [round(b - a) for a, b in zip(first.location.values(), second.location.values())]
    hand(chair).move_to_element(first).click_and_hold().perform()
    chair.run_js("window.let()")
    wait_for("the part", lambda: chair.run_js("return window.came"), 15)
    hand(chair).release().move_by_offset(*across).click_and_hold().pause(0.6).release().perform()
    chair.run_js("window.answer()")
    wait_for("both", lambda: chair.run_js(SENT) == ["front-left", "front-right"], 10)
    chair.run_js("window.answer()")


def test_an_unanswered_tap_stays_on_the_glass(chair):
    """News from elsewhere does not show it undone, which would have it tapped again."""
    chair.taps("3 front left", ".head-form")
    news_comes(chair)
    assert "kept" in quadrant(chair, "front-left").get_attribute("class")
    assert not chair.run_js(SWAPPED)
    chair.run_js("window.answer()")
    wait_for("shown as the server has it", lambda: chair.run_js(SWAPPED), 15)


def test_taps_are_sent_in_their_order_and_a_stop_waits_for_nobody(chair):
    """On record by seq as they were tapped: two requests at once would overtake each other."""
    for name in ("3 front left", "4 front right"):
        chair.taps(name, ".head-form")
    assert chair.run_js(SENT) == ["front-left"]
    chair.taps("Stop and rinse", ".bar")
    assert chair.run_js(SENT) == ["front-left", "stop_recorded"]
    assert chair.run_js("return document.getElementById('aid').checkVisibility()"), "first-aid words at once"
    chair.run_js("window.answer()")
    wait_for("the second", lambda: chair.run_js(SENT) == ["front-left", "stop_recorded", "front-right"], 10)
    at = chair.run_js("return window.posts.map((p) => p.get('happened_at'))")
    assert at[0] < at[2] < at[1], "when they were tapped"
    ids = chair.run_js("return window.posts.map((p) => p.get('fact_id'))")
    assert len(set(ids)) == 3
    for _ in range(2):
        chair.run_js("window.answer()")


def test_what_is_typed_stays_while_the_screen_goes_on(chair):
    """News, bells among them, comes in; the text, the caret and the focus stay."""
    chair.taps("The client goes before the end")
    chair.writes("What happened", "A call came in")
    chair.run_js("document.activeElement.setSelectionRange(2, 6); window.look()")
    wait_for("swapped", lambda: chair.run_js(SWAPPED), 15)
    assert chair.run_js("const e = document.activeElement; return [e.id, e.value, e.selectionStart, e.selectionEnd]") ==         ["leave-reason", "A call came in", 2, 6]


def test_a_half_filled_form_does_not_hold_up_the_screen(chair):
    """The form it was typed into is on the screen no more: the rest goes on, what was typed stays to be read."""
    chair.taps("The client goes before the end")
    chair.writes("What happened", "A call came in")
    # The next showing of the part has no such form.
    chair.run_js("""const real = window.fetch;
        window.fetch = async (url, how = {}) => {
          const answer = await real(url, how);
          if (!how.headers?.['X-Rinsebell-Part']) return answer;
          const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
          page.getElementById('leave').remove();
          page.querySelector('h1').textContent = 'The screen of later';
          return new Response(page.documentElement.outerHTML);
        };
        document.activeElement.setSelectionRange(2, 6); window.look()""")
    wait_for("the screen goes on", lambda: chair.headline == "The screen of later", 15)
    assert chair.run_js("const e = document.activeElement; return [e.id, e.value, e.selectionStart, e.selectionEnd]") == ["leave-reason", "A call came in", 2, 6]
    chair.sees("What you typed is still here")
    chair.run_js("window.look()")
    wait_for("and on", lambda: chair.run_js(SWAPPED), 15)
    assert chair.run_js("return document.getElementById('leave-reason').value") == "A call came in", "over a second swap too"
    chair.taps("Put it away")
    assert not chair.run_js("return document.getElementById('leave-reason')")


def test_a_part_that_failed_to_come_is_asked_for_again(chair):
    """Two answers of 503, then the part; a tap in between is sent all the same."""
    chair.run_js("""const real = window.fetch; let failures = 2;
        window.fetch = (url, how = {}) => how.headers?.['X-Rinsebell-Part'] && failures-- > 0
          ? Promise.resolve(new Response('', { status: 503 })) : real(url, how);
        window.look()""")
    chair.taps("3 front left", ".head-form")
    assert chair.run_js(SENT) == ["front-left"]
    chair.run_js("window.answer()")
    wait_for("the part came", lambda: chair.run_js(SWAPPED), 20)


def test_a_notice_moves_nothing_from_under_a_finger(chair, place):
    """Contact is lost while a finger is down on a quadrant: the quadrant stays where it is, the tap counts."""
    place_of = "return Math.round(document.querySelector(`.head-form button[value='front-left']`).getBoundingClientRect().top)"
    chair.run_js("document.querySelector(`.head-form button[value='front-left']`).scrollIntoView({block: 'center'})")
    before = chair.run_js(place_of)
    hand(chair).move_to_element(quadrant(chair, "front-left")).click_and_hold().perform()
    place.house.servers[0].hold()
    wait_for("lost", lambda: chair.run_js("return document.documentElement.dataset.contact") == "lost", 10)
    assert not chair.run_js("return document.getElementById('contact').textContent"), "not while a finger is down"
    assert chair.run_js(place_of) == before
    hand(chair).release().perform()
    chair.sees("No contact since")
    assert abs(chair.run_js(place_of) - before) <= 1, "what was under the finger is there still"
    assert chair.run_js(SENT) == ["front-left"]
    place.house.servers[0].go_on()
    chair.run_js("window.answer()")
    wait_for("connected", lambda: not chair.run_js("return document.documentElement.dataset.contact ?? ''"), 15)
    chair.complaints_so_far_are_the_outage()


def test_two_tabs_of_one_browser_send_a_kept_tap_once(place):
    """A tap kept in one tab is another tab's as well; the record has it once, and both show it."""
    station = is_at_the_first_pass(place)
    before = events(place, "section_started")
    first = station.driver.current_window_handle
    station.run_js("window.fetch = ((real) => (url, how = {}) => how.method === 'POST' ? Promise.reject(new TypeError('cut')) : real(url, how))(window.fetch)")
    station.taps("2 back left", ".head-form")
    station.sees("Kept here until the server is back")
    station.driver.switch_to.new_window("tab")
    second = station.driver.current_window_handle
    try:
        station.goes_to(place.run)
        wait_for("sent by the other tab", lambda: events(place, "section_started") == before + 1, 30)
        station.sees("back left touched, pass 1")
        station.driver.switch_to.window(first)
        station.goes_to(place.run)
        station.sees("back left touched, pass 1")
        wait_for("kept no more", lambda: "kept here until" not in station.text.lower(), 20)
        assert events(place, "section_started") == before + 1, "once"
    finally:
        station.driver.switch_to.window(second)
        station.driver.close()
        station.driver.switch_to.window(first)


def test_news_of_a_lower_version_is_news(chair, place):
    """Versions are given before a commit, and commits come in any order (6-pitfalls.md, P11)."""
    topic = "run:" + place.run.rsplit("/", 1)[1]
    tell = "new BroadcastChannel('rinsebell-live').postMessage({ kind: 'changed', line: arguments[0] })"
    for version in (900_000_002, 900_000_001):
        came = chair.run_js("return window.came")
        chair.run_js(tell, f"{topic} {version}")
        wait_for(f"version {version}", lambda came=came: chair.run_js("return window.came") > came, 5)


def test_r_stops_and_rinses(place):
    chair = place.chair
    run_page(place.run, chair)
    chair.run_js("document.activeElement.blur()")
    chair.keys("r")
    chair.sees("water on now", "20 minutes at least")
    assert events(place, "stop_recorded") == 1
    assert main_act(chair)
