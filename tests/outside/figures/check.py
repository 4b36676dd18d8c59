#!/usr/bin/env python3
"""Shares with their intervals, and quantiles, as scipy and numpy give them.

`cargo test` compares the program with tests/truth/wilson.json and quantiles.json without Python; this compares those two
files with scipy and numpy. By hand: `python tests/outside/figures/check.py --write` renews them.
"""
import json
import pathlib
import sys

import numpy
import scipy
from scipy import stats

TRUTH = pathlib.Path(__file__).resolve().parents[2] / "truth"
RECIPE = "python tests/outside/figures/check.py --write"

# What the figures page is explained with, every small table in full, and some larger ones.
SHARES = [(2, 60), (3, 120), (9, 240), (18, 60), (0, 72), (0, 73), (2, 40), (52, 200)]
SHARES += [(hits, cases) for cases in range(1, 9) for hits in range(cases + 1)]
SHARES += [(hits, cases) for cases in (10, 99, 1_000, 200_000) for hits in (0, 1, cases // 3, cases - 1, cases)]
LIMITS = [0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.001]
PARTS = [0, 0.1, 0.25, 0.5, 0.9, 0.95, 1]
VALUES = [[7], [3, 1], [1, 2, 4], [55, 80, 300, 400, 900, 95, 130, 60, 200, 70, 4], [0.5, 0.5, 0.5, 1440, 2880.25]]


def wilson(hits, cases):
    found = stats.binomtest(hits, cases).proportion_ci(confidence_level=0.95, method="wilson")
    return {"hits": hits, "cases": cases, "low": float(found.low), "high": float(found.high)}


def fewest(limit):
    cases = 1
    while wilson(0, cases)["high"] > limit:
        cases += 1
    return {"limit": limit, "cases": cases}


def quantile(values, part):
    return {"values": values, "part": part, "quantile": float(numpy.quantile(values, part, method="linear"))}


def seen():
    return {
        "wilson.json": {
            "recipe": RECIPE,
            "with": {"scipy": scipy.__version__},
            "z_95": float(stats.norm.ppf(0.975)),
            "intervals": [wilson(*share) for share in SHARES],
            "fewest_without_a_hit": [fewest(limit) for limit in LIMITS],
        },
        "quantiles.json": {
            "recipe": RECIPE,
            "with": {"numpy": numpy.__version__},
            "quantiles": [quantile(values, part) for values in VALUES for part in PARTS],
        },
    }


def numbers(found):
    """Every number of a record, in order."""
    if isinstance(found, dict):
        found = [value for key, value in found.items() if key not in ("recipe", "with")]
    if isinstance(found, list):
        return [number for one in found for number in numbers(one)]
    return [float(found)]


def lines(found):
    """A record as JSON, one row of a list to a line."""
    text = []
    for key, value in found.items():
        if isinstance(value, list):
            rows = ",\n".join(f"  {json.dumps(row)}" for row in value)
            text.append(f' "{key}": [\n{rows}\n ]')
        else:
            text.append(f' "{key}": {json.dumps(value)}')
    return "{\n" + ",\n".join(text) + "\n}\n"


def main():
    failed = False
    for name, found in seen().items():
        if "--write" in sys.argv:
            (TRUTH / name).write_text(lines(found))
        kept = numbers(json.loads((TRUTH / name).read_text()))
        now = numbers(found)
        apart = max((abs(a - b) for a, b in zip(kept, now)), default=1.0)
        is_same = len(kept) == len(now) and apart < 1e-12
        failed |= not is_same
        print(f"{name}: {len(now)} numbers, furthest apart {apart:.1e}", "ok" if is_same else "WRONG")
    # The two multipliers in use, side by side: tables print 1.96.
    exact = stats.norm.ppf(0.975)
    for hits, cases in SHARES[:6]:
        share, limits = hits / cases, []
        for z in (exact, 1.96):
            shrunk = 1 + z * z / cases
            centre = (share + z * z / (2 * cases)) / shrunk
            half = z * (share * (1 - share) / cases + z * z / (4 * cases * cases)) ** 0.5 / shrunk
            limits.append((100 * (centre - half), 100 * (centre + half)))
        print(f"{hits} of {cases}: z {exact:.6f} gives {limits[0][0]:.4f} to {limits[0][1]:.4f} %,"
              f" z 1.96 gives {limits[1][0]:.4f} to {limits[1][1]:.4f} %")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
