"""The search for openings against a constraint solver, and its time zones against two libraries.

Outside sources: python-constraint (PyPI) decides whether some choice of people fits; zoneinfo with
the pinned tzdata package, and pytz, which carries its own copy of the IANA database and resolves
local times in another way, decide about local days. Freedom is counted minute by minute here;
nothing of the program's own way (spans, bits) is used.
"""

import json
import os
import random
import subprocess
import zoneinfo
from collections import Counter
from datetime import date, datetime, timedelta, timezone

import constraint
import pytest
import pytz

# The pinned tzdata package and nothing of the machine.
zoneinfo.reset_tzpath(to=[])

ZONES = [
    "Europe/Paris",
    "Europe/London",
    "America/New_York",
    "America/St_Johns",
    "America/Havana",  # falls back from 01:00 to 00:00: midnight comes twice
    "America/Santiago",  # jumps at midnight: 00:00 does not exist
    "Africa/Cairo",  # jumps at midnight
    "Asia/Beirut",  # jumps at midnight
    "Asia/Kolkata",  # never changes, 5:30
    "Australia/Lord_Howe",  # moves by half an hour
    "Pacific/Auckland",
    "Pacific/Apia",
    "Antarctica/Troll",  # moves by two hours
    "UTC",
]
EPOCH = datetime(1970, 1, 1, tzinfo=timezone.utc)


