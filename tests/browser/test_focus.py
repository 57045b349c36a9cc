"""Without a mouse and without eyes: where the focus is, a whole journey by keyboard, what a screen reader is told."""

import re

import pytest

import demo
from house import wait_for
from walk import Walk

TAB, ENTER, SPACE, DOWN = "\ue004", "\ue007", " ", "\ue015"
PAGES = ("/floor", "/runs/1", "/regrowth", "/plans/1", "/clients/5/consult?again=1", "/openings", "/day", "/shelf", "/team/salon", "/sign-in")

# What has the focus, as a person hears it: its words, the question it belongs to, and what is drawn round it.
AT = """
const at = () => {
const e = document.activeElement;
if (!e || e === document.body) return null;
const plain = (n) => { const c = n.cloneNode(true); c.querySelectorAll('kbd').forEach((k) => k.remove()); return c.textContent.replace(/\\s+/g, ' ').trim(); };
const drawn = e.matches('.value input') ? e.nextElementSibling : e;
const style = getComputedStyle(drawn);
let under = drawn.parentElement, paper = 'rgba(0, 0, 0, 0)';
while (under && /, 0\\)$|transparent/.test(paper)) { paper = getComputedStyle(under).backgroundColor; under = under.parentElement; }
const box = drawn.getBoundingClientRect();
const bar = e.closest('.bar') ? null : document.querySelector('.bar')?.getBoundingClientRect();
return {
  words: e.labels?.length ? plain(e.labels[0]) : e.getAttribute('aria-label') ?? plain(e), type: e.type ?? '', tag: e.tagName,
  legend: e.closest('fieldset')?.querySelector('legend')?.textContent.replace(/\\s+/g, ' ').trim() ?? '',
  width: parseFloat(style.outlineWidth), style: style.outlineStyle, colour: style.outlineColor, paper,
  seen: box.width > 0 && box.bottom > 0 && box.top < innerHeight && !(bar && box.top >= bar.top && box.bottom <= bar.bottom) && box.right > 0 && box.left < innerWidth, html: e.outerHTML.slice(0, 120),
};
};
"""
# After one key the browser knows a keyboard is used: a focus set by script is drawn as by Tab.
EVERY_STOP = AT + """
const able = [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex="0"]')];
return able.filter((e) => !e.disabled && e.checkVisibility({visibilityProperty: true})).map((e) => { e.focus(); return document.activeElement === e ? at() : null; }).filter(Boolean);
"""


def luminance(colour):
    """WCAG 2.2, relative luminance of a computed colour."""
    parts = [float(n) for n in re.findall(r"[\d.]+", colour)[:3]]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (n / 255 for n in parts))
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


class Keyboard:
    """A person with a keyboard alone."""

    def __init__(self, station):
        self.station = station

    def at(self):
        return self.station.run_js(AT + "return at()")

    def press(self, key):
        self.station.keys(key)

    def to(self, words, legend="", tag=None, most=160):
        """Tab after Tab, until what has these words has the focus."""
        for _ in range(most):
            self.press(TAB)
            at = self.at()
            if at and at["words"].startswith(words) and at["legend"].startswith(legend) and tag in (None, at["tag"]):
                return self
        raise AssertionError(f"“{words}” is not reached by Tab on {self.station.path}: {self.station.text[:800]}")

    def chooses(self, legend, words):
        """Tab to the group, arrows to the answer."""
        for _ in range(200):
            self.press(TAB)
            at = self.at()
            if at and at["legend"].startswith(legend):
                break
        else:
            raise AssertionError(f"“{legend}” is not reached on {self.station.path}")
        for _ in range(20):
            at = self.at()
            if at["words"].startswith(words):
                if not self.station.run_js("return document.activeElement.checked"):
                    self.press(SPACE)
                return self
            self.press(DOWN)
        raise AssertionError(f"{words} is no answer to “{legend}”")

    def acts(self, key=ENTER):
        """Presses it; another page, or the same anew."""
        self.station.run_js("window.before = true")
        self.press(key)
        wait_for("a new page", lambda: not self.station.run_js("return window.before || document.readyState !== 'complete'"), 30)
        return self


