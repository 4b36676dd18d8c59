#!/usr/bin/env python3
"""Do the wound's figures agree with other people's geometry, colour science and graph theory?

Outlines that a person traced are given to `closewatch measure --outline`, and its figures are held against shapely and OpenCV on the
same plane; what it finds by itself is laid over the true outline; the committed table's figures are counted again. The committed
numbers of tests/truth, which `cargo test` checks without Python, are held against colour-science (Lab, CIEDE2000) and scipy
(minimum cut, distances).

    cargo build --bins --examples
    VENV/bin/python tests/outside/wound/check.py            # check
    VENV/bin/python tests/outside/wound/check.py --write    # and renew tests/truth/colours.json and tests/truth/grids.json
"""
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import warnings

warnings.simplefilter("ignore")

import colour
import cv2
import numpy as np
from scipy import ndimage, sparse
from scipy.sparse import csgraph
from shapely.geometry import Polygon
from shapely.ops import unary_union

ROOT = pathlib.Path(__file__).resolve().parents[3]
BIN = pathlib.Path(os.environ.get("CLOSEWATCH_BIN_DIR", ROOT / "target" / "debug" / "examples"))
CLOSEWATCH = BIN.parent / "closewatch"
DRAWN = ROOT / "tests" / "phantoms"
TRUTH = ROOT / "tests" / "truth"
RECIPE = "python tests/outside/wound/check.py --write"
# A photo stored each way up, light and dark skin; the last has 12 megapixels.
PICTURES = ["typ-0008", "typ-0013", "typ-0010", "typ-0023", "big-0001"]
# Right, down; a border's price stands for the first four, the others are the same borders seen from the other side.
NEIGHBOURS = [(1, 0), (1, 1), (0, 1), (-1, 1)]

faults = 0


def held(what, off, limit, unit=""):
    global faults
    fine = off <= limit
    faults += not fine
    print(f"  {what:<58} {off:.2e}{unit} (limit {limit:g}{unit}){'' if fine else '  <-- OUT OF ITS LIMIT'}")


# --- the outlines ------------------------------------------------------------------------------------------------

def on_plane(matrix, ring):
    there = np.c_[np.asarray(ring, float), np.ones(len(ring))] @ np.asarray(matrix, float).T
    return there[:, :2] / there[:, 2:]


def figures(rings):
    """Area, perimeter, length and width as shapely and OpenCV see them. `rings`: edge and islands of each piece, mm."""
    pieces = [Polygon(edge, islands) for edge, islands in rings]
    assert all(piece.is_valid for piece in pieces)
    together = unary_union(pieces)
    hull = np.asarray(together.convex_hull.exterior.coords)
    by_opencv = cv2.convexHull(np.vstack([edge for edge, _ in rings]).astype(np.float32)).reshape(-1, 2)
    farthest = []
    for points in (hull, by_opencv):
        apart = np.linalg.norm(points[:, None] - points[None], axis=2)
        one, other = np.unravel_index(apart.argmax(), apart.shape)
        along = (points[other] - points[one]) / apart.max()
        across = points @ np.array([-along[1], along[0]])
        farthest.append((apart.max(), across.max() - across.min()))
    (length, width), (length_cv, width_cv) = farthest
    assert abs(length / length_cv - 1) < 1e-5 and abs(width / width_cv - 1) < 1e-5, "shapely and OpenCV differ"
    sides = np.roll(hull[:-1], -1, axis=0) - hull[:-1]
    normals = np.c_[-sides[:, 1], sides[:, 0]] / np.linalg.norm(sides, axis=1)[:, None]
    narrowest = np.ptp(normals @ hull.T, axis=1).min()
    perimeter = sum(Polygon(edge).length for edge, _ in rings)
    area_cv = sum(cv2.contourArea(edge.astype(np.float32)) - sum(cv2.contourArea(i.astype(np.float32)) for i in islands)
                  for edge, islands in rings)
    assert abs(area_cv / together.area - 1) < 1e-4, "shapely and OpenCV differ"
    return {"area": together.area, "perimeter": perimeter, "length": length, "width": width, "narrowest": narrowest}


def measured(photo, *more):
    told = subprocess.run([CLOSEWATCH, "measure", photo, "--json", *more], check=True, capture_output=True)
    return json.loads(told.stdout)


