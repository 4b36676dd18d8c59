#!/usr/bin/env python3
"""The protocol's conditions on known facts, as cel-python reads the Common Expression Language.

`cargo test` keeps conditions, patients and what came out in tests/truth/cel.json; this asks cel-python the same.
"""
import json
import pathlib
import sys

import celpy

TRUTH = pathlib.Path(__file__).resolve().parents[2] / "truth" / "cel.json"


def known(_):
    return celpy.celtypes.BoolType(True)


def sure(holds):
    return holds


def main():
    kept = json.loads(TRUTH.read_text())
    environment = celpy.Environment()
    functions = {"known": known, "sure": sure}
    programs = [
        environment.program(environment.compile(text), functions=functions) for text in kept["conditions"]
    ]
    asked = wrong = held = 0
    for patient, holds in zip(kept["patients"], kept["holds"], strict=True):
        activation = celpy.json_to_cel(patient)
        for text, program, ours in zip(kept["conditions"], programs, holds, strict=True):
            theirs = bool(program.evaluate(activation))
            asked += 1
            held += ours
            if theirs != ours:
                wrong += 1
                print(f"  {text}: {ours} here, {theirs} there")
    print(f"conditions: {len(programs)}, asked {asked} times, held {held} times, different {wrong}")
    return 1 if wrong or not 0 < held < asked else 0


if __name__ == "__main__":
    sys.exit(main())