def ask(area, documents):
    """All documents in one call: an array in gives an array out."""
    binary = os.environ.get("RINSEBELL_BIN", "rinsebell")
    done = subprocess.run(
        [binary, "calc", area], input=json.dumps(documents), capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def minute(instant):
    """Whole minutes since 1970, UTC."""
    seconds = (instant - EPOCH).total_seconds()
    assert seconds % 60 == 0
    return int(seconds // 60)


def wall(zone, day, hhmm):
    """zoneinfo's answer, fold 0: a gap moves forward, the earlier of two."""
    hour, minutes = map(int, hhmm.split(":"))
    if hour == 24:
        day, hour = day + timedelta(days=1), 0
    return datetime(day.year, day.month, day.day, hour, minutes, tzinfo=zoneinfo.ZoneInfo(zone))


def wall_pytz(zone, day, hhmm):
    """The same by pytz, spelled out: exact if it exists once, else the earlier or the offset before."""
    hour, minutes = map(int, hhmm.split(":"))
    local = datetime(day.year, day.month, day.day) + timedelta(hours=hour, minutes=minutes)
    rules = pytz.timezone(zone)
    try:
        return rules.localize(local, is_dst=None)
    except pytz.AmbiguousTimeError:
        return min(rules.localize(local, is_dst=True), rules.localize(local, is_dst=False))
    except pytz.NonExistentTimeError:
        before = rules.localize(local - timedelta(hours=6), is_dst=None).utcoffset()
        return (local - before).replace(tzinfo=timezone.utc).astimezone(rules)


def show(zone, minutes):
    return (EPOCH + timedelta(minutes=minutes)).astimezone(zoneinfo.ZoneInfo(zone)).isoformat()


def changes_of_the_clock(zone, years):
    """Local days on which the offset changes, found by scanning."""
    days, rules = [], zoneinfo.ZoneInfo(zone)
    for year in years:
        day = date(year, 1, 1)
        while day.year == year:
            here, there = (wall(zone, d, "12:00").utcoffset() for d in (day, day + timedelta(days=1)))
            if here != there:
                days.append(day if datetime(day.year, day.month, day.day, 23, 59, tzinfo=rules).utcoffset() != here
                            else day + timedelta(days=1))
            day += timedelta(days=1)
    return days


# ---- random salons ----


def random_salon(seed):
    rng = random.Random(seed)
    zone = rng.choice(ZONES)
    changes = changes_of_the_clock(zone, [2025 + seed % 3])
    start = rng.choice(changes) - timedelta(days=1) if changes and rng.random() < 0.7 else date(2026, 5, rng.randint(1, 28))
    days = rng.randint(1, 3)
    ids = ["a", "b", "c"][: rng.randint(1, 3)]
    skills = ["thio", "hydroxide"]
    people = [{"id": i, "may": rng.sample(skills, rng.randint(0, 2))} for i in ids]
    hours = []
    for person in ids:
        for weekday in range(1, 8):
            shape = rng.random()
            if shape < 0.5:
                hours.append((person, weekday, f"{rng.randint(0, 10):02}:{rng.choice([0, 30]):02}", rng.choice(["15:10", "20:00", "24:00"])))
            elif shape < 0.8:  # a break, or two that touch
                hours += [(person, weekday, "08:00", "12:00"), (person, weekday, rng.choice(["12:00", "12:40"]), "19:00")]
    places = [{"kind": "chair", "count": rng.randint(1, 3)}, {"kind": "basin", "count": rng.randint(1, 2)}]
    midnight = wall(zone, start, "00:00").astimezone(timezone.utc)
    taken = []
    for _ in range(rng.randint(0, 14)):
        at = midnight + timedelta(minutes=rng.randint(-60, days * 1440))
        end = at + timedelta(minutes=rng.randint(1, 240))
        who = {"person": rng.choice(ids)} if rng.random() < 0.5 else {"place": rng.choice(["chair", "basin"])}
        offset = timezone(timedelta(minutes=rng.choice([0, 60, -210, 345])))
        taken.append({**who, "start": at.astimezone(offset).isoformat(), "end": end.astimezone(offset).isoformat()})
    segments = []
    for index in range(rng.randint(1, 5)):
        hands = None
        if rng.random() < 0.7:
            earlier = [i for i in range(index) if segments[i]["hands"]]
            same_as = rng.choice(earlier) if earlier and rng.random() < 0.5 else None
            hands = {"may": rng.choice([None, None, *skills]), "same_as": same_as}
        segments.append({
            "minutes": rng.choice([5, 10, 25, 40, 60]),
            "hands": hands,
            "places": rng.choice([[], ["chair"], ["basin"], ["chair", "basin"], ["chair", "chair"]]),
        })
    patch = {"minutes": rng.choice([5, 15, 30]), "least_hours_before": rng.choice([0, 1.5, 24]), "may": rng.choice([None, "thio"])}
    return {
        "grid_minutes": rng.choice([10, 15, 25]),
        "zone": zone,
        "from": start.isoformat(),
        "days": days,
        "hours": [dict(zip(("person", "weekday", "open", "close"), row)) for row in hours],
        "people": people,
        "places": places,
        "taken": taken,
        "segments": segments,
        "patch_test": patch if rng.random() < 0.4 else None,
        "wanted": (midnight + timedelta(minutes=rng.randint(-300, days * 1440))).isoformat(),
        "most": 10_000,
    }


class Oracle:
    def __init__(self, salon):
        self.salon = salon
        zone, start = salon["zone"], date.fromisoformat(salon["from"])
        self.first = minute(wall(zone, start, "00:00"))
        self.until = minute(wall(zone, start + timedelta(days=salon["days"]), "00:00"))
        self.grid = range(self.first, self.until, salon["grid_minutes"])
        self.may = {p["id"]: set(p["may"]) for p in salon["people"]}
        self.works = {p: set() for p in self.may}
        for ahead in range(salon["days"] + 2):
            day = start + timedelta(days=ahead)
            for row in salon["hours"]:
                if row["weekday"] == day.isoweekday():
                    opens, closes = (minute(wall(zone, day, row[k])) for k in ("open", "close"))
                    self.works[row["person"]].update(range(opens, closes))
        self.depth = {place["kind"]: Counter() for place in salon["places"]}
        self.count = {place["kind"]: place["count"] for place in salon["places"]}
        for row in salon["taken"]:
            span = range(*(minute(datetime.fromisoformat(row[k])) for k in ("start", "end")))
            if "person" in row:
                self.works[row["person"]].difference_update(span)
            else:
                self.depth[row["place"]].update(span)

    def is_free(self, person, may, span):
        return (may is None or may in self.may[person]) and all(m in self.works[person] for m in span)

    def has_places(self, kinds, span):
        return all(
            self.depth[kind][m] + needed <= self.count[kind] for kind, needed in Counter(kinds).items() for m in span
        )

    def spans(self, start):
        for segment in self.salon["segments"]:
            yield segment, range(start, start + segment["minutes"])
            start += segment["minutes"]

    def some_choice_fits(self, start):
        problem = constraint.Problem()
        hands_on = 0
        for index, (segment, span) in enumerate(self.spans(start)):
            if not self.has_places(segment["places"], span):
                return False
            if segment["hands"]:
                free = [p for p in self.may if self.is_free(p, segment["hands"]["may"], span)]
                if not free:
                    return False
                problem.addVariable(index, free)
                hands_on += 1
                if segment["hands"]["same_as"] is not None:
                    problem.addConstraint(constraint.AllEqualConstraint(), [segment["hands"]["same_as"], index])
        return hands_on == 0 or problem.getSolution() is not None

    def patch_before(self, start):
        visit = self.salon["patch_test"]
        latest = start - visit["least_hours_before"] * 60 - visit["minutes"]
        return max(
            (at for at in self.patch_starts() if at <= latest),
            default=None,
        )

    def patch_starts(self):
        if not hasattr(self, "_patch_starts"):
            visit = self.salon["patch_test"]
            self._patch_starts = [
                at for at in self.grid
                if any(self.is_free(p, visit["may"], range(at, at + visit["minutes"])) for p in self.may)
            ]
        return self._patch_starts

    def openings(self):
        """(start, patch start or None), ordered by distance from the wanted instant, then start."""
        found = []
        for start in self.grid:
            patch = self.patch_before(start) if self.salon["patch_test"] else None
            if (patch is not None or not self.salon["patch_test"]) and self.some_choice_fits(start):
                found.append((start, patch))
        wanted = minute(datetime.fromisoformat(self.salon["wanted"]))
        return sorted(found, key=lambda pair: (abs(pair[0] - wanted), pair[0]))

    def check_people(self, opening):
        start = minute(datetime.fromisoformat(opening["start"]))
        named = {h["segment"]: h for h in opening["hands"]}
        for index, (segment, span) in enumerate(self.spans(start)):
            assert (index in named) == (segment["hands"] is not None)
            if index in named:
                hands = named[index]
                assert hands["start"] == show(self.salon["zone"], span.start)
                assert hands["end"] == show(self.salon["zone"], span.stop)
                assert self.is_free(hands["person"], segment["hands"]["may"], span)
                same_as = segment["hands"]["same_as"]
                assert same_as is None or named[same_as]["person"] == hands["person"]
        if opening["patch_test"]:
            visit, patch = self.salon["patch_test"], opening["patch_test"]
            at = minute(datetime.fromisoformat(patch["start"]))
            assert patch["end"] == show(self.salon["zone"], at + visit["minutes"])
            assert self.is_free(patch["person"], visit["may"], range(at, at + visit["minutes"]))


def test_200_random_salons_have_exactly_the_openings_a_constraint_solver_finds():
    salons = [random_salon(seed) for seed in range(200)]
    answers = ask("openings", salons)
    with_openings = with_patch = 0
    for seed, (salon, answer) in enumerate(zip(salons, answers, strict=True)):
        oracle = Oracle(salon)
        zone = salon["zone"]
        expected = [(show(zone, start), patch and show(zone, patch)) for start, patch in oracle.openings()]
        found = [(o["start"], o["patch_test"] and o["patch_test"]["start"]) for o in answer["openings"]]
        # isoformat writes UTC as +00:00, RFC 3339 allows Z as well.
        found = [(s.replace("Z", "+00:00"), p and p.replace("Z", "+00:00")) for s, p in found]
        assert found == expected, f"seed {seed}"
        assert answer["searched_starts"] == len(oracle.grid), f"seed {seed}"
        for opening in json.loads(json.dumps(answer["openings"]).replace('Z"', '+00:00"')):
            oracle.check_people(opening)
        with_openings += bool(expected)
        with_patch += bool(expected and expected[0][1])
    # The salons must be worth asking: neither all full nor all empty.
    assert 60 < with_openings < 190
    assert with_patch > 15


def test_fewer_openings_asked_are_the_nearest_of_all():
    salons = [random_salon(seed) for seed in range(40)]
    everything = ask("openings", salons)
    few = ask("openings", [{**salon, "most": 3} for salon in salons])
    assert all(f["openings"] == e["openings"][:3] for f, e in zip(few, everything, strict=True))


# ---- zones ----


@pytest.mark.parametrize("zone", ZONES)
def test_local_times_around_every_change_of_the_clock(zone):
    days = changes_of_the_clock(zone, range(2024, 2029)) or [date(2026, 3, 29)]
    asked, expected = [], []
    for change in days:
        for day in (change - timedelta(days=1), change, change + timedelta(days=1)):
            for half_hour in range(48):
                hhmm = f"{half_hour // 2:02}:{half_hour % 2 * 30:02}"
                opens, closes = wall(zone, day, hhmm), wall(zone, day, "24:00")
                # Compared in UTC: instants in a gap or fold never equal across Python zones (PEP 495).
                assert minute(opens) == minute(wall_pytz(zone, day, hhmm)), "the two libraries disagree"
                if opens.astimezone(timezone.utc) >= closes.astimezone(timezone.utc):
                    continue
                asked.append({
                    "grid_minutes": 1, "zone": zone, "from": day.isoformat(), "days": 1,
                    "hours": [{"person": "a", "weekday": day.isoweekday(), "open": hhmm, "close": "24:00"}],
                    "people": [{"id": "a", "may": []}], "places": [],
                    "segments": [{"minutes": 1, "hands": {"may": None}}],
                    "wanted": "1999-01-01T00:00:00Z", "most": 1,
                })
                expected.append((
                    show(zone, minute(opens)),
                    minute(closes) - minute(wall_pytz(zone, day, "00:00")),
                ))
    found = [
        (answer["openings"][0]["start"].replace("Z", "+00:00"), answer["searched_starts"])
        for answer in ask("openings", asked)
    ]
    assert found == expected


def test_closing_times_in_gaps_and_folds_follow_the_same_rule():
    asked, expected = [], []
    for zone in ZONES:
        for day in changes_of_the_clock(zone, [2026]):
            for half_hour in range(1, 49):
                hhmm = f"{half_hour // 2:02}:{half_hour % 2 * 30:02}"
                closes = minute(wall_pytz(zone, day, hhmm))
                if closes <= minute(wall_pytz(zone, day, "00:00")):
                    continue
                asked.append({
                    "grid_minutes": 1, "zone": zone, "from": day.isoformat(), "days": 1,
                    "hours": [{"person": "a", "weekday": day.isoweekday(), "open": "00:00", "close": hhmm}],
                    "people": [{"id": "a"}], "places": [],
                    "segments": [{"minutes": 1, "hands": {}}],
                    "wanted": "2099-01-01T00:00:00Z", "most": 1,
                })
                expected.append(show(zone, closes))
    found = [answer["openings"][0]["end"].replace("Z", "+00:00") for answer in ask("openings", asked)]
    assert len(asked) > 500
    assert found == expected
