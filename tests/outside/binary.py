"""Calls `rinsebell calc AREA`. RINSEBELL_BIN names the binary under test."""

import json
import os
import subprocess

BINARY = os.environ.get("RINSEBELL_BIN", "target/debug/rinsebell")


def ask(area, document):
    """The answer to one document, or to a list of them."""
    done = subprocess.run(
        [BINARY, "calc", area], input=json.dumps(document), capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, f"{area}: exit {done.returncode}: {done.stderr}"
    assert done.stderr == ""
    return json.loads(done.stdout)


def refused(area, document):
    """The refusal of a document: where it says the fault lies."""
    text = document if isinstance(document, (str, bytes)) else json.dumps(document)
    data = text if isinstance(text, bytes) else text.encode()
    done = subprocess.run([BINARY, "calc", area], input=data, capture_output=True, timeout=120)
    assert done.returncode == 2, f"{area}: exit {done.returncode}"
    assert done.stdout == b""
    bad = json.loads(done.stderr)
    assert set(bad) == {"error", "at"} and bad["error"]
    return bad["at"]


def worst(pairs):
    """The largest absolute difference of pairs of numbers."""
    return max((abs(a - b) for a, b in pairs), default=0.0)