@pytest.fixture
def manager(demo_salon):
    return demo.seated(demo_salon, demo_salon.station, "manager")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_focus_is_seen_wherever_it_is(manager, theme):
    """WCAG 2.2, 2.4.7, 2.4.11 and 1.4.11: drawn two px wide or more, three to one against the paper, on the screen."""
    manager.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": theme}]})
    try:
        for path in PAGES:
            manager.goes_to(path)
            manager.keys(TAB)
            stops = manager.run_js(EVERY_STOP)
            for at in stops:
                assert at["width"] >= 2 and at["style"] != "none", (path, at)
                assert contrast(at["colour"], at["paper"]) >= 3, (path, contrast(at["colour"], at["paper"]), at)
                assert at["seen"], (path, at)
            assert len(stops) > 5, path
    finally:
        manager.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def test_news_never_loses_the_focus(demo_salon):
    """A part is swapped while the focus is in it: it stays; where its place is gone it goes to the main act."""
    station = demo.seated(demo_salon, demo_salon.station, "stylist")
    station.goes_to("/runs/1")
    station.run_js("window.news = 0; document.addEventListener('rinsebell:swapped', (e) => { if (e.detail.part.closest('main')) window.news += 1; })")

    def swapped():
        before = station.run_js("return window.news")
        station.run_js("document.dispatchEvent(new CustomEvent('rinsebell:refetch'))")
        wait_for("swapped", lambda: station.run_js("return window.news") > before, 15)

    for css in ("#act", ".head-form button", ".bar a[href='#stings']", "#to", ".bar .stop", ".head-form button:last-of-type"):
        station.run_js("document.querySelector(arguments[0]).focus()", css)
        told = station.run_js("return document.activeElement.outerHTML.replace(/[0-9]+:[0-9:]+/g, '').replace(/data-from=\"[0-9]+\"/g, '')")
        swapped()
        assert station.run_js("return document.activeElement.isConnected && document.activeElement !== document.body"), css
        now = station.run_js("return document.activeElement.outerHTML.replace(/[0-9]+:[0-9:]+/g, '').replace(/data-from=\"[0-9]+\"/g, '')")
        assert now == told, css
    # Something that the next showing has no place for.
    station.run_js("const b = document.createElement('button'); b.textContent = 'gone'; document.querySelector('[data-part] .answer').append(b); b.focus()")
    swapped()
    assert station.run_js("return document.activeElement.id") == "act"


def test_consult_plan_and_first_steps_by_keyboard_alone(demo_salon):
    """No mouse from the client's page to a service under way."""
    house, station = demo_salon.house, demo_salon.station
    demo.seated(demo_salon, station, "stylist")
    walk = Walk(house, station, "curl-retouch")
    client = walk.client()
    products = {}
    for a in walk.protocol["applications"]:
        products[a["letter"]] = walk.product(a)
        if a["chemical"] == "opening":
            walk.tested(client, products[a["letter"]], a["family"])
    keyboard = Keyboard(station)
    station.goes_to(f"/clients/{client}")
    keyboard.to("Consult", tag="A").acts()
    keyboard.to("Read the consult again").acts()
    keyboard.chooses("Ever a temporary black tattoo", "no").chooses("The scalp, as you see it", "intact")
    for question in ("Scratched, or brushed hard", "Is the scalp being treated"):
        keyboard.chooses(question, "no")
    station.run_js("document.querySelector('h1').scrollIntoView()")
    for question in ("Pregnant?", "Taking any medication?"):
        keyboard.chooses(question, "no")
    keyboard.chooses("Colour put on at home", "never").chooses("Silver, or a product", "no")
    keyboard.to("Keep the consult").acts()
    station.sees("brings nothing against it")
    keyboard.to("Plan", tag="A").acts()
    keyboard.to("Curl retouch", tag="A").acts()
    for letter, product in products.items():
        name = house.sql(f"select name from product where product_id = {product}")
        reach = f"select[name=product_{letter}]"
        for _ in range(120):
            keyboard.press(TAB)
            if station.run_js("return document.activeElement.matches(arguments[0])", reach):
                break
        station.keys(name)
        assert station.run_js("return document.activeElement.selectedOptions[0].textContent").strip().startswith(name), name
    keyboard.to("Check the plan").acts()
    assert station.has("Start the service", "main"), station.text[:2000]
    keyboard.to("Start the service", tag="BUTTON").acts()
    assert station.path.startswith("/runs/"), station.text[:800]
    run = station.path.partition("?")[0]
    keyboard.acts(SPACE)
    assert "Consult and drape" in station.headline
    keyboard.acts(SPACE)
    assert "Inspect scalp and hair" in station.headline, station.text[:800]
    # What the inspection is there to see is answered at its end.
    keyboard.to("intact", legend="Scalp").acts(SPACE)
    station.sees("Scalp: intact")
    assert station.run_js("return document.activeElement !== null")
    assert int(house.sql(f"select count(*) from run_event where run_id = {run.rsplit('/', 1)[1]} and kind = 'step_started'")) == 2


