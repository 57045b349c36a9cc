"""What a scanner types, read by a general barcode library, and the cases the program's own test reads.

Outside source: PyPI biip 5.2.0 (GS1 element strings, GTINs). `gs1_cases.json` holds random element strings made by the
rules of the standard, some then broken; `tests/it/gs1.rs` asks the program for the same answers. Here the library is
asked, so that both sides stand against one file. `python test_gs1.py` writes the file anew.
"""

import json
import pathlib
import random
import string

import biip

CASES = pathlib.Path(__file__).with_name("gs1_cases.json")
GS = "\x1d"


def check_digit(digits):
    total = sum(int(d) * (3 if i % 2 == 0 else 1) for i, d in enumerate(reversed(digits)))
    return str(-total % 10)


def answer(raw):
    """What the library reads; None when it refuses."""
    try:
        message = biip.parse(raw).gs1_message
    except biip.ParseError:
        return None
    if message is None:
        return None
    found = {}
    for element in message.element_strings:
        ai = element.ai.ai
        if element.gtin_error:
            return None
        if ai == "01":
            found["gtin"] = element.gtin.as_gtin_14()
        elif ai in ("11", "15", "17"):
            found[{"11": "made_on", "15": "best_before", "17": "use_by"}[ai]] = str(element.date)
        elif ai in ("10", "21"):
            found[{"10": "lot", "21": "serial"}[ai]] = element.value
        elif ai in ("30", "37"):
            found["count"] = int(element.value)
        elif ai.startswith("310"):
            found["net_grams"] = float(element.decimal * 1000)
    return found


def make(rng):
    """One element string by the rules; sometimes with one character wrong."""
    front = "".join(rng.choices(string.digits, k=13))
    text = string.ascii_letters + string.digits + "!\"%&'*+,-./:;<=>?_"
    variable = {
        "10": "".join(rng.choices(text, k=rng.randint(1, 20))),
        "21": "".join(rng.choices(text, k=rng.randint(1, 20))),
        "30": "".join(rng.choices("123456789", k=rng.randint(1, 8))),
    }
    day = lambda: f"{rng.randint(0, 70):02}{rng.randint(1, 12):02}{rng.choice([0, rng.randint(1, 28)]):02}"
    fixed = {"11": day(), "15": day(), "17": day(), f"310{rng.randint(0, 5)}": f"{rng.randint(1, 999999):06}", "20": "01"}
    parts = [("01", front + check_digit(front))]
    parts += rng.sample(sorted(fixed.items()), rng.randint(0, 3)) + rng.sample(sorted(variable.items()), rng.randint(0, 3))
    rng.shuffle(parts)
    raw = rng.choice(["]C1", "]d2", "]Q3", "]e0"])
    for i, (ai, data) in enumerate(parts):
        raw += ai + data + (GS if ai in variable and i + 1 < len(parts) else "")
    if rng.random() < 0.25:
        at = raw.index(front) + rng.randrange(14)
        raw = raw[:at] + rng.choice([d for d in string.digits if d != raw[at]]) + raw[at + 1 :]
    return raw


def write():
    rng = random.Random(28)
    cases = [{"raw": raw, "answer": answer(raw)} for raw in (make(rng) for _ in range(600))]
    CASES.write_text(json.dumps(cases, ensure_ascii=True, indent=0) + "\n")


def test_the_cases_are_what_the_library_reads():
    cases = json.loads(CASES.read_text())
    assert len(cases) == 600
    refused = 0
    for case in cases:
        assert answer(case["raw"]) == case["answer"], case["raw"]
        refused += case["answer"] is None
    assert 100 < refused < 250, refused


if __name__ == "__main__":
    write()
