"""The strand, written again from the design's text in another way.

Hair is a rigid ruler in *material* places (exact rationals): the tip starts at `length`, the scalp at 0 and moves
towards minus as hair grows, so nothing that was put on ever moves. A measurement moves the scalp, a trim the tip.
Histories are looked up at places, never kept in pieces. The plan is judged cell by cell.
"""

import math
from datetime import date, timedelta
from fractions import Fraction as F

THIO = {"thio", "thio-ester", "sulfite", "cysteine"}
HYDROXIDE = {"sodium-hydroxide", "potassium-hydroxide", "lithium-hydroxide", "guanidine-hydroxide"}
NEUTRALISER = {"peroxide-neutraliser", "bromate-neutraliser"}
RANK = {"clear": 0, "test-first": 1, "wait": 2, "refuse": 3}

# trade-rules.md, "What may meet what": r refuse, t test first, c clear, number = days to wait before it.
COLUMNS = "thio hydroxide oxidative-colour direct-dye lightener metallic-salt plant-colour aldehyde-smoothing unknown".split()
ROWS = {
    "straighten": "r    r    7t  c  r  r  t  t  r",
    "wave":       "c    r    7t  c  t  r  t  t  t",
    "ester":      "c    r    t   c  t  r  t  t  t",
    "hydroxide":  "r    r    14t t  r  r  r  t  r",
    "colour":     "7c   14c  c   c  c  r  t  c  t",
    "lightener":  "14t  r    t   c  t  r  r  t  r",
    "neutralise": "c    r    c   c  c  r  c  c  t",
    "direct":     "c    c    c   c  c  r  c  c  t",
}
WORD = {"r": "refuse", "t": "test-first", "c": "clear"}


def group(family):
    if family in THIO:
        return "thio"
    return "hydroxide" if family in HYDROXIDE else family


def row(family, straightens):
    if family == "thio-ester":
        return "ester"
    if family in THIO:
        return "straighten" if straightens else "wave"
    if family in HYDROXIDE:
        return "hydroxide"
    if family in NEUTRALISER:
        return "neutralise"
    return {"oxidative-colour": "colour", "direct-dye": "direct", "lightener": "lightener"}.get(family)


def exact(number):
    return F(str(number))


class Head:
    def __init__(self, doc):
        self.rate = exact(doc["rate_mm_per_day"])
        self.rate_sd = exact(doc.get("rate_sd", 0.05))
        self.scalp, self.tip = F(0), exact(doc["length_mm"])
        self.day = date.fromisoformat(doc["on"])
        self.marks = []  # (near, far, exposure), material places
        self.doubts = {}  # material place of a demarcation -> [days, laid, {measurement: variance}]
        self.pending = F(0)
        self.count = 0

    # -- reading the hair

    def history(self, place):
        return [e for near, far, e in self.marks if near < place < far]

    def pieces(self):
        edges = {self.scalp, self.tip}
        for near, far, _ in self.marks:
            edges |= {p for p in (near, far) if self.scalp < p < self.tip}
        edges = sorted(edges)
        out = []
        for near, far in zip(edges, edges[1:]):
            seen = self.history((near + far) / 2)
            if out and out[-1][2] == seen:
                out[-1] = (out[-1][0], far, seen)
            else:
                out.append((near, far, seen))
        return out

    def settle(self, laid):
        """Forget the doubt of demarcations that are gone, give a new one to those just born."""
        inner = [near for near, _, _ in self.pieces()[1:]]
        self.doubts = {p: self.doubts.get(p, [0, laid, {}]) for p in inner}

    def sd(self, place):
        days, laid, measured = self.doubts[place]
        return math.sqrt((self.rate_sd * days) ** 2 + laid + sum(measured.values()))

    def demarcation(self):
        pieces = self.pieces()
        return pieces[0][1] - self.scalp if len(pieces) > 1 and not pieces[0][2] else F(0)

    # -- what happens to it

    def grow(self, day):
        days = (day - self.day).days
        assert days >= 0
        self.day = day
        if days:
            before = self.scalp
            self.scalp -= self.rate * days
            for doubt in self.doubts.values():
                doubt[0] += days
            born = before < self.tip and before not in self.doubts and self.history_at_edge(before)
            if born:
                self.doubts[before] = [days, self.pending, {}]
            self.pending = F(0)

    def history_at_edge(self, place):
        return any(near <= place < far for near, far, _ in self.marks)

    def zone(self, zone):
        length = self.tip - self.scalp
        if zone == "new-growth":
            near, far = F(0), self.demarcation()
        elif zone == "root-to-end":
            near, far = F(0), length
        elif "ends_from_mm" in zone:
            near, far = exact(zone["ends_from_mm"]), length
        else:
            near, far = exact(zone["from_mm"]), min(exact(zone["to_mm"]), length)
        return (near, far) if near < far else None

    def apply(self, zone, exposure, vague_days=F(0)):
        found = self.zone(zone)
        if not found:
            return
        near, far = found
        vague = (self.rate * vague_days) ** 2
        self.marks.append((self.scalp + near, self.scalp + far, exposure))
        self.settle(9 + vague)
        if near == 0:
            self.pending += vague

    def trim(self, mm):
        assert mm < self.tip - self.scalp
        self.tip -= mm
        self.doubts = {p: d for p, d in self.doubts.items() if p < self.tip}

    def measure(self, mm, sd):
        line = self.demarcation()
        assert line > 0
        edge = self.scalp + line
        self.scalp = edge - mm
        self.count += 1
        days, _, old = self.doubts[edge]
        for place, doubt in self.doubts.items():
            if place == edge:
                doubt[:] = [0, F(0), {self.count: sd * sd}]
            else:
                doubt[0] = max(0, doubt[0] - days)
                doubt[2] = {k: v for k, v in doubt[2].items() if k not in old} | {self.count: sd * sd}


