"""The same work by `rinsebell calc` and by general libraries, in one run, answers compared.

Regrowth: numpy and scipy.stats (whole arrays at once, the way they are fastest). Openings: the constraint solver the
outside checks use (python-constraint), asked start by start. Times are the best of a few runs; starting the program is
measured by itself and taken off, and both are printed. RINSEBELL_BIN names a release build.

Usage: RINSEBELL_BIN=target/release/rinsebell tests/bench/side_by_side.py
"""

import json
import os
import random
import subprocess
import sys
import time
from datetime import datetime, timedelta, timezone

import constraint
import numpy
from scipy import stats

BINARY = os.environ.get("RINSEBELL_BIN", "target/release/rinsebell")


def best(runs, work):
    """Seconds of the fastest run, and its answer."""
    times = []
    for _ in range(runs):
        began = time.perf_counter()
        answer = work()
        times.append(time.perf_counter() - began)
    return min(times), answer


def calc(area, text):
    done = subprocess.run([BINARY, "calc", area], input=text, capture_output=True, timeout=300)
    assert done.returncode == 0, done.stderr
    return done.stdout


def line(what, ours, start, theirs, whose):
    own = max(ours - start, 1e-6)
    print(
        f"{what:44} rinsebell {own * 1e3:9.2f} ms (+ {start * 1e3:.1f} ms to start)  "
        f"{whose} {theirs * 1e3:9.2f} ms  ratio {theirs / own:.1f}"
    )


def regrowth(count, seen, start):
    dice = numpy.random.default_rng(7)
    days = dice.uniform(40, 120, (count, seen))
    mm = days * dice.normal(0.3, 0.05, (count, 1)).clip(0.1) + dice.normal(0, 2, (count, seen))
    mm = mm.clip(1)
    documents = [
        {
            "prior": {"mean_mm_per_day": 0.3, "sd_mm_per_day": 0.08},
            "observations": [{"days": d, "mm": m, "sd_mm": 2} for d, m in zip(ds, ms)],
            "target_mm": 25,
            "days_since": 60,
            "least_days": 56,
        }
        for ds, ms in zip(days.tolist(), mm.tolist())
    ]
    text = json.dumps(documents).encode()
    ours, out = best(5, lambda: calc("regrowth", text))

    def by_scipy():
        # From the same bytes, as whoever asks has them.
        read = json.loads(text)
        d = numpy.array([[o["days"] for o in one["observations"]] for one in read])
        m = numpy.array([[o["mm"] for o in one["observations"]] for one in read])
        precision = 1 / 0.08**2 + (d**2 / 4).sum(axis=1)
        mean = (0.3 / 0.08**2 + (d * m / 4).sum(axis=1)) / precision
        sd = precision**-0.5
        chance = stats.norm.sf(25, loc=mean * 60, scale=sd * 60)
        # The p point: P(rate × t > 25) = p, so t = 25 / (mean − Φ⁻¹(p) sd).
        due = numpy.array([25 / (mean - stats.norm.ppf(p) * sd) for p in (0.9, 0.5, 0.1)])
        return json.dumps({"mean": mean.tolist(), "chance": chance.tolist(), "due": due.tolist()}), mean, chance

    theirs, (_, mean, chance) = best(5, by_scipy)
    answers = json.loads(out)
    worst = max(
        max(abs(a["rate"]["mean_mm_per_day"] - b), abs(a["chance_due"] - c))
        for a, b, c in zip(answers, mean, chance)
    )
    assert worst < 1e-9, worst
    line(f"regrowth, {count} clients of {seen} readings", ours, start, theirs, "numpy/scipy")


EPOCH = datetime(2026, 3, 2, tzinfo=timezone.utc)


def openings(days, staff, step, start):
    dice = random.Random(11)
    people = [{"id": f"p{i}", "may": ["thio"] if i % 3 == 0 else []} for i in range(staff)]
    hours = [
        {"person": one["id"], "weekday": 1 + (i + d) % 7, "open": "09:00", "close": "18:00"}
        for i, one in enumerate(people)
        for d in range(5)
    ]
    at = lambda minute: (EPOCH + timedelta(minutes=minute)).isoformat()
    taken = []
    for day in range(days):
        for one in people:
            for _ in range(3):
                begin = day * 1440 + 540 + dice.randrange(0, 480, step)
                taken.append((one["id"], begin, begin + 60))
    segments = [(20, "thio", None), (10, None, False), (20, "thio", 0), (10, None, False), (20, None, None), (30, "thio", 0)]
    document = {
        "grid_minutes": step, "zone": "UTC", "from": "2026-03-02", "days": days, "hours": hours, "people": people,
        "places": [], "wanted": at(days * 720), "most": 10000,
        "taken": [{"person": p, "start": at(a), "end": at(b)} for p, a, b in taken],
        "segments": [
            {"minutes": m, "hands": None if same is False else {"may": may, "same_as": same}, "places": []}
            for m, may, same in segments
        ],
    }
    text = json.dumps(document).encode()
    ours, out = best(5, lambda: calc("openings", text))

    def by_solver():
        walls = {one["id"]: [] for one in people}
        for person, begin, end in taken:
            walls[person].append((begin, end))
        open_days = {one["id"]: {(i + d) % 7 for d in range(5)} for i, one in enumerate(people)}

        def free(person, begin, end):
            day = begin // 1440
            inside = day % 7 in open_days[person] and day * 1440 + 540 <= begin and end <= day * 1440 + 1080
            return inside and all(b <= begin or end <= a for a, b in walls[person])

        found = []
        for begin in range(0, days * 1440, step):
            problem, offset, missing, hands = constraint.Problem(), begin, False, []
            for index, (minutes, may, same) in enumerate(segments):
                if same is not False:
                    who = [
                        one["id"]
                        for one in people
                        if (may is None or may in one["may"]) and free(one["id"], offset, offset + minutes)
                    ]
                    missing = missing or not who
                    hands.append((index, who, same))
                offset += minutes
            if missing:
                continue
            for index, who, same in hands:
                problem.addVariable(index, who)
            for index, _, same in hands:
                if same is not None:
                    problem.addConstraint(lambda a, b: a == b, (index, same))
            if problem.getSolution() is not None:
                found.append(begin)
        return found

    theirs, found = best(1, by_solver)
    starts = sorted(
        int((datetime.fromisoformat(o["start"]) - EPOCH).total_seconds() // 60) for o in json.loads(out)["openings"]
    )
    assert starts == found, "the two disagree"
    line(f"openings, {days} days, {staff} staff, {len(found)} found", ours, start, theirs, "constraint")


def main():
    start, _ = best(20, lambda: calc("amounts", b"[]"))
    print(f"starting the program, no work: {start * 1e3:.1f} ms; python {sys.version.split()[0]}")
    for count, seen in ((100, 10), (1_000, 10), (10_000, 10)):
        regrowth(count, seen, start)
    for days, staff in ((3, 4), (30, 40)):
        openings(days, staff, 5, start)


if __name__ == "__main__":
    main()
