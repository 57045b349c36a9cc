"""exposure against exact rational arithmetic over a second-by-second reading of the same events.

Outside source: Python's datetime and fractions; the rules are 3-calc.md's, written again.
"""

import random
from datetime import datetime, timedelta, timezone
from fractions import Fraction

from binary import ask, refused, worst

random.seed(4)
NAMES = ["back-right", "back-left", "front-left", "front-right"]


def stamp(instant, zone):
    return instant.astimezone(zone).isoformat()


def case():
    base = datetime(2025, 3, 30, 0, 30, tzinfo=timezone.utc) + timedelta(seconds=random.randrange(10**7))
    events, state, at = [], {}, base
    for _ in range(random.randrange(9)):
        at += timedelta(milliseconds=random.choice([0, random.randrange(900_000)]))
        name = random.choice(NAMES)
        if name not in state:
            state[name] = [at, None]
            events.append((at, name, "start"))
        elif state[name][1] is None:
            state[name][1] = at
            events.append((at, name, "rinse"))
    now = at + timedelta(milliseconds=random.randrange(600_000))
    return events, now, random.choice([5, 10, 15, 20, 60])


def as_document(events, now, most):
    zones = [timezone.utc, timezone(timedelta(hours=2)), timezone(timedelta(hours=-9, minutes=-30))]
    rows = [{"at": stamp(at, random.choice(zones)), "quadrant": q, "did": d} for at, q, d in events]
    return {"events": rows, "now": stamp(now, random.choice(zones)), "most_minutes": most}


def minutes(span):
    return Fraction(span // timedelta(microseconds=1), 60_000_000)


def test_minutes_agree_with_exact_arithmetic():
    cases = [case() for _ in range(4000)]
    pairs = []
    for (events, now, most), out in zip(cases, ask("exposure", [as_document(*c) for c in cases])):
        order = [q for _, q, d in events if d == "start"]
        assert [row["quadrant"] for row in out["quadrants"]] == order
        exact = []
        for row, name in zip(out["quadrants"], order):
            own = [(at, d) for at, q, d in events if q == name]
            ended = [at for at, d in own if d == "rinse"]
            assert row["open"] == (not ended)
            exact.append(minutes((ended or [now])[0] - own[0][0]))
            pairs.append((row["minutes"], float(exact[-1])))
        if not exact:
            assert out["longest_minutes"] is None and out["over_most"] is False
            continue
        longest, shortest = max(exact), min(exact)
        pairs.append((out["longest_minutes"], float(longest)))
        pairs.append((out["shortest_minutes"], float(shortest)))
        pairs.append((out["spread_minutes"], float(longest - shortest)))
        assert out["over_most"] == (longest > most)
    print("minutes", worst(pairs), "of", len(pairs))
    assert worst(pairs) < 1e-9


def test_what_cannot_have_happened_is_refused_at_its_place():
    hits = 0
    for _ in range(60):
        events, now, most = case()
        doc = as_document(events, now, most)
        starts = [q for _, q, d in events if d == "start"]
        late = {"at": stamp(now, timezone.utc), "did": "start"}
        if len(starts) == 4:
            doc["events"].append({**late, "quadrant": starts[0]})
            assert refused("exposure", doc) == f"/events/{len(events)}/did"
            hits += 1
        else:
            fresh = next(name for name in NAMES if name not in starts)
            doc["events"].append({**late, "quadrant": fresh, "did": "rinse"})
            assert refused("exposure", doc) == f"/events/{len(events)}/did"
            hits += 1
            doc["events"][-1] = {**late, "quadrant": fresh, "at": stamp(now + timedelta(seconds=1), timezone.utc)}
            assert refused("exposure", doc) == f"/events/{len(events)}/at"
    assert hits == 60
