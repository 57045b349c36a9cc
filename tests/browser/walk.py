"""A service of any protocol, walked on the Run screen as the screen asks, from its plan to its end.

Client, tests, consent and products are put there by the owner's hand; the plan and every act of the service are done
on the screens. Used by tests/slow (every protocol, with pictures).
"""

import pathlib
import tomllib

import story
from camera import shoot
from house import wait_for
from service import ASKED, main_act, reads_a_curl, step_in_hand
from story import PIN

PROTOCOLS = pathlib.Path(__file__).resolve().parents[2] / "shared" / "protocols"
WHO = "Tobias Fenn"
ACTS_MOST = 400
# What a product of a family is used as, where it closes nothing.
USE = {"oxidative-colour": "colour", "direct-dye": "colour", "lightener": "lightener"}
NEVER_ON_SKIN = {"sodium-hydroxide", "guanidine-hydroxide", "lightener"}
WRITTEN = {
    "strand-test": ("strand_product", {"Strand from": "the worst place", "Curl formed": "yes", "Wet stretch": "returns", "Gummy": "no"}, "Minutes used", "20", "Keep the strand test"),
    "metallic-salt-test": (None, {"Strand from": "the worst place", "Seen": "no change"}, "Lay for", "30", "Keep the metallic-salt test"),
    "patch-test": ("lot", {"Where it sits": "behind the left ear"}, None, "", "Placed now"),
}


def protocol(code):
    return tomllib.loads((PROTOCOLS / f"{code}.toml").read_text())


def codes():
    return sorted(p.stem for p in PROTOCOLS.glob("*.toml"))