def truth_of(name):
    return json.loads((DRAWN / f"{name}.json").read_text())


def check_traced(folder):
    print("Outlines traced by hand, through the program, against shapely and OpenCV")
    worst = dict.fromkeys(["area", "perimeter", "length", "width"], 0.0)
    for name in PICTURES:
        truth = truth_of(name)
        # The large picture comes without a trace.
        for ring in filter(None, (truth.get("trace_px"), truth["wound"]["polygon_px"][::4])):
            drawing = folder / "drawing.json"
            drawing.write_text(json.dumps(ring))
            told = measured(DRAWN / f"{name}.jpg", "--outline", drawing)
            assert told["status"] == "ok" and told["family"] == "by_hand", told["reasons"]
            theirs = figures([(on_plane(told["px_to_mm"], ring), [])])
            ours = {"area": told["wound"]["area_mm2"], **{k: told["wound"][f"{k}_mm"] for k in ("perimeter", "length", "width")}}
            for key in worst:
                worst[key] = max(worst[key], abs(ours[key] / theirs[key] - 1))
            # No width is less than the narrowest gap the outline passes through.
            assert theirs["narrowest"] - 1e-3 < ours["width"] <= ours["length"], (name, ours, theirs)
    for key, off in worst.items():
        held(f"{key}, relative", off, 1e-9)


def check_kept_outlines():
    print("tests/truth/outline.json (what the drawing script in the browser is held to) against shapely and OpenCV")
    worst = dict.fromkeys(["area", "perimeter", "length", "width"], 0.0)
    for kept in json.loads((TRUTH / "outline.json").read_text()):
        rings = [(on_plane(kept["matrix"], piece["edge"]), [on_plane(kept["matrix"], i) for i in piece.get("islands", [])])
                 for piece in kept["wound"]]
        theirs = figures(rings)
        for key in worst:
            worst[key] = max(worst[key], abs(kept[key] / theirs[key] - 1))
    for key, off in worst.items():
        held(f"{key}, relative", off, 1e-9)


# --- what it finds by itself -----------------------------------------------------------------------------------

def check_found(folder):
    """Places come back in the displayed picture's pixels, and the committed scorer counts as we do here."""
    print("What the program finds by itself, laid over the truth with shapely")
    folder = folder / "found"
    folder.mkdir()
    for name in PICTURES:
        for ending in ("jpg", "json"):
            shutil.copy(DRAWN / f"{name}.{ending}", folder)
    each = subprocess.run([BIN / "measure_table", folder, "--each"], check=True, capture_output=True, text=True).stdout
    for name in PICTURES:
        truth = truth_of(name)
        told = measured(DRAWN / f"{name}.jpg", "--tap", ",".join(map(str, truth["tap_px"])))
        assert told["image_width"] == truth["width"]
        found = Polygon(told["wound"]["polygon_px"], told["wound"]["islands_px"]).buffer(0)
        true = Polygon(truth["wound"]["polygon_px"])
        share = found.intersection(true).area / found.union(true).area
        held(f"{name}: share of both that only one holds", 1 - share, 0.15)
        corners = np.asarray(told["tag_corners_px"]) - np.asarray(truth["card"]["tag_corners_px"])
        if truth["card"]["state"] == "full":
            held(f"{name}: corners of the marker, rms", float(np.sqrt((corners ** 2).sum(1).mean())), 1.0, " px")
        on_skin = np.linalg.inv(np.array(truth["H_mm_to_px"]))
        scale = abs(Polygon(on_plane(on_skin, truth["wound"]["polygon_px"])).area / truth["wound"]["area_mm2"] - 1)
        assert scale < 1e-3, "the truth file's plane is not that of its outline"
        line = next(line for line in each.splitlines() if line.startswith(f"{name} "))
        counted = {key: float(value) for key, value in re.findall(r"(area|length|width) ([-+][\d.]+) %", line)}
        for key in counted:
            field = "area_mm2" if key == "area" else f"{key}_mm"
            if told["wound"][field] is not None:
                here = 100 * (told["wound"][field] / truth["wound"][field] - 1)
                held(f"{name}: {key} error against the table's, percentage points", abs(here - counted[key]), 0.051)