def tree(station):
    """Nodes of the accessibility tree that are told, as (role, name, properties, names of what they lie in)."""
    station.driver.execute_cdp_cmd("Accessibility.enable", {})
    nodes = station.driver.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    by_id = {n["nodeId"]: n for n in nodes}
    told = []
    for n in nodes:
        if n.get("ignored"):
            continue
        above, at = [], n
        while at.get("parentId"):
            at = by_id[at["parentId"]]
            above.append(at.get("role", {}).get("value", ""))
        told.append({"role": n.get("role", {}).get("value", ""), "name": n.get("name", {}).get("value", ""), "above": above,
                     "live": next((p["value"]["value"] for p in n.get("properties", []) if p["name"] == "live"), "")})
    return told


def test_a_screen_reader_is_told_the_acts_and_no_clock_calls_out(demo_salon):
    """ARIA: a timer is silent unless asked (its implicit aria-live is off); acts have a role and the words that are seen."""
    station = demo.seated(demo_salon, demo_salon.station, "stylist")
    station.goes_to("/runs/1")
    nodes = tree(station)

    def told(role, name):
        return [n for n in nodes if n["role"] == role and n["name"].startswith(name)]

    assert len(told("heading", "")) >= 4 and sum(n["role"] == "main" for n in nodes) == 1
    act = station.run_js("return document.querySelector('#act').textContent.trim().split(/\\s+/).slice(0, 2).join(' ')")
    assert told("button", act), [n for n in nodes if n["role"] == "button"]
    assert told("button", "Stop and rinse") and told("link", "It stings")
    for number, quadrant in enumerate(("Back right", "Back left", "Front left", "Front right"), 1):
        assert told("button", f"{number} {quadrant}"), quadrant
    assert told("group", "Acts")
    timers = [n for n in nodes if n["role"] == "timer"]
    assert timers and all(n["name"] and n["live"] in ("", "off") for n in timers), timers
    loud = {"alert", "status", "log", "marquee"}
    assert not [n for n in timers if loud & set(n["above"])]
    # A clock anywhere that ticks, with a role or without, lies in nothing that calls out.
    calling = station.run_js("""return [...document.querySelectorAll('[data-clock]')].filter((c) => c.closest(
      '[role=alert], [role=status], [role=log], [aria-live=polite], [aria-live=assertive]')).length""")
    assert calling == 0
    spoken = "window.spoken = 0; for (const e of document.querySelectorAll('[role=alert], [role=status], [aria-live]')) new MutationObserver(() => { window.spoken += 1; }).observe(e, {subtree: true, childList: true, characterData: true})"
    station.run_js(spoken)
    clock = "const t = document.querySelector('[role=timer][aria-label]'); return [t.textContent, t.getAttribute('aria-label')]"
    for _ in range(4):
        seen = station.run_js(clock)[0]
        wait_for("the clock has gone on", lambda seen=seen: station.run_js(clock)[0] != seen, 5)
        # Asked, a clock tells what is seen now.
        text, label = station.run_js(clock)
        assert text in label, (label, text)
    assert station.run_js("return window.spoken") == 0
