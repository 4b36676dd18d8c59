#!/usr/bin/env python3
"""Lines through measured wounds, and their intervals, as scipy draws them.

`cargo test` compares the program with tests/truth/course.json without Python; this compares that file with scipy's
`siegelslopes` (the line) and `theilslopes` (the interval of its slope). By hand:
`python tests/outside/course/check.py --write` renews it.
"""
import json
import pathlib
import sys

import numpy
import scipy
from scipy import stats

TRUTH = pathlib.Path(__file__).resolve().parents[2] / "truth" / "course.json"
RECIPE = "python tests/outside/course/check.py --write"

# Days and areas (cm2) of the demo's wounds; the line is drawn through the side of a square of that area, mm.
WOUNDS = [
    ([3, 6, 12, 20], [9.5, 8.2, 5.4, 2.6]),
    ([7, 14, 21, 28], [14, 13.2, 13.5, 13.0]),
    ([2, 9], [5, 3.6]),
    ([4, 7, 11], [7.0, 6.6, 6.9]),
]
# Ties in x and in y, a bad point in each place, and longer series with noise (fixed seed).
OTHERS = [
    ([1, 1, 2, 3, 3], [5.0, 4.0, 3.0, 3.0, 1.0]),
    ([0, 1, 2, 3, 4, 5], [2.0, 2.0, 2.0, 1.0, 1.0, 0.0]),
    ([1, 2, 3, 4], [900.0, 8.0, 6.0, 4.0]),
    ([1, 2, 3, 4], [10.0, 8.0, 6.0, 400.0]),
]


def series():
    found = [(days, [(100 * cm2) ** 0.5 for cm2 in areas]) for days, areas in WOUNDS] + OTHERS
    chance = numpy.random.default_rng(1968)
    for count in (5, 8, 12, 20, 40):
        days = numpy.sort(chance.uniform(0, 60, count))
        noisy = 30 - 0.4 * days + chance.standard_t(2, count)
        found.append((days.tolist(), noisy.tolist()))
    return found


def fitted(x, y):
    line = stats.siegelslopes(y, x, method="hierarchical")
    interval = stats.theilslopes(y, x, alpha=0.95)
    return {
        "x": x,
        "y": y,
        "slope": float(line.slope),
        "at_zero": float(line.intercept),
        "low": float(interval.low_slope),
        "high": float(interval.high_slope),
    }


def numbers(line):
    return [*line["x"], *line["y"], line["slope"], line["at_zero"], line["low"], line["high"]]


def main():
    now = [fitted(x, y) for x, y in series()]
    if "--write" in sys.argv:
        rows = ",\n".join(f"  {json.dumps(row)}" for row in now)
        with_ = json.dumps({"scipy": scipy.__version__, "numpy": numpy.__version__})
        TRUTH.write_text(f'{{\n "recipe": "{RECIPE}",\n "with": {with_},\n "lines": [\n{rows}\n ]\n}}\n')
    kept = json.loads(TRUTH.read_text())["lines"]
    failed = len(kept) != len(now)
    print(f"{'points':>6} {'slope':>9} {'interval':>21} {'apart':>9}")
    for then, line in zip(kept, now):
        apart = max(abs(a - b) for a, b in zip(numbers(then), numbers(line)))
        failed |= len(numbers(then)) != len(numbers(line)) or apart > 1e-9
        print(f"{len(line['x']):6} {line['slope']:9.4f} {line['low']:10.4f} {line['high']:10.4f} {apart:9.1e}")
    print("WRONG" if failed else "ok")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