class Walk:
    """One service of one protocol at one chair."""

    def __init__(self, house, chair, code, out=None):
        self.house, self.chair, self.code, self.out = house, chair, code, out
        self.protocol = protocol(code)
        self.visit = self.protocol.get("kind") == "test-visit"
        self.pictures, self.steps, self.waited = 0, [], set()
        self.salon = house.sql("select salon_id from salon limit 1")
        self.who = house.sql(f"select person_id from person where name = '{WHO}'")

    # ---- what must be there before

    def product(self, application):
        """The product for one application, made once in this house, with its sheet and a lot."""
        family, closes = application["family"], application["chemical"] == "closing"
        use = "neutraliser" if closes else USE.get(family, "straightener" if application["straightens"] else "lotion")
        name = f"Walk {family} {use}"
        known = self.house.sql(f"select product_id from product where name = '{name}'")
        if known:
            return known
        skin = "none-by-sheet" if family in NEVER_ON_SKIN else "patch"
        id = self.house.sql(f"insert into product (salon_id, name, family, use_as, form, strength, skin_test, base) values ({self.salon}, '{name}', '{family}', '{use}', 'cream', 'mild', '{skin}', 'base') returning product_id")
        if not closes:
            for clock, target, most in (("exposure", 30, 40), ("phase", 20, 30)):
                self.house.sql(f"insert into product_time (salon_id, product_id, clock, target_min, most_min, counts_from, entered_by) values ({self.salon}, {id}, '{clock}', {target}, {most}, 'first-touch', {self.who})")
        self.house.sql(f"insert into lot (salon_id, product_id, code, received_on, best_before, received_grams) values ({self.salon}, {id}, 'W-{id}', rinsebell_now()::date - 5, rinsebell_now()::date + 300, 5000) returning lot_id")
        return id

    def client(self):
        """A client of whom everything holds today."""
        name = f"Walk {self.code}"
        id = self.house.sql(f"insert into client (salon_id, name, born_on, curl_group, curl_index) values ({self.salon}, '{name}', '1991-03-02', 'tight', 1.5) returning client_id")
        self.house.sql(f"""insert into consult (salon_id, client_id, taken_by, black_henna_reaction, black_henna, scalp, scratched_within_3_days, pregnant, medication,
            scalp_treatment, home_colour, silver_in_history) values ({self.salon}, {id}, {self.who}, false, false, 'intact', false, false, false, false, 'never', false)""")
        self.house.sql(f"insert into consent (salon_id, client_id, words, signed_name, signer, witnessed_by) values ({self.salon}, {id}, 'As shown.', '{name}', 'client', {self.who})")
        self.house.sql(f"""insert into hair_reading (salon_id, client_id, place, taken_by, texture, porosity, density, wet_stretch, breakage, lightened)
            values ({self.salon}, {id}, 'whole', {self.who}, 'medium', 'normal', 'medium', 'returns', false, false)""")
        self.house.sql(f"insert into strand (salon_id, client_id, length_mm, on_day) values ({self.salon}, {id}, 180, rinsebell_now()::date - 120)")
        if self.protocol.get("head") == "retouch" or "retouch" in self.code or "regrowth" in self.code:
            family = self.protocol["family"]
            self.house.sql(f"""insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known, recorded_by, recorded_at)
                values ({self.salon}, {id}, 1, rinsebell_now()::date - 100, 'apply', '{family}', 'root-to-end', 'recorded', {self.who}, rinsebell_now() - interval '100 days')""")
        return id

    def tested(self, client, product, family):
        if family not in NEVER_ON_SKIN:
            self.house.sql(f"""insert into skin_test (salon_id, client_id, product_id, lot_id, formula, place, placed_at, placed_by, taken_off_at, taken_off_by, read_at, read_by, outcome)
                select {self.salon}, {client}, {product}, max(lot_id), 1, 'behind-left-ear', rinsebell_now() - interval '60 hours', {self.who}, rinsebell_now() - interval '12 hours', {self.who},
                  rinsebell_now() - interval '1 hour', {self.who}, 'no-reaction' from lot where product_id = {product}""")
        self.house.sql(f"""insert into hair_test (salon_id, client_id, kind, product_id, formula, place, minutes, curl_formed, wet_stretch, gummy, passed, done_by)
            values ({self.salon}, {client}, 'strand', {product}, 1, 'worst-place', 25, true, 'returns', false, true, {self.who})""")

    # ---- the walk

    def begins(self):
        """From the client's page: a plan that is clear and its service, or a test visit."""
        # Each on a morning of its own: nobody's hours end before the service does.
        story.tomorrow_at(self.house, 8)
        chair, client = self.chair, self.client()
        self.client_path = f"/clients/{client}"
        chair.signs_in(WHO, PIN[WHO], self.client_path)
        if self.visit:
            chair.goes_to(f"{self.client_path}/test-visits")
            self.picture("before")
            chair.presses("Start it now", f"section:has(button[value='{self.code}'])")
        else:
            products = {a["letter"]: self.product(a) for a in self.protocol["applications"]}
            for a in self.protocol["applications"]:
                if a["chemical"] == "opening":
                    self.tested(client, products[a["letter"]], a["family"])
            chair.goes_to(f"{self.client_path}/plan?protocol={self.code}")
            for letter, product in products.items():
                chair.run_js("const s = document.querySelector(`select[name=product_${arguments[0]}]`); s.value = arguments[1]", letter, product)
            letters = chair.run_js("return [...document.querySelectorAll('form.form legend')].map((l) => l.textContent.trim().slice(0, 1))")
            assert letters[:len(products)] == sorted(products), f"the plan asks for each application: {letters}"
            chair.presses("Check the plan", "main")
            self.picture("plan")
            assert chair.has("Start the service", "main"), f"{self.code}: {chair.text[:2500]}"
            chair.writes("Chair", "Chair 1").presses("Start the service", "main")
        assert chair.path.startswith("/runs/"), chair.text[:1500]
        self.run = chair.path
        return self

    def picture(self, name):
        if self.out is None:
            return
        self.pictures += 1
        at = self.chair.path
        for where, width, theme in (("chair", 1180, "light"), ("phone", 360, "dark")):
            shoot(self.chair, at, width, theme, self.out / f"{self.code}-{self.pictures:02}-{name}-{where}.png")
        self.chair.driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        self.chair.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
        beyond = self.chair.width_beyond()
        assert beyond <= 0, f"{self.code}, {name}: {beyond} px wider than the screen"

    def answers(self):
        """Each hold point by its first answer, each bowl filled."""
        chair = self.chair
        while True:
            if chair.has("Dispense", "form[action$='/lots']"):
                chair.presses("Dispense", "form[action$='/lots']")
            elif asked := chair.run_js(ASKED):
                first = chair.run_js("return document.querySelector(`#${arguments[0]} button[name=sign]`).textContent.trim()", asked[0])
                chair.presses(first, f"#{asked[0]}")
                refused = chair.run_js("return document.querySelector('.refusal')?.innerText ?? ''")
                assert not refused, f"{self.code}, {asked[1]}: {refused}"
            else:
                return

    def later(self, minutes):
        self.house.later(minutes=minutes)
        self.chair.goes_to(self.run)
        where = self.chair.run_js("return document.querySelector('.station .where').innerText")
        if "locked" in where or "nobody" in where:
            self.chair.signs_in(WHO, PIN[WHO], self.run)

    def minutes_of(self, title):
        """How long the step in hand wants at least; without a shortest time, a minute less than its target."""
        step = next(s for s in self.protocol["steps"] if s["title"] == title)
        number = self.run.rsplit("/", 1)[1]
        asked = self.house.sql(f"select greatest(coalesce(phase_least_min, phase_target_min - 1, 0), 1) from run_step where run_id = {number} and code = '{step['code']}'")
        return float(asked)

    def taps(self, act, among=".bar"):
        """A fact, and the screen that follows it."""
        before = self.chair.run_js("return document.body.innerText.replace(/[+0-9]*[0-9]:[0-9:]+/g, '')")
        self.chair.taps(act, among)
        wait_for(f"{self.code}: the screen after “{act}”", lambda: self.chair.run_js(
            "return document.body.innerText.replace(/[+0-9]*[0-9]:[0-9:]+/g, '')") != before and "aria-busy" not in self.chair.run_js("return document.body.innerHTML"), 20)

    def act(self):
        chair = self.chair
        words = main_act(chair)
        if words.startswith("Touching") or words.endswith(" runs clear"):
            self.taps(words)
        elif words.startswith("Read the test curl"):
            reads_a_curl(chair, "firm S")
        elif words.startswith("Look at the hair"):
            self.taps("reached", "#looks fieldset")
        elif words.startswith("Read the scalp"):
            self.answers()
        elif words.startswith("Write down"):
            self.writes_down(words)
        elif words.startswith("Start: ") and self.hands_off():
            pass
        elif words.startswith("Start: "):
            self.steps.append(words.removeprefix("Start: "))
            chair.presses(words, ".bar")
            refused = chair.run_js("return document.querySelector('.refusal')?.innerText ?? ''")
            assert not refused, f"{self.code}, {words}: {refused}"
            self.picture(next(s["code"] for s in self.protocol["steps"] if s["title"] == self.steps[-1]))
        elif words.startswith("Done: "):
            self.later(self.minutes_of(words.removeprefix("Done: ")))
            if main_act(chair) == words:
                if chair.run_js("return Boolean(document.querySelector('form[data-fact=rods_noted]'))"):
                    self.taps("Note the rods", "form[data-fact=rods_noted]")
                chair.presses(words, ".bar")
        elif words.startswith("End the service"):
            chair.presses(words, ".bar")
        else:
            raise AssertionError(f"{self.code}: what is “{words}”? {chair.text[:1500]}")

    def hands_off(self):
        """A step in hand that has a clock is given its time first; true when time was given."""
        title = step_in_hand(self.chair)
        step = next((s for s in self.protocol["steps"] if s["title"] == title), None)
        if not step or title in self.waited or "work" in step:
            return False
        self.waited.add(title)
        minutes = self.minutes_of(title)
        if minutes <= 1:
            return False
        # Half of it, a picture, and the rest.
        self.later(minutes / 2)
        self.picture(f"{step['code']}-half")
        self.later(minutes / 2)
        return True

    def writes_down(self, words):
        chair = self.chair
        kind = next(s["records"] for s in self.protocol["steps"] if s.get("records"))
        product, answers, minutes_label, minutes, keep = WRITTEN[kind]
        chair.presses(words, ".bar")
        form = {"strand-test": "#note-strand", "metallic-salt-test": "#note-salt", "patch-test": "#place-skin"}[kind]
        chair.run_js("document.querySelector(arguments[0]).scrollIntoView()", form)
        if product:
            chair.run_js("const s = document.querySelector(`${arguments[0]} select[name=${arguments[1]}]`); s.value = [...s.options].find((o) => o.value).value", form, product)
        for legend, answer in answers.items():
            chair.run_js("""const [form, legend, words] = arguments;
                const group = [...document.querySelectorAll(`${form} fieldset`)].find((f) => f.querySelector('legend').textContent.trim().startsWith(legend));
                [...group.querySelectorAll('label')].find((l) => l.textContent.trim().startsWith(words)).control.click()""", form, legend, answer)
        if minutes_label:
            chair.writes(minutes_label, minutes, among=form)
        chair.presses(keep, form)
        chair.sees("under way")
        chair.presses("Back to it", "main")

    def goes_to_the_end(self):
        ended = f"select coalesce(ended_how, '') from run where run_id = {self.run.rsplit('/', 1)[1]}"
        for _ in range(ACTS_MOST):
            if self.house.sql(ended):
                break
            self.answers()
            self.act()
        assert self.house.sql(ended) == "finished", f"{self.code}: {self.chair.text[:1500]}"
        self.chair.goes_to(self.run)
        self.picture("end")
        return self


def ready_house(house, chair):
    """A founded salon, its shelf empty, the stylist qualified for everything."""
    house.take_the_clock()
    story.found_the_salon(chair)
    chair.signs_in("Ondine Marsh", PIN["Ondine Marsh"])
    chair.goes_to("/team/salon").writes("Chairs", "2").writes("Basins", "1").writes("Hoods", "0")
    chair.writes("Where the eye wash is", "left of the basin").presses("Keep", "main")
    story.give_hours(chair, WHO, hours="06:00–22:00")
    house.sql(f"""insert into qualification (salon_id, person_id, chemistry)
        select p.salon_id, p.person_id, c from person p, unnest(array['thio', 'hydroxide', 'colour', 'lightener', 'other']) c
        where p.name = '{WHO}' on conflict do nothing""")
