"""A browser that is a station, used as people use it: by the words on the screen."""

import json
import shutil
import tempfile
import time

from selenium import webdriver
from selenium.common.exceptions import ElementNotInteractableException, JavascriptException, StaleElementReferenceException
from selenium.webdriver import ActionChains
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

from house import LIMIT_S, wait_for

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run",
)

# Finds what a person would: visible, by its words. `kind` says among what.
FIND = """
const [kind, words, among] = arguments;
const plain = (e) => { const c = e.cloneNode(true); c.querySelectorAll('kbd, .unseen').forEach((k) => k.remove());
  return c.textContent.replace(/\\s+/g, ' ').trim(); };
const seen = (e) => e.checkVisibility({ visibilityProperty: true });
const places = among ? [...document.querySelectorAll(among)] : [document];
const low = (t) => t.toLowerCase();
const pick = (list) => list.find((e) => low(plain(e)) === low(words)) ?? list.find((e) => low(plain(e)).startsWith(low(words)));
for (const place of places) {
  let found = null;
  if (kind === 'act') found = pick([...place.querySelectorAll('button, a[href], summary')].filter(seen));
  if (kind === 'field') found = pick([...place.querySelectorAll('label')].filter((l) => l.control))?.control;
  if (kind === 'value') found = pick([...place.querySelectorAll('label')].filter((l) => l.control && seen(l)));
  if (kind === 'group') found = [...place.querySelectorAll('fieldset')].find((f) => f.querySelector('legend') && plain(f.querySelector('legend')).startsWith(words));
  if (found) return found;
}
return null;
"""

# Brings it into view; what lies over its middle, if anything does.
REACH = """
const e = arguments[0];
e.scrollIntoView({ block: 'center', behavior: 'instant' });
const box = e.getBoundingClientRect();
const top = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
if (top && (e.contains(top) || top === e.control || top.contains(e.control ?? document.createElement('i')))) return '';
return top ? top.outerHTML.slice(0, 200) : 'nothing is there';
"""