def live(doc):
    head = Head(doc)
    for event in doc["events"]:
        head.grow(date.fromisoformat(event["on"]))
        if event["did"] == "apply":
            exposure = (event["family"], event["on"], event.get("known", "recorded"), event.get("on_sd_days", 0))
            head.apply(event["zone"], exposure, exact(event.get("on_sd_days", 0)))
        elif event["did"] == "trim":
            head.trim(exact(event["mm"]))
        else:
            head.measure(exact(event["new_growth_mm"]), exact(event["sd_mm"]))
    head.grow(date.fromisoformat(doc["as_of"]))
    return head


def judge(use, old, eldest, today, reforming):
    """(rule, verdict, until) for one exposure, or None."""
    if old in NEUTRALISER:
        return None
    if use is None:
        return "unknown-pair", "refuse", None
    cell = dict(zip(COLUMNS, ROWS[use].split()))[old]
    wait, word = int(cell[:-1] or 0), WORD[cell[-1]]
    if (use, old, reforming) == ("wave", "lightener", True):
        word = "refuse"
    if wait and (today - eldest).days < wait:
        return (use, old), "wait", eldest + timedelta(days=wait)
    return ((use, old), word, None) if word != "clear" else None


def late_day(exposure):
    _, on, _, vague = exposure
    return date.fromisoformat(on) + timedelta(days=math.ceil(F("1.96") * exact(vague)))


def check(head, plan):
    """Findings as tuples (application, verdict, from, to, until, trim, sure trim, special rule name)."""
    length, today = head.tip - head.scalp, head.day
    line = head.demarcation()
    stripes = [(near - head.scalp, far - head.scalp, list(seen)) for near, far, seen in head.pieces()]
    sds = {near - head.scalp: head.sd(near) for near, _, _ in head.pieces()[1:]}
    reforming = any(row(p["family"], p.get("straightens", False)) == "straighten" for p in plan)
    found = []
    for index, planned in enumerate(plan):
        family, zone = planned["family"], planned["zone"]
        span = (F(0), line) if zone == "new-growth" and line else head.zone(zone)
        if not span:
            at = 0 if isinstance(zone, str) else min(exact(zone.get("ends_from_mm", zone.get("from_mm"))), length)
            found.append((index, "refuse", at, at, None, None, None, "empty-zone"))
            continue
        use = row(family, planned.get("straightens", False))
        found += judge_cells(stripes, sds, span, isinstance(zone, dict), use, today, reforming, index, length)
        if zone == "new-growth":
            found += beside(stripes, sds, line, family, index, length)
        stripes = put_on(stripes, sds, span, (family, today.isoformat(), "planned", 0))
    return sorted(found, key=lambda f: (-RANK[f[1]], f[0], f[2]))


def judge_cells(stripes, sds, span, numeric, use, today, reforming, index, length):
    reach = []  # (near, far, own near edge less its doubt, what each exposure means)
    for near, far, seen in stripes:
        if not seen:
            continue
        less = max(0.0, near - 1.96 * sds.get(near, 0.0))
        more = min(length, far + 1.96 * sds.get(far, 0.0)) if far < length else length
        lo, hi = (less, more) if numeric else (near, far)
        lo, hi = max(lo, span[0]), min(hi, span[1])
        if lo < hi:
            verdicts = [judge(use, group(e[0]), late_day(e), today, reforming) for e in seen]
            reach.append((lo, hi, less, [v for v in verdicts if v]))
    out = []
    for rule in {v[0] for r in reach for v in r[3]}:
        own = [(lo, hi, less, [v for v in vs if v[0] == rule]) for lo, hi, less, vs in reach]
        own = [o for o in own if o[3]]
        edges = sorted({p for lo, hi, _, _ in own for p in (lo, hi)})
        runs = []
        for a, b in zip(edges, edges[1:]):
            # Whoever covers the middle of a cell covers all of it.
            here = [o for o in own if o[0] < (a + b) / 2 < o[1]]
            if not here:
                continue
            if runs and runs[-1][1] == a:
                runs[-1] = (runs[-1][0], b, runs[-1][2] + here)
            else:
                runs.append((a, b, here))
        for a, b, here in runs:
            verdicts = [v for o in here for v in o[3]]
            worst = max((v[1] for v in verdicts), key=RANK.get)
            until = max((v[2] for v in verdicts if v[2]), default=None)
            sure = next(less for lo, _, less, _ in here if lo == a)
            trims = (length - a if a > 0 else None, length - sure if sure > 0 else None)
            name = rule if rule == "unknown-pair" else None
            out.append((index, worst, a, b, until and until.isoformat(), *trims, name))
    return out


def beside(stripes, sds, line, family, index, length):
    _, far, seen = next(s for s in stripes if s[0] == line)
    met = {e[0] for e in seen}
    if (family in THIO and met & HYDROXIDE) or (family in HYDROXIDE and met & THIO):
        verdict = "refuse"
    elif family in HYDROXIDE and met & (HYDROXIDE - {family}):
        verdict = "test-first"
    else:
        return []
    sure = line - 1.96 * sds[line]
    return [(index, verdict, line, far, None, length - line, length - sure if sure > 0 else None, "beside")]


def put_on(stripes, sds, span, exposure):
    out = []
    for near, far, seen in stripes:
        cuts = sorted({near, far} | {p for p in span if near < p < far})
        for a, b in zip(cuts, cuts[1:]):
            if a not in (near,):
                sds[a] = 3.0
            out.append((a, b, seen + [exposure] if span[0] <= a and b <= span[1] else seen))
    return out
