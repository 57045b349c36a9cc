"""The schemas of `calc` against a JSON Schema validator (PyPI jsonschema, draft 2020-12), both ways: what it accepts is
answered and its answer is described, what is bad is refused by the schema and by the program."""

import copy
import json
import pathlib
import subprocess

import pytest
from binary import BINARY, ask, refused
from jsonschema import Draft202012Validator

FOLDER = pathlib.Path(__file__).parents[2] / "shared" / "schemas"
AREAS = ["regrowth", "strand", "limits", "rods", "exposure", "openings", "amounts"]


def told(area, flag):
    done = subprocess.run([BINARY, "calc", area, flag], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def schemas(area):
    """Validators of the input and of the answers."""
    schema = json.loads((FOLDER / f"{area}.json").read_text())
    Draft202012Validator.check_schema(schema)
    answers = {"$schema": schema["$schema"], "$ref": "#/$defs/Answers", "$defs": schema["$defs"]}
    return Draft202012Validator(schema), Draft202012Validator(answers)


def test_every_area_has_a_schema():
    assert sorted(path.stem for path in FOLDER.glob("*.json")) == sorted(AREAS)


@pytest.mark.parametrize("area", AREAS)
def test_schema_example_and_answer_agree(area):
    question, answers = schemas(area)
    assert told(area, "--schema") == (FOLDER / f"{area}.json").read_text()
    example = json.loads(told(area, "--example"))
    assert question.schema["examples"] == [example]
    for document in (example, [example, example], []):
        question.validate(document)
        answers.validate(ask(area, document))
    # An answer with a field less or of another kind is not described.
    answer = ask(area, example)
    for name in answer:
        less = {key: value for key, value in answer.items() if key != name}
        assert not answers.is_valid(less), f"{area}: {name} may be absent"
        assert not answers.is_valid(answer | {name: {"x": 1}}), f"{area}: {name} may be anything"


def places(value, here=()):
    """The way to every value below the root."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in inside:
        yield (*here, key)
        yield from places(inner, (*here, key))


def changed(document, way, value):
    document = copy.deepcopy(document)
    parent = document
    for key in way[:-1]:
        parent = parent[key]
    parent[way[-1]] = value
    return document


@pytest.mark.parametrize("area", AREAS)
def test_what_the_schema_refuses_the_program_refuses_at_that_place(area):
    question, _ = schemas(area)
    example = json.loads(told(area, "--example"))
    cases = 0
    for way in places(example):
        for value in ({"zest": 1}, "zest", True, -1, [[]]):
            bad = changed(example, way, value)
            if question.is_valid(bad):
                continue
            at = "/" + "/".join(map(str, way))
            assert refused(area, bad).startswith(at), f"{area} {at} {value}"
            cases += 1
    assert cases >= 10
    assert not question.is_valid(example | {"zest": None})
    assert refused(area, example | {"zest": None}) == "/zest"


@pytest.mark.parametrize(
    "area, way, value",
    [
        ("regrowth", ["observations", 0, "curl_index"], 1.5),
        ("regrowth", ["observations", 0, "mm"], None),
        ("regrowth", ["target_mm"], 0),
        ("strand", ["events", 0, "did"], "cut"),
        ("strand", ["events", 0, "mm"], 3),
        ("strand", ["events", 0, "on"], "10.1.2025"),
        ("strand", ["plan", 1, "zone"], {"ends_from_mm": 1, "to_mm": 2}),
        ("strand", ["plan", 0, "strength"], "super"),
        ("limits", ["contents", 0, "ingredient"], "soap"),
        ("rods", ["wanted"], "Z"),
        ("exposure", ["now"], "2025-04-10T10:20:00"),
        ("openings", ["hours", 0, "close"], "24:01"),
        ("openings", ["taken", 0, "place"], "basin"),
        ("openings", ["segments"], []),
        ("openings", ["days"], 1.5),
        ("amounts", ["zone_mm"], "25"),
    ],
)
def test_bad_documents_are_refused_by_both(area, way, value):
    question, _ = schemas(area)
    bad = changed(json.loads(told(area, "--example")), way, value)
    assert not question.is_valid(bad)
    refused(area, bad)


def test_too_many_items_are_refused_by_both():
    question, _ = schemas("amounts")
    many = [json.loads(told("amounts", "--example"))] * 10_001
    assert not question.is_valid(many)
    assert refused("amounts", many) == "/10000"
    question.validate(many[:-1])