class Station:
    """One browser."""

    opened = []

    def __init__(self, origin, script=True, width=1180, height=1400):
        self.origin = origin
        self.profile = tempfile.mkdtemp(prefix="rb-profile-", dir="/tmp")
        options = Options()
        options.binary_location = "/usr/bin/chromium"
        for flag in (*FLAGS, f"--user-data-dir={self.profile}", f"--window-size={width},{height}"):
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
        if not script:
            options.add_experimental_option("prefs", {"profile.managed_default_content_settings.javascript": 2})
        self.driver = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
        self.driver.set_page_load_timeout(LIMIT_S)
        self.log = []
        Station.opened.append(self)

    def close(self):
        Station.opened.remove(self)
        self.driver.quit()
        shutil.rmtree(self.profile, ignore_errors=True)

    # ---- looking

    def goes_to(self, path):
        self.driver.get(self.origin + path)
        return self

    @property
    def path(self):
        return self.driver.current_url.removeprefix(self.origin)

    def run_js(self, text, *given):
        return self.driver.execute_script(text, *given)

    @property
    def text(self):
        return self.run_js("return document.body.innerText.replace(/[\\u00a0\\s]+/g, ' ')")

    @property
    def headline(self):
        return self.run_js("return (document.querySelector('h1')?.innerText ?? '').replace(/\\s+/g, ' ').trim()")

    def sees(self, *words, limit_s=20):
        """All these words stand on the page, now or very soon."""
        try:
            wait_for("words", lambda: all(w.lower() in self.text.lower() for w in words), limit_s)
        except AssertionError:
            missing = [w for w in words if w.lower() not in self.text.lower()]
            raise AssertionError(f"{missing} not on {self.path}:\n{self.text[:3000]}") from None
        return self

    def sees_not(self, *words):
        on_page = self.text.lower()
        assert not [w for w in words if w.lower() in on_page], on_page[:3000]
        return self

    def sees_not_soon(self, words, limit_s=30):
        """These words go away."""
        wait_for(f"{words} are gone", lambda: words.lower() not in self.text.lower(), limit_s)
        return self

    def find(self, kind, words, among=None, limit_s=15):
        try:
            return wait_for(words, lambda: self.run_js(FIND, kind, words, among), limit_s)
        except AssertionError:
            raise AssertionError(f"no {kind} “{words}” on {self.path}:\n{self.text[:3000]}") from None

    def has(self, words, among=None):
        return self.run_js(FIND, "act", words, among) is not None

    # ---- acting

    def _click(self, find):
        def tried():
            try:
                element = find()
                if element is None:
                    return False
                self.covered = self.run_js(REACH, element)
                if self.covered:
                    return False  # something lies over it
                ActionChains(self.driver, duration=0).move_to_element(element).click().perform()
                return True
            except (StaleElementReferenceException, JavascriptException):
                return False  # swapped by news from elsewhere: look again
        self.covered = ""
        try:
            wait_for("a click", tried, 15)
        except AssertionError:
            raise AssertionError(f"not to be tapped on {self.path}, covered by {self.covered}") from None

    def taps(self, words, among=None):
        """A tap; the page may stay."""
        self.find("act", words, among)
        self._click(lambda: self.run_js(FIND, "act", words, among))
        return self

    def presses(self, words, among=None):
        """A tap that leads to another page (or the same one anew)."""
        self.run_js("window.before = true")
        self.taps(words, among)
        until = time.monotonic() + 30
        while self.run_js("return window.before || document.readyState !== 'complete'"):
            assert time.monotonic() < until, f"{words}: no new page within 30 s\n{self.text[:2000]}"
            time.sleep(0.03)
        return self

    def writes(self, label, text, among=None):
        """Text in a field; a field swapped by news before the first key is looked for again."""
        for last in (False, False, True):
            try:
                return self._writes(label, text, among)
            except (StaleElementReferenceException, ElementNotInteractableException, JavascriptException):
                if last:
                    raise

    def _writes(self, label, text, among):
        field = self.find("field", label, among)
        if field.tag_name == "select":
            self.run_js(
                """const [s, w] = arguments; const o = [...s.options].find((o) => o.text.trim() === w) ?? [...s.options].find((o) => o.text.includes(w));
                if (!o) throw new Error(w + ' is none of ' + [...s.options].map((o) => o.text).join('; '));
                s.value = o.value; s.dispatchEvent(new Event('change', {bubbles: true}));""", field, text)
        elif field.get_attribute("type") == "date":
            self.run_js("arguments[0].value = arguments[1]; arguments[0].dispatchEvent(new Event('input', {bubbles: true}))", field, text)
        else:
            field.clear()
            field.send_keys(text)
        return self

    def chooses(self, legend, words):
        """One of few: the words are the button."""
        def value():
            group = self.find("group", legend)
            return self.run_js(
                """const [g, w] = arguments; const l = [...g.querySelectorAll('label')]; const p = (e) => e.textContent.replace(/\\s+/g, ' ').trim();
                return l.find((e) => p(e) === w) ?? l.find((e) => p(e).startsWith(w)) ?? null""", group, words)
        assert value(), f"{words} is no answer to “{legend}” on {self.path}"
        self._click(value)
        return self

    def keys(self, text):
        """Keys pressed, wherever the focus is."""
        ActionChains(self.driver, duration=0).send_keys(text).perform()
        return self

    # ---- people

    def signs_in(self, name, pin, then="/floor"):
        self.goes_to(f"/sign-in?next={then}")
        self._click(lambda: self.find("value", name))
        self.writes("PIN", pin)
        self.presses("Sign in", "main")
        assert self.path.startswith(then), f"{self.path}: {self.text[:800]}"
        return self

    def locks(self):
        self.goes_to("/lock").presses("Lock", "main")
        return self

    # ---- what the browser itself says

    def complaints(self):
        """CSP violations and errors of the console so far (a refused form's 4xx is no error of the page)."""
        self.log += self.driver.get_log("browser")
        bad = [e for e in self.log if e["level"] == "SEVERE" or "Content Security Policy" in e["message"]]
        return [json.dumps(e) for e in bad if "the server responded with a status of 4" not in e["message"]]

    def complaints_so_far_are_the_outage(self):
        """While nobody answered the browser complained of that, and of nothing else; begin anew.

        A server held for longer than a request may take answers those that waited by 503 when it goes on.
        """
        outage = ("net::ERR_", "Failed to fetch", "responded with a status of 503")
        bad = [e for e in self.complaints() if not any(words in e for words in outage)]
        self.log = []
        assert not bad, bad

    def width_beyond(self):
        """How far the page scrolls sideways, CSS px."""
        return self.run_js("return document.documentElement.scrollWidth - document.documentElement.clientWidth")


def until_sees(station, words, limit_s=10):
    """Seconds until the words are on this station's page."""
    began = time.monotonic()
    wait_for(f"{words} at the other station", lambda: words in station.text, limit_s, pause_s=0.005)
    return time.monotonic() - began
