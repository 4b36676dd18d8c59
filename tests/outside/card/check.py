"""Is the scale card where we say it is, seen by OpenCV?

Runs our finder on drawn photos (tests/phantoms), on cards drawn here with other markers, papers and exposures, and compares with
OpenCV's ArUco module: which marker, its corners, the perspective, the tilt. Prints a table; ends with 1 on the first figure out
of its limits.

    cargo build --example find_card
    VENV/bin/python tests/outside/card/check.py                  # check
    VENV/bin/python tests/outside/card/check.py FOLDER           # look at other drawn photos
    VENV/bin/python tests/outside/card/check.py --write          # and renew tests/truth/card.json and the family's codewords

Two things are known to differ and are put right before comparing. OpenCV gives pixel middles whole numbers, we end them in a half.
Detectors work on stored levels, in which the black square looks 1 to 1.6 % small: OpenCV's corners are therefore refined
(cornerSubPix) on the picture turned into linear light.
"""
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile

import cv2
import numpy as np

ROOT = pathlib.Path(__file__).resolve().parents[3]
BIN = pathlib.Path(os.environ.get("CLOSEWATCH_BIN_DIR", ROOT / "target" / "debug" / "examples"))
FAMILY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
SQUARE_MM = np.array([[-10, -10], [10, -10], [10, 10], [-10, 10]], np.float32)
FILES = ROOT / "src" / "photo" / "scale_card" / "tag36h11.txt"


def cells(marker):
    return cv2.aruco.generateImageMarker(FAMILY, marker, 8, borderBits=1)[1:7, 1:7] > 0


def codeword(marker):
    return sum(int(light) << at for at, light in enumerate(cells(marker).ravel()))


def to_linear(levels):
    encoded = levels.astype(np.float64) / 255
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def to_levels(linear):
    linear = np.clip(linear, 0, 1)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.round(encoded * 255).astype(np.uint8)


def by_opencv(picture):
    """{id: corners in our convention}, refined in linear light."""
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    found, ids, _ = cv2.aruco.ArucoDetector(FAMILY, cv2.aruco.DetectorParameters()).detectMarkers(grey)
    if ids is None:
        return {}
    light = to_linear(picture) @ np.array([0.0722, 0.7152, 0.2126])
    light = np.round(light / light.max() * 255).astype(np.uint8)
    seen = {}
    for marker, corners in zip(ids.ravel(), found):
        edge = np.linalg.norm(corners[0] - np.roll(corners[0], 1, axis=0), axis=1).mean()
        window = max(3, int(edge / 16))
        refined = cv2.cornerSubPix(
            light, corners.reshape(-1, 1, 2).astype(np.float32), (window, window), (-1, -1),
            (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 60, 0.001))
        seen[int(marker)] = refined.reshape(4, 2) + 0.5
    return seen


def by_us(picture, folder):
    subprocess.run([BIN / "find_card", picture, folder], check=True)
    return json.loads((folder / "card.json").read_text()), cv2.imread(str(folder / "review.jpg"))


def drawn(marker, margin, exposure, turn, tilt):
    """A card's marker on skin as a camera sees it: light mixed in linear light, 8 by 8 samples a pixel."""
    edge, over, width, height = 140, 8, 1600, 1200
    light = np.full((12, 12), 0.45)
    light[1:11, 1:11] = margin
    light[2:10, 2:10] = 0.04
    light[3:9, 3:9] = np.where(cells(marker), margin, 0.04)
    focal, depth = 26 / 36 * width, 26 / 36 * width * 20 / edge
    turned = cv2.Rodrigues(np.array([np.radians(tilt), 0, 0]))[0] @ cv2.Rodrigues(np.array([0, 0, np.radians(turn)]))[0]
    lens = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    view = lens @ np.c_[turned[:, :2], [5.3, -1.7, depth]]
    corners = cv2.perspectiveTransform(SQUARE_MM[None].astype(np.float64), view)[0]
    left, top = (corners.mean(axis=0) - 180).astype(int)
    y, x = (np.mgrid[0 : 360 * over, 0 : 360 * over] + 0.5) / over
    u, v, w = np.linalg.inv(view) @ np.stack([x.ravel() + left, y.ravel() + top, np.ones(x.size)])
    column, row = (np.floor(mm / w / 2.5).astype(int) + 6 for mm in (u, v))
    on_card = (column >= 0) & (column < 12) & (row >= 0) & (row < 12)
    big = np.where(on_card, light[row.clip(0, 11), column.clip(0, 11)], 0.3).reshape(x.shape)
    small = cv2.resize(cv2.GaussianBlur(big, (0, 0), 0.8 * over), (360, 360), interpolation=cv2.INTER_AREA)
    linear = np.full((height, width), 0.3)
    linear[top : top + 360, left : left + 360] = small
    return cv2.merge([to_levels(linear * exposure)] * 3), corners


def rms(a, b):
    return float(np.sqrt(((np.asarray(a) - np.asarray(b)) ** 2).sum(axis=1).mean()))


