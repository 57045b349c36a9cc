"""strand against an independent oracle (strand_oracle.py): exact rationals, material places, cells.

Outside source: Python's fractions and datetime; the rules are those of trade-rules.md, typed again there.
"""

import random
from datetime import date, timedelta

import strand_oracle as oracle
from binary import ask, refused

FAMILIES = sorted(oracle.THIO | oracle.HYDROXIDE | oracle.NEUTRALISER) + [
    "oxidative-colour", "direct-dye", "lightener", "metallic-salt", "plant-colour", "aldehyde-smoothing", "unknown",
]
LIKELY = ["thio", "sodium-hydroxide", "potassium-hydroxide", "oxidative-colour", "lightener"]


def family():
    return random.choice(FAMILIES if random.random() < 0.5 else LIKELY)


def zone(length):
    kind = random.random()
    if kind < 0.35:
        return "new-growth"
    if kind < 0.55:
        return "root-to-end"
    if kind < 0.7:
        return {"ends_from_mm": random.choice([random.randrange(0, int(length) + 20), round(random.uniform(0, length), 2)])}
    near = random.choice([0, random.randrange(0, int(length) + 10), round(random.uniform(0, length), 2)])
    return {"from_mm": near, "to_mm": near + random.randrange(1, 120)}


def history():
    """A random document the oracle can live through; None when this one makes no sense."""
    day = date(2024, 1, 1) + timedelta(days=random.randrange(400))
    doc = {
        "length_mm": random.choice([0, 40, 120, 200, round(random.uniform(1, 300), 1)]),
        "on": day.isoformat(),
        "rate_mm_per_day": random.choice([0.26, 0.3, 0.41, round(random.uniform(0.1, 0.6), 3)]),
        "events": [],
    }
    if random.random() < 0.5:
        doc["rate_sd"] = random.choice([0.02, 0.05, 0.1])
    for _ in range(random.randrange(9)):
        day += timedelta(days=random.choice([0, 0, 3, 7, random.randrange(200)]))
        event = {"on": day.isoformat()}
        kind = random.random()
        if kind < 0.6:
            event |= {"did": "apply", "family": family(), "zone": zone(doc["length_mm"] + 60)}
            if random.random() < 0.3:
                event |= {"known": random.choice(["recorded", "told", "inferred"])}
            if random.random() < 0.3:
                event |= {"on_sd_days": random.choice([0, 2.5, 10, 30, 25])}
        elif kind < 0.8:
            event |= {"did": "measure", "new_growth_mm": round(random.uniform(0.5, 60), 1), "sd_mm": random.choice([1, 2, 4])}
        else:
            event |= {"did": "trim", "mm": round(random.uniform(0.5, 60), 1)}
        doc["events"].append(event)
    doc["as_of"] = (day + timedelta(days=random.choice([0, 1, 6, 7, 13, 14, random.randrange(250)]))).isoformat()
    try:
        head = oracle.live(doc)
    except AssertionError:
        return None
    length = float(head.tip - head.scalp)
    doc["plan"] = []
    for _ in range(random.randrange(5)):
        planned = {"family": family(), "zone": zone(length)}
        if random.random() < 0.5:
            planned["straightens"] = random.random() < 0.6
        doc["plan"].append(planned)
    return doc


def histories(count):
    docs = []
    while len(docs) < count:
        doc = history()
        if doc:
            docs.append(doc)
    return docs


def close(mine, theirs):
    """Largest difference of two numbers or Nones; None must meet None."""
    assert (mine is None) == (theirs is None), (mine, theirs)
    return 0.0 if mine is None else abs(mine - float(theirs))


def compare_strand(head, out):
    length = head.tip - head.scalp
    differences = [close(out["length_mm"], length), close(out["demarcation_mm"], head.demarcation())]
    pieces = head.pieces() if length else []
    assert len(out["pieces"]) == len(pieces)
    for mine, (near, far, seen) in zip(out["pieces"], pieces):
        differences += [close(mine["from_mm"], near - head.scalp), close(mine["to_mm"], far - head.scalp)]
        assert [(e["family"], e["on"], e["known"]) for e in mine["exposures"]] == [e[:3] for e in seen]
    lines = [(near - head.scalp, head.sd(near)) for near, _, _ in pieces[1:]]
    assert len(out["demarcations"]) == len(lines)
    for mine, (place, sd) in zip(out["demarcations"], lines):
        differences += [close(mine["at_mm"], place), close(mine["sd_mm"], sd)]
    return differences


