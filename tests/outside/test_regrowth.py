"""regrowth against scipy.stats, numerical integration, scipy.optimize and published growth.

Outside sources: scipy 1.17 (stats.norm, stats, integrate; Bayes by quadrature);
published means: Br J Dermatol 2001 doi 10.1046/j.1365-2133.2001.04350.x, Int J Dermatol 2005;44 Suppl 1:6-9.
"""

import random

import numpy as np
from scipy import integrate, stats

from binary import ask, worst

random.seed(20261125)


def observation():
    seen = {"days": random.uniform(5, 400), "sd_mm": random.uniform(0.3, 6)}
    if random.random() < 0.3:
        seen["natural_mm"] = random.uniform(0.5, 80)
        seen["curl_index"] = random.uniform(1, 3)
        if random.random() < 0.5:
            seen["curl_index_sd"] = random.uniform(0, 0.3)
    else:
        seen["mm"] = random.uniform(0.5, 120)
    return seen


def document():
    doc = {
        "prior": {"mean_mm_per_day": random.uniform(0.15, 0.5), "sd_mm_per_day": random.uniform(0.01, 0.2)},
        "target_mm": random.uniform(5, 60),
        "observations": [observation() for _ in range(random.randrange(6))],
    }
    if random.random() < 0.9:
        doc["days_since"] = random.choice([0, *(random.uniform(0, 300) for _ in range(3))])
    if random.random() < 0.7:
        doc["least_days"] = random.uniform(0, 120)
    return doc


def stretched(seen):
    """Mean and sd of stretched growth of one observation, by error propagation."""
    if "mm" in seen:
        return seen["mm"], seen["sd_mm"]
    n, c = seen["natural_mm"], seen["curl_index"]
    return n * c, np.hypot(c * seen["sd_mm"], n * seen.get("curl_index_sd", 0.0))


def posterior(doc):
    """Linear regression through the origin with a prior row, solved as weighted least squares."""
    rows = [(1.0, doc["prior"]["mean_mm_per_day"], doc["prior"]["sd_mm_per_day"])]
    rows += [(o["days"], *stretched(o)) for o in doc["observations"]]
    a = np.array([[x / s] for x, _, s in rows])
    b = np.array([y / s for _, y, s in rows])
    (mean,), *_ = np.linalg.lstsq(a, b, rcond=None)
    return mean, float(np.sqrt(np.linalg.inv(a.T @ a)[0, 0]))


def test_posterior_and_what_follows_agree_with_scipy():
    docs = [document() for _ in range(4000)]
    rates, nows, chances, dues = [], [], [], []
    for doc, out in zip(docs, ask("regrowth", docs)):
        mean, sd = posterior(doc)
        rates += [(out["rate"]["mean_mm_per_day"], mean), (out["rate"]["sd_mm_per_day"], sd)]
        days, least = doc.get("days_since"), doc.get("least_days", 0)
        if days is None:
            assert out["now"] is None and out["chance_due"] is None
        elif days == 0:
            assert out["now"] == {"mean_mm": 0, "low_mm": 0, "high_mm": 0} and out["chance_due"] == 0
        else:
            growth = stats.norm(mean * days, sd * days)
            nows += [(out["now"]["mean_mm"], growth.mean()), (out["now"]["high_mm"], growth.ppf(0.9))]
            nows.append((out["now"]["low_mm"], max(0, growth.ppf(0.1))))
            chance = 0 if days < least else growth.sf(doc["target_mm"])
            chances.append((out["chance_due"], chance))
        for name, p in (("early", 0.1), ("middle", 0.5), ("late", 0.9)):
            # The slowest rate that still belongs to the fastest share p of heads.
            slow = stats.norm(mean, sd).isf(p)
            if slow <= 0:
                assert out["due_in_days"][name] is None
            else:
                dues.append((out["due_in_days"][name] / max(doc["target_mm"] / slow, least), 1.0))
    print("rate", worst(rates), "now", worst(nows), "chance", worst(chances), "due (relative)", worst(dues))
    assert len(chances) > 2000 and len(dues) > 8000
    assert worst(rates) < 1e-11 and worst(nows) < 1e-8 and worst(chances) < 1e-9 and worst(dues) < 1e-9


