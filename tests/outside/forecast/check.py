"""Are the forecast's formulas right, by scipy and by solving the queue itself?

Erlang's formula C by way of the Poisson distribution; the waits of two classes by solving the balance equations of the
queue's states, which knows nothing of Cobham's formula; waits of five classes by that formula on scipy's Erlang C;
Student's t by scipy; the random numbers by the algorithm's definition. Prints a table; ends with 1 on the first figure
out of its limits.

    cargo build --example forecast_numbers
    VENV/bin/python tests/outside/forecast/check.py            # check
    VENV/bin/python tests/outside/forecast/check.py --write    # and renew tests/truth/forecast.json
"""
import json
import os
import pathlib
import subprocess
import sys

import numpy as np
from scipy import sparse, stats
from scipy.sparse.linalg import spsolve

ROOT = pathlib.Path(__file__).resolve().parents[3]
TARGET = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
BINARIES = pathlib.Path(os.environ.get("CLOSEWATCH_BIN_DIR", TARGET / "debug" / "examples"))
TRUTH = ROOT / "tests" / "truth" / "forecast.json"

ERLANG = [(0.05, 1), (0.66666667, 1), (0.999, 1), (1.5, 2), (1.99, 2), (2.5, 5), (7.5, 8), (20.0, 24), (45.0, 50)]
FIVE = [
    ([0.2, 0.6, 1.2, 2.0, 0.0], 10.0, 1),
    ([0.5, 1.0, 2.5, 3.5, 0.0], 12.0, 2),
    ([0.05, 0.1, 0.4, 1.0, 2.0], 8.0, 1),
    ([0.1, 0.3, 2.0, 4.0, 9.0], 7.0, 3),
    ([1.0, 0.0, 0.0, 0.0, 0.0], 5.0, 1),
]
TWO = [([0.6, 1.4], 15.0, 1), ([1.0, 3.0], 12.0, 2), ([2.0, 1.5], 24.0, 3)]


def erlang_c(offered, reviewers):
    """Poisson tail form: P(N = c) / (P(N = c) + (1 - load) P(N < c)) for N Poisson with the offered work as mean."""
    load = offered / reviewers
    full = stats.poisson.pmf(reviewers, offered)
    return float(full / (full + (1 - load) * stats.poisson.cdf(reviewers - 1, offered)))


def cobham(per_hour, minutes, reviewers):
    done = 60 * reviewers / minutes
    until_free = 60 * erlang_c(sum(per_hour) * minutes / 60, reviewers) / done
    above = np.concatenate(([0], np.cumsum(per_hour))) / done
    by_class = until_free / ((1 - above[:-1]) * (1 - above[1:]))
    return {"by_class": [float(wait) for wait in by_class], "first_come": float(until_free / (1 - above[-1]))}


def solved(per_hour, minutes, reviewers, most=(60, 140)):
    """Mean waits of two classes from the stationary distribution of (busy) or (all busy, waiting one, waiting two)."""
    (one, two), each = per_hour, 60 / minutes
    wide, deep = most[0] + 1, most[1] + 1
    size = reviewers + wide * deep

    def place(first, second):
        return reviewers + first * deep + second

    moves = []
    for busy in range(reviewers):
        moves.append((busy, busy + 1 if busy + 1 < reviewers else place(0, 0), one + two))
        if busy:
            moves.append((busy, busy - 1, busy * each))
    for first in range(wide):
        for second in range(deep):
            here = place(first, second)
            if first + 1 < wide:
                moves.append((here, place(first + 1, second), one))
            if second + 1 < deep:
                moves.append((here, place(first, second + 1), two))
            if first:
                done = place(first - 1, second)
            elif second:
                done = place(first, second - 1)
            else:
                done = reviewers - 1
            moves.append((here, done, reviewers * each))
    start, end, rate = (np.array(column) for column in zip(*moves))
    balance = sparse.coo_matrix((rate, (end, start)), shape=(size, size)).tolil()
    balance.setdiag(-np.bincount(start, weights=rate, minlength=size))
    balance[0, :] = 1
    right = np.zeros(size)
    right[0] = 1
    share = spsolve(balance.tocsc(), right)
    waiting = share[reviewers:].reshape(wide, deep)
    counts = (waiting.sum(axis=1) @ np.arange(wide), waiting.sum(axis=0) @ np.arange(deep))
    return [float(60 * count / rate) for count, rate in zip(counts, per_hour)]


