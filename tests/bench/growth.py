"""Criterion's figures as a table: the median time of each size, and what ten times the size cost.

Usage: tests/bench/growth.py [TARGET]   (after `cargo bench`; TARGET is cargo's target folder)
"""

import json
import pathlib
import sys


def said(nanos):
    for unit, size in (("s", 1e9), ("ms", 1e6), ("us", 1e3)):
        if nanos >= size:
            return f"{nanos / size:.3g} {unit}"
    return f"{nanos:.3g} ns"


def main():
    target = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else "target") / "criterion"
    groups = {}
    for path in target.glob("*/*/new/estimates.json"):
        told = json.loads((path.parent / "benchmark.json").read_text())
        median = json.loads(path.read_text())["median"]["point_estimate"]
        groups.setdefault(told["group_id"], []).append((told.get("value_str") or told["function_id"], median))
    print(f"{'group':26} {'size':>34} {'median':>10}  growth")
    for group, sizes in sorted(groups.items()):
        tenfold = all(size.isdigit() for size, _ in sizes)
        sizes.sort(key=lambda one: int(one[0]) if tenfold else one[1])
        before = None
        for size, median in sizes:
            growth = f"x {median / before:.1f}" if before and tenfold else ""
            print(f"{group:26} {size:>34} {said(median):>10}  {growth}")
            before = median


if __name__ == "__main__":
    main()