# --- committed numbers -------------------------------------------------------------------------------------------

class Chance:
    """The same numbers in both languages: the C standard's example generator, its upper 15 bits."""

    def __init__(self, seed):
        self.state = seed

    def below(self, most):
        self.state = (self.state * 1_103_515_245 + 12_345) % 2 ** 31
        return (self.state >> 16) % most


def colours():
    levels = np.random.default_rng(2000).integers(0, 256, (60, 3))
    levels[:6] = [[0, 0, 0], [255, 255, 255], [118, 118, 118], [3, 2, 1], [255, 0, 0], [0, 0, 255]]
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    # The primaries' matrix is derived from their coordinates, not taken from the standard's four decimals.
    space = colour.models.RGB_COLOURSPACE_sRGB.copy()
    space.use_derived_transformation_matrices(True)
    xyz = colour.RGB_to_XYZ(levels / 255, space, apply_cctf_decoding=True, chromatic_adaptation_transform=None)
    lab = colour.XYZ_to_Lab(xyz, white)
    difference = colour.difference.delta_E_CIE2000(lab, np.roll(lab, -1, axis=0))
    return {"recipe": RECIPE, "levels": levels.tolist(), "lab": np.round(lab, 4).tolist(),
            "ciede2000_to_the_next": np.round(difference, 5).tolist()}


def cut_price(seed, width, height):
    """Leans from -9 to 9, then four borders from 0 to 5, pixel by pixel, by rows; borders that leave the grid are drawn and dropped."""
    chance, edges = Chance(seed), []
    source, sink = width * height, width * height + 1
    for at in range(width * height):
        lean = chance.below(19) - 9
        if lean:
            edges.append((source, at, lean) if lean > 0 else (at, sink, -lean))
        for right, down in NEIGHBOURS:
            price = chance.below(6)
            x, y = at % width + right, at // width + down
            if 0 <= x < width and y < height and price:
                edges += [(at, y * width + x, price), (y * width + x, at, price)]
    a, b, price = map(np.array, zip(*edges))
    graph = sparse.csr_matrix((price.astype(np.int32), (a, b)), shape=(width * height + 2,) * 2)
    return int(csgraph.maximum_flow(graph, source, sink).flow_value)


def squared_distances(seed, width, height, one_in):
    chance = Chance(seed)
    mask = np.array([chance.below(one_in) == 0 for _ in range(width * height)]).reshape(height, width)
    assert mask.any()
    return np.round(ndimage.distance_transform_edt(~mask) ** 2).astype(int).ravel().tolist()


def grids():
    cuts = [(1, 6, 5), (2, 24, 18), (3, 60, 45), (4, 1, 30), (5, 150, 110)]
    masks = [(11, 7, 5, 9), (12, 40, 30, 150), (13, 1, 25, 9), (14, 30, 1, 9), (15, 33, 21, 2)]
    return {
        "recipe": RECIPE,
        "cuts": [{"seed": s, "width": w, "height": h, "price": cut_price(s, w, h)} for s, w, h in cuts],
        "distances": [{"seed": s, "width": w, "height": h, "one_in": n, "squared": squared_distances(s, w, h, n)}
                      for s, w, h, n in masks],
    }


def numbers(value):
    if isinstance(value, dict):
        return [number for key in sorted(value) for number in numbers(value[key])]
    if isinstance(value, list):
        return [number for one in value for number in numbers(one)]
    return [] if isinstance(value, str) else [float(value)]


def check_kept(name, fresh, limit):
    path = TRUTH / name
    if "--write" in sys.argv:
        path.write_text(json.dumps(fresh, separators=(",", ":")) + "\n")
    kept, now = numbers(json.loads(path.read_text())), numbers(fresh)
    assert len(kept) == len(now), f"{name} was made by another recipe: {RECIPE}"
    held(f"{name}: {len(now)} numbers, furthest apart", float(np.abs(np.subtract(kept, now)).max()), limit)


def main():
    print("Committed numbers against colour-science and scipy")
    check_kept("colours.json", colours(), 1e-4)
    check_kept("grids.json", grids(), 0)
    check_kept_outlines()
    with tempfile.TemporaryDirectory() as folder:
        check_traced(pathlib.Path(folder))
        check_found(pathlib.Path(folder))
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
