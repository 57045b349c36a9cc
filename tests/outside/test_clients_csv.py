"""The copy of all clients against another reader of RFC 4180: Python's own csv module reads every cell back as it stands in
the database, and no cell begins with a sign a spreadsheet would reckon (OWASP, "CSV Injection")."""

import csv
import io
import os
import pathlib
import re
import selectors
import shutil
import subprocess
import tempfile
import urllib.parse
import urllib.request

import pytest

from binary import BINARY

LIMIT_S = 90
NAMES = ['=HYPERLINK("x")', "+1", "-2", "@cmd", 'Zoë "Z", Ñuñez; of, many', "'already", "  =1", "ندى الحسن"]


@pytest.fixture(scope="module")
def salon():
    root = pathlib.Path(tempfile.mkdtemp(prefix="rb-", dir="/tmp"))
    root.chmod(0o755)
    data = root / "data"
    process = subprocess.Popen(
        [os.path.abspath(BINARY), "serve", "--listen", "127.0.0.1:0", "--data", str(data)],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, cwd="/",
        env={"PATH": os.environ.get("PATH", "/usr/bin:/bin")},
    )
    waiting = selectors.DefaultSelector()
    waiting.register(process.stdout, selectors.EVENT_READ)
    assert waiting.select(LIMIT_S), "no line in time"
    line = process.stdout.readline().decode()
    origin = next(word for word in line.split() if word.startswith("http")).rstrip("/.,")
    yield origin, data
    process.terminate()
    process.wait(LIMIT_S)
    shutil.rmtree(root, ignore_errors=True)


def sql(data, text):
    secret = (data / "secrets" / "rinsebell_owner").read_text().strip()
    done = subprocess.run(
        ["psql", "-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", "-h", str(data / "sock"), "-U", "rinsebell_owner", "-d", "rinsebell", "-c", text],
        env={**os.environ, "PGPASSWORD": secret}, capture_output=True, text=True, timeout=LIMIT_S, check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def manager(origin, data):
    """A browser at a station of the demo with its manager signed in."""
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    browser.addheaders = [("sec-fetch-site", "same-origin")]

    def ask(path, fields=None):
        sent = urllib.parse.urlencode(fields).encode() if fields else None
        return browser.open(origin + path, sent, timeout=LIMIT_S).read().decode()

    page = ask("/")
    station = re.search(r'name="station" value="([^"]+)"', page).group(1)
    page = ask("/demo/station", {"station": station})
    who, name = sql(data, "select person_id || '|' || name from person where role = 'manager' order by person_id limit 1").split("|")
    if "Demo PINs" not in page:
        page = ask("/")
    pin = re.search(re.escape(name) + r".*?(\d{4,8})", page, re.S).group(1)
    ask("/sign-in", {"person": who, "pin": pin, "next": "/clients"})
    return ask


def test_python_reads_the_copy_back(salon):
    origin, data = salon
    for name in NAMES:
        sql(data, f"insert into client (salon_id, name, phone) select salon_id, $${name}$$, '+44 1632 960999' from salon")
    text = manager(origin, data)("/clients.csv")
    rows = list(csv.DictReader(io.StringIO(text, newline=""), strict=True))
    there = sql(data, "select count(*) from client").splitlines()[0]
    assert len(rows) == int(there) and all(None not in r and None not in r.values() for r in rows)
    assert not [c for r in rows for c in r.values() if c.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r"))]
    copied = {r["name"] for r in rows}
    for name in NAMES:
        kept = name if name in copied else f"'{name}"
        assert kept in copied, name
        assert (kept == name) == (name.lstrip(" ")[0] not in "=+-@"), name
