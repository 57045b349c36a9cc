"""Rods and amounts against handbook teaching and plain arithmetic.

Outside sources: handbook teaching, "hair should wrap at least 2½ times for the desired curl" (course
copies; the C at 1½ is from memory); the formulas worked again with exact decimals.
"""

import json
import math
import os
import random
import subprocess
from decimal import ROUND_CEILING, Decimal, getcontext

import pytest

getcontext().prec = 40
PI = Decimal("3.14159265358979323846264338327950288419716939937510")
LEAST_TURNS = {"S": Decimal("2.5"), "C": Decimal("1.5")}


def ask(area, documents):
    binary = os.environ.get("RINSEBELL_BIN", "rinsebell")
    done = subprocess.run(
        [binary, "calc", area], input=json.dumps(documents), capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def wound(section_mm, rod_mm):
    """Turns by winding: pass whole quarter turns round the rod until the hair is used up."""
    quarter = PI * Decimal(rod_mm) / 4
    quarters, left = 0, Decimal(section_mm)
    while left >= quarter:
        left -= quarter
        quarters += 1
    return Decimal(quarters) / 4


@pytest.mark.parametrize("wanted", ["S", "C"])
def test_the_rod_proposed_winds_often_enough_and_the_next_thicker_does_not(wanted):
    sections = [5, 20, 60, 85.5, 120, 150, 200.25, 310, 500]
    answers = ask(
        "rods",
        [{"section_mm": s, "wanted": wanted, "rod_mm": None, "rod_length_mm": 80, "scalp_cm2": 600} for s in sections],
    )
    for section, answer in zip(sections, answers, strict=True):
        assert wound(section, answer["rod_mm"]) >= LEAST_TURNS[wanted]
        assert wound(section, answer["rod_mm"] + 0.5) < LEAST_TURNS[wanted]
        assert answer["forms"] in ("S", wanted)


def test_at_least_two_and_a_half_turns_is_an_s_and_less_is_not():
    rng = random.Random(5)
    asked = [
        {"section_mm": rng.randint(20, 400), "wanted": "S", "rod_mm": rng.randint(4, 90) / 2, "rod_length_mm": 80, "scalp_cm2": 600}
        for _ in range(300)
    ]
    seen = set()
    for document, answer in zip(asked, ask("rods", asked), strict=True):
        turns = Decimal(document["section_mm"]) / (PI * Decimal(document["rod_mm"]))
        forms = "S" if turns >= LEAST_TURNS["S"] else "C" if turns >= LEAST_TURNS["C"] else "less than C"
        assert answer["forms"] == forms
        assert answer["turns"] == pytest.approx(float(turns), rel=1e-12)
        largest = Decimal(document["section_mm"]) / (LEAST_TURNS["S"] * PI)
        assert answer["largest_rod_for_s_mm"] == pytest.approx(float(largest), rel=1e-12)
        rods = (Decimal(600) * 100 / (80 * Decimal(document["rod_mm"]))).to_integral_value(ROUND_CEILING)
        assert answer["rods"] == int(rods)
        assert answer["end_papers"] == 2 * int(rods)
        seen.add(forms)
    assert seen == {"S", "C", "less than C"}


def test_the_grams_of_hair_are_those_of_so_many_cylinders():
    rng = random.Random(6)
    asked = [
        {
            "hairs_per_cm2": rng.randint(90, 320), "scalp_cm2": rng.randint(0, 800), "diameter_um": rng.randint(40, 110),
            "zone_mm": rng.randint(1, 500), "product_to_hair": rng.randint(1, 60) / 10,
        }
        for _ in range(200)
    ]
    for document, answer in zip(asked, ask("amounts", asked), strict=True):
        # One hair in millimetres: a cylinder; 1.32 g/cm³ is 0.00132 g/mm³.
        one = math.pi * (document["diameter_um"] / 2000) ** 2 * document["zone_mm"] * 0.00132
        hair = one * document["hairs_per_cm2"] * document["scalp_cm2"]
        assert answer["hair_grams"] == pytest.approx(hair, rel=1e-12)
        product = hair * document["product_to_hair"]
        assert answer["product_grams"] == pytest.approx(product, rel=1e-12)
        assert answer["low_grams"] == pytest.approx(product * 0.7, rel=1e-12)
        assert answer["high_grams"] == pytest.approx(product * 1.3, rel=1e-12)


def test_a_retouch_takes_less_product_than_a_whole_head_of_the_same_hair():
    base = {"hairs_per_cm2": 190, "scalp_cm2": 600, "diameter_um": 70, "product_to_hair": 3.0}
    retouch, whole = ask("amounts", [{**base, "zone_mm": 25}, {**base, "zone_mm": 250}])
    assert whole["product_grams"] == pytest.approx(10 * retouch["product_grams"])