def test_posterior_agrees_with_numerical_integration():
    docs = [document() for _ in range(150)]
    pairs = []
    for doc, out in zip(docs, ask("regrowth", docs)):
        prior = stats.norm(doc["prior"]["mean_mm_per_day"], doc["prior"]["sd_mm_per_day"])
        seen = [(o["days"], *stretched(o)) for o in doc["observations"]]
        mean, sd = out["rate"]["mean_mm_per_day"], out["rate"]["sd_mm_per_day"]
        r = np.linspace(mean - 12 * sd, mean + 12 * sd, 20001)
        log = prior.logpdf(r) + sum(stats.norm.logpdf(mm, r * days, s) for days, mm, s in seen)
        weight = np.exp(log - log.max())
        total = integrate.simpson(weight, x=r)
        first = integrate.simpson(weight * r, x=r) / total
        second = integrate.simpson(weight * (r - first) ** 2, x=r) / total
        pairs += [(mean, first), (sd, np.sqrt(second))]
        if doc.get("days_since", 0) > doc.get("least_days", 0):
            enough = stats.norm.pdf(r, first, np.sqrt(second)) * (r * doc["days_since"] >= doc["target_mm"])
            assert abs(integrate.trapezoid(enough, x=r) - out["chance_due"]) < 2e-3
    print("posterior by quadrature", worst(pairs))
    assert worst(pairs) < 1e-9


def test_phi_is_good_to_1e_9():
    # With prior mean m and sd 1e-3 the chance is phi((m - T/d)/sd): z is swept by the target.
    z = np.linspace(-8, 8, 5001)
    docs = [
        {"prior": {"mean_mm_per_day": 0.3, "sd_mm_per_day": 1e-3}, "target_mm": 0.3 - x * 1e-3, "days_since": 1}
        for x in z
    ]
    pairs = [(out["chance_due"], p) for out, p in zip(ask("regrowth", docs), stats.norm.cdf(z))]
    print("phi", worst(pairs))
    assert worst(pairs) < 1e-9


def test_implausible_readings_are_those_beyond_four_sd():
    docs = [document() for _ in range(3000)]
    asked, near = 0, 0
    for doc, out in zip(docs, ask("regrowth", docs)):
        expected = []
        for i, seen in enumerate(doc["observations"]):
            mean, sd = posterior({**doc, "observations": doc["observations"][:i]})
            mm, s = stretched(seen)
            z = stats.norm(mean * seen["days"], np.hypot(sd * seen["days"], s))
            tail = min(z.cdf(mm), z.sf(mm))
            if abs(abs((mm - z.mean()) / z.std()) - 4) < 1e-9:
                near += 1
                continue
            if tail < stats.norm.sf(4):
                expected.append(i)
        asked += len(expected)
        assert out["questioned"] == expected
    print("questioned", asked)
    assert asked > 300 and near == 0


def test_published_growth_gives_the_published_months():
    """published.md section 2: growth in 8 weeks 14.3 / 15.7 / 20.6 / 22.2 / 23.0 mm, and days to half an inch."""
    means = {256: (14.3, 50), 280: (15.7, 45), 367: (20.6, 35), 396: (22.2, 32), 411: (23.0, 31)}
    for um, (eight_weeks, half_inch) in means.items():
        out = ask(
            "regrowth",
            {"prior": {"mean_mm_per_day": um / 1000, "sd_mm_per_day": 0.05}, "target_mm": 12.7, "days_since": 56},
        )
        assert round(out["now"]["mean_mm"], 1) == eight_weeks
        assert round(out["due_in_days"]["middle"]) == half_inch


def test_shipped_growth_rows_are_the_published_ones():
    import pathlib
    import tomllib

    table = tomllib.loads((pathlib.Path(__file__).parents[2] / "shared/tables/growth.toml").read_text())
    rows = {(row["um_per_day"], row["sd_um_per_day"]) for row in table["mean"]}
    assert rows == {(256, 44), (396, 55), (280, 50), (367, 56), (411, 53)}