def xoshiro256_plus_plus(seed, count):
    """From the definitions of xoshiro256++ and SplitMix64 by D. Blackman and S. Vigna."""
    mask = 2**64 - 1
    state = []
    for _ in range(4):
        seed = (seed + 0x9E3779B97F4A7C15) & mask
        mixed = ((seed ^ (seed >> 30)) * 0xBF58476D1CE4E5B9) & mask
        mixed = ((mixed ^ (mixed >> 27)) * 0x94D049BB133111EB) & mask
        state.append(mixed ^ (mixed >> 31))

    def turned(value, by):
        return ((value << by) | (value >> (64 - by))) & mask

    numbers = []
    for _ in range(count):
        numbers.append((turned((state[0] + state[3]) & mask, 23) + state[0]) & mask)
        shifted = (state[1] << 17) & mask
        state[2] ^= state[0]
        state[3] ^= state[1]
        state[1] ^= state[2]
        state[0] ^= state[3]
        state[2] ^= shifted
        state[3] = turned(state[3], 45)
    return numbers


def expected():
    waits = [{"per_hour": rates, "minutes": minutes, "reviewers": count} for rates, minutes, count in FIVE]
    states = [{"per_hour": rates + [0.0] * 3, "minutes": minutes, "reviewers": count} for rates, minutes, count in TWO]
    return {
        "made_by": "tests/outside/forecast/check.py --write",
        "erlang_c": [{"offered": a, "reviewers": c, "share": erlang_c(a, c)} for a, c in ERLANG],
        "waits": [case | cobham(case["per_hour"], case["minutes"], case["reviewers"]) for case in waits],
        "states": [
            case | {"by_class": solved(rates, minutes, count)} for case, (rates, minutes, count) in zip(states, TWO)
        ],
        "t_975": [float(stats.t.ppf(0.975, degrees)) for degrees in range(1, 31)],
        "xoshiro256_plus_plus": {"seed": 1, "first": [str(number) for number in xoshiro256_plus_plus(1, 5)]},
    }


def ours(truth):
    asked = {
        "erlang_c": truth["erlang_c"],
        "waits": truth["waits"] + truth["states"],
        "t_975": list(range(2, 32)),
    }
    done = subprocess.run(
        [BINARIES / "forecast_numbers"], input=json.dumps(asked), capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout)


def near(what, mine, theirs, limit):
    off = abs(mine - theirs) / max(abs(theirs), 1e-12)
    print(f"{what:44} {mine:14.8f} {theirs:14.8f}  off by {off:.1e}")
    return off <= limit


def main():
    truth = expected()
    mine = ours(truth)
    fine = True
    for case, share in zip(truth["erlang_c"], mine["erlang_c"]):
        fine &= near(f"Erlang C, {case['offered']:g} on {case['reviewers']}", share, case["share"], 1e-9)
    for case, waits in zip(truth["waits"] + truth["states"], mine["waits"]):
        # The states are cut off at long queues.
        limit = 1e-9 if "first_come" in case else 1e-5
        for place, wait in enumerate(case["by_class"]):
            what = f"wait of class {place + 1}, {case['minutes']:g} min, {case['reviewers']} at work"
            fine &= near(what, waits["by_class"][place], wait, limit)
        if "first_come" in case:
            fine &= near("  first come", waits["first_come"], case["first_come"], 1e-9)
            fine &= near("  weighted mean", waits["weighted_mean"], case["first_come"], 1e-9)
    for degrees, (factor, theirs) in enumerate(zip(mine["t_975"], truth["t_975"]), start=1):
        fine &= near(f"Student's t, {degrees} degrees of freedom", factor, theirs, 3e-7)
    if "--write" in sys.argv:
        TRUTH.write_text(json.dumps(truth, indent=1) + "\n")
    sys.exit(0 if fine else 1)


main()