def main():
    folders = [pathlib.Path(argument) for argument in sys.argv[1:] if argument != "--write"]
    wrong, pictures = [], []

    def hold(what, value, limit):
        print(f"    {what:52s} {value:9.4f}   limit {limit}")
        if not abs(value) <= limit:
            wrong.append(what)

    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        for photo in sorted(next(iter(folders), ROOT / "tests" / "phantoms").glob("*.jpg")):
            truth = json.loads(photo.with_suffix(".json").read_text())
            ours, review = by_us(photo, folder)
            theirs = by_opencv(review)
            state = truth["card"]["state"]
            print(photo.name, state, ours.get("fault", "found"), "opencv", sorted(theirs))
            if ours.get("fault") in ("blurred", "too_small", "too_tilted"):
                continue
            if state != "full":
                if "card" in ours:
                    wrong.append(f"{photo.name}: a {state} card was measured by")
                continue
            if "card" not in ours or ours["card"]["tag_id"] not in theirs:
                wrong.append(f"{photo.name}: not found by both")
                continue
            card = ours["card"]
            corners = np.array([[at["x_px"], at["y_px"]] for at in card["corners_px"]])
            known = np.array(truth["card"]["tag_corners_px"]) * review.shape[1] / truth["width"]
            them = theirs[card["tag_id"]]
            hold("corners, ours against the truth, rms px", rms(corners, known), 0.3 if card["burnt_out"] else 0.1)
            print(f"    corners, OpenCV's against the truth, rms px          {rms(them, known):9.4f}")
            # Blur rounds the corners, and cornerSubPix follows it inwards: the same photos are up to 1 px off when blurred.
            if not card["burnt_out"] and card["edge_rise_mm"] < 0.3:
                hold("corners, ours against OpenCV's, worst, px", float(np.linalg.norm(corners - them, axis=1).max()), 0.3)
                pictures.append({"name": photo.stem, "corners_px": np.round(them, 3).tolist()})
            plane = np.array(card["plane"])
            theirs_exact = cv2.getPerspectiveTransform(corners.astype(np.float32), SQUARE_MM)
            least_squares, _ = cv2.findHomography(corners, SQUARE_MM.astype(np.float64))
            places = np.array(truth["wound"]["polygon_px"])[None] * review.shape[1] / truth["width"]
            mm = [cv2.perspectiveTransform(places, np.asarray(matrix, np.float64))[0] for matrix in (plane, theirs_exact, least_squares)]
            area = [cv2.contourArea(points.astype(np.float32)) for points in mm]
            hold("area on our plane against getPerspectiveTransform, %", 100 * (area[0] / area[1] - 1), 0.05)
            hold("area on our plane against findHomography, %", 100 * (area[0] / area[2] - 1), 0.05)
            hold("area on our plane against the truth, %", 100 * (area[0] / truth["wound"]["area_mm2"] - 1), 5.0 if card["burnt_out"] else 1.0)
            lens = np.array([[f := truth["camera"]["f_px"] * review.shape[1] / truth["width"], 0, review.shape[1] / 2],
                             [0, f, review.shape[0] / 2], [0, 0, 1]])
            _, turn, _ = cv2.solvePnP(np.c_[SQUARE_MM, np.zeros(4)].astype(np.float64), corners, lens, None, flags=cv2.SOLVEPNP_IPPE)
            tilt = np.degrees(np.arccos(abs(cv2.Rodrigues(turn)[0][2, 2])))
            hold("tilt against solvePnP, degrees", card["tilt_deg"] - tilt, 2.0 if card["burnt_out"] else 1.0)

        for marker, margin, exposure, turn, tilt in [
            (0, 0.45, 1.0, 8, 10), (0, 0.86, 1.0, 98, 20), (0, 0.45, 2.0, 200, 30), (3, 0.45, 0.4, 287, 0), (9, 0.86, 1.6, 33, 15)]:
            picture, known = drawn(marker, margin, exposure, turn, tilt)
            path = folder / "drawn.png"
            cv2.imwrite(str(path), picture)
            ours, review = by_us(path, folder)
            theirs = by_opencv(review)
            print(f"drawn: marker {marker}, margin {margin}, exposure {exposure}, turn {turn}, tilt {tilt}: {ours.get('fault', 'found')}, opencv {sorted(theirs)}")
            if "card" not in ours or list(theirs) != [marker] or ours["card"]["tag_id"] != marker:
                wrong.append(f"drawn marker {marker}: not read by both")
                continue
            corners = np.array([[at["x_px"], at["y_px"]] for at in ours["card"]["corners_px"]])
            hold("corners, ours against the truth, rms px", rms(corners, known), 0.1)
            print(f"    corners, OpenCV's against the truth, rms px          {rms(theirs[marker], known):9.4f}")

    kept = [int(line, 16) for line in FILES.read_text().split()]
    if "--write" in sys.argv and not wrong:
        FILES.write_text("".join(f"{codeword(marker):09x}\n" for marker in range(len(FAMILY.bytesList))))
        rows = lambda marker: ["".join("1" if cell else "0" for cell in row)
                               for row in np.pad(np.pad(cells(marker), 1), 1, constant_values=True)]
        truth = {
            "recipe": "cargo build --example find_card && python tests/outside/card/check.py --write",
            "with": {"opencv": cv2.__version__, "numpy": np.__version__},
            "cells": {str(marker): rows(marker) for marker in (0, 1, 77, 300, 586)},
            "pictures": pictures,
        }
        text = re.sub(r"\[\s+([\d.,\s]+?)\s+\]", lambda m: "[" + re.sub(r"\s+", " ", m[1]) + "]", json.dumps(truth, indent=1))
        (ROOT / "tests" / "truth" / "card.json").write_text(text + "\n")
    elif kept != [codeword(marker) for marker in range(len(FAMILY.bytesList))]:
        wrong.append("the codewords are not OpenCV's")
    for name in wrong:
        print("WRONG:", name)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