def order(application, verdict, near, far, until, sure):
    places = [round(float(p), 6) for p in (near, far, sure or 0)]
    return -oracle.RANK[verdict], application, *places, str(until)


def compare_findings(expected, out):
    assert len(out["findings"]) == len(expected)
    differences = []
    # Several rules may share verdict, application and start: order among them is open.
    mine = sorted(
        out["findings"],
        key=lambda f: order(
            f["application"], f["verdict"], f["from_mm"], f["to_mm"], f["until"], f["clears_by_trim_sure_mm"]
        ),
    )
    theirs = sorted(expected, key=lambda f: order(*f[:5], f[6]))
    for got, (application, verdict, near, far, until, trim, sure, _) in zip(mine, theirs):
        assert (got["application"], got["verdict"], got["until"]) == (application, verdict, until)
        differences += [close(got["from_mm"], near), close(got["to_mm"], far)]
        differences += [close(got["clears_by_trim_mm"], trim), close(got["clears_by_trim_sure_mm"], sure)]
    named = lambda rules: sorted(r for r in rules if r in ("beside", "empty-zone", "unknown-pair"))
    assert named(f["rule"] for f in mine) == named(f[-1] for f in theirs)
    keys = [(-oracle.RANK[f["verdict"]], f["application"], f["from_mm"]) for f in out["findings"]]
    assert keys == sorted(keys)
    return differences


def test_strand_and_plan_agree_with_the_oracle():
    random.seed(7)
    docs = histories(6000)
    strand, plan, seen = [], [], {}
    for doc, out in zip(docs, ask("strand", docs)):
        head = oracle.live(doc)
        try:
            strand += compare_strand(head, out)
            expected = oracle.check(head, doc["plan"])
            plan += compare_findings(expected, out)
        except AssertionError:
            print(doc, out, sep="\n")
            raise
        worst = max((f[1] for f in expected), key=oracle.RANK.get, default="clear")
        assert out["verdict"] == worst
        for finding in expected:
            key = finding[-1] or finding[1]
            seen[key] = seen.get(key, 0) + 1
    print("strand", max(strand), "of", len(strand), "findings", max(plan), "of", len(plan), seen)
    assert max(strand) < 1e-7 and max(plan) < 1e-7
    assert min(seen[k] for k in ("beside", "empty-zone", "unknown-pair", "refuse", "wait", "test-first")) > 100


def test_every_pair_of_the_trade_table():
    """Each planned family on each earlier one, straightening and not, around each wait."""
    docs = []
    for new in FAMILIES:
        for old in FAMILIES:
            for days in (0, 6, 7, 13, 14):
                for straightens in (False, True):
                    docs.append({
                        "length_mm": 100, "on": "2025-01-10", "rate_mm_per_day": 0.3,
                        "events": [{"on": "2025-01-10", "did": "apply", "family": old, "zone": "root-to-end"}],
                        "as_of": (date(2025, 1, 10) + timedelta(days=days)).isoformat(),
                        "plan": [{"family": new, "zone": "root-to-end", "straightens": straightens}],
                    })
    for doc, out in zip(docs, ask("strand", docs)):
        compare_findings(oracle.check(oracle.live(doc), doc["plan"]), out)
    print("pairs", len(docs))


def test_what_the_oracle_cannot_live_through_is_refused():
    random.seed(11)
    asked = 0
    while asked < 60:
        state = random.getstate()
        if history() is not None:
            continue
        asked += 1
        end = random.getstate()
        random.setstate(state)
        doc = broken_history()
        random.setstate(end)
        assert refused("strand", doc).startswith("/events/")


def broken_history():
    """The same draw as `history`, handed out although the oracle refused it."""
    kept = []
    original = oracle.live
    oracle.live = lambda doc: kept.append(doc) or original(doc)
    try:
        assert history() is None
    finally:
        oracle.live = original
    return kept[0]
