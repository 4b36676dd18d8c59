"""Is the printed sheet right, seen by other programs than ours?

Renders sample sheets with poppler at 300 dpi, then looks at them with OpenCV and zbar: the marker, the card, the greys,
the ruler, the square code, the text layer. Prints a table; ends with 1 on the first figure out of its limits.

    cargo build --example print_sheet
    VENV/bin/python tests/outside/sheet/check.py                  # check
    VENV/bin/python tests/outside/sheet/check.py --write          # and renew tests/truth/sheet.json

Needs pdftoppm, pdftotext, pdfinfo (poppler-utils), zbarimg (zbar-tools) and tests/outside/requirements.txt.
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
TARGET = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
PRINT_SHEET = TARGET / "debug" / "examples" / "print_sheet"
DPI = 300
MM = DPI / 25.4
LINK = "https://harbor.example/p/7Gm2QxV9cK4tHs8LwZr3NbYd5Fj"
SAMPLES = [
    (language, paper, sample)
    for language in ("en", "es")
    for paper in ("a4", "letter")
    for sample in ("plain", "low", "long-name", "right-to-left", "emoji", "own-marker")
]
FAMILY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)


def grey_for(reflectance):
    """sRGB level of a reflectance (IEC 61966-2-1)."""
    return round(255 * (1.055 * reflectance ** (1 / 2.4) - 0.055))


def markers(grey):
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, ids, _ = cv2.aruco.ArucoDetector(FAMILY, settings).detectMarkers(grey)
    return [] if ids is None else [(int(i), c.reshape(4, 2)) for i, c in zip(ids.ravel(), corners)]


def solid(grey, level):
    """Left, top, width, height in mm of the largest connected area of one grey level."""
    mask = (np.abs(grey.astype(int) - level) <= 1).astype(np.uint8)
    _, _, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    left, top, width, height, _ = max(stats[1:], key=lambda one: one[4])
    return [float(value / MM) for value in (left, top, width, height)]


def longest_black_run(grey):
    """Length in mm of the longest unbroken black run along any row."""
    best = 0
    for row in (grey < 96).astype(np.uint8):
        edges = np.flatnonzero(np.diff(np.concatenate(([0], row, [0]))))
        best = max([best, *(edges[1::2] - edges[::2])])
    return float(best / MM)


def run(*command):
    return subprocess.run([str(part) for part in command], check=True, capture_output=True, text=True).stdout


def look(folder, language, paper, sample):
    pdf = folder / f"{language}-{paper}-{sample}.pdf"
    run(PRINT_SHEET, language, paper, sample, pdf)
    run("pdftoppm", "-r", DPI, "-gray", pdf, pdf.with_suffix(""))
    one, two = (cv2.imread(str(pdf.with_suffix("")) + f"-{page}.pgm", cv2.IMREAD_GRAYSCALE) for page in (1, 2))
    found = markers(two)
    code, square, _ = cv2.QRCodeDetector().detectAndDecode(one)
    zbar = run("zbarimg", "-q", "--raw", str(pdf.with_suffix("")) + "-1.pgm").strip()
    info = run("pdfinfo", pdf)
    seen = {
        "pages": int(re.search(r"Pages:\s+(\d+)", info)[1]),
        "page_mm": [round(float(side) * 25.4 / 72, 2) for side in re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", info).groups()],
        "title": re.search(r"Title:\s+(.*)", info)[1].strip(),
        "language_of_file": re.search(rb"/Lang ?\(([^)]*)\)", pdf.read_bytes())[1].decode(),
        "markers": [marker for marker, _ in found],
        "markers_on_page_1": len(markers(one)),
        "code_opencv": code == LINK,
        "code_zbar": zbar == LINK,
        "text": run("pdftotext", "-layout", pdf, "-"),
    }
    if square is not None:
        sides = np.linalg.norm(square[0] - np.roll(square[0], 1, axis=0), axis=1)
        seen["code_edge_mm"] = float(sides.min() / MM)
    if found:
        corners = found[0][1]
        # The detector names pixel centres; the run of black pixels is the edge itself.
        sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
        seen["tag_edge_subpixel_mm"] = [round(float(side / MM), 3) for side in sides]
        left, top = corners.min(axis=0)
        right, bottom = corners.max(axis=0)
        middle_row = two[int(top + (bottom - top) / 16), :]
        black = np.flatnonzero(middle_row[int(left) - 20 : int(right) + 20] < 96)
        seen["tag_edge_mm"] = float((black[-1] - black[0] + 1) / MM)
    ground, patch = grey_for(0.45), grey_for(0.18)
    card = solid(two, ground)
    grey = solid(two, patch)
    seen["card_mm"] = card[2:]
    seen["patch_mm"] = grey[2:]
    seen["patch_on_card_mm"] = [grey[0] - card[0], grey[1] - card[1]]
    if found:
        seen["tag_on_card_mm"] = [float(left / MM) - card[0], float(top / MM) - card[1]]
    y, x = (int((card[i] + part) * MM) for i, part in ((1, 4.0), (0, 4.0)))
    seen["ground_level"] = int(two[y, x])
    seen["patch_level"] = int(two[int((grey[1] + grey[3] / 2) * MM), int((grey[0] + grey[2] / 2) * MM)])
    below = two[int(card[1] * MM) :, int((card[0] + card[2] + 4) * MM) :]
    seen["ruler_mm"] = longest_black_run(below)
    return seen


def near(value, wanted, by):
    return all(abs(a - b) <= by for a, b in zip(np.atleast_1d(value), np.atleast_1d(wanted)))


def faults(seen, language, paper, marker):
    text = seen["text"].replace("\u00a0", " ")
    checks = {
        "two pages": seen["pages"] == 2,
        "paper size": near(seen["page_mm"], {"a4": [210, 297], "letter": [215.9, 279.4]}[paper], 0.1),
        "title names no patient": not re.search("Rosa|María|Ana|Maryam", seen["title"]),
        "language": seen["language_of_file"] == language,
        "one marker, the one asked for": seen["markers"] == [marker] and seen["markers_on_page_1"] == 0,
        "marker edge": near(seen.get("tag_edge_mm", 0), 20.0, 0.1),
        "marker edge, subpixel": near(seen.get("tag_edge_subpixel_mm", 0), 20.0, 0.1),
        "marker on card": near(seen.get("tag_on_card_mm", 0), [8.0, 10.0], 0.15),
        "card": near(seen["card_mm"], [62.0, 40.0], 0.2),
        "patch": near(seen["patch_mm"], [18.0, 20.0], 0.2) and near(seen["patch_on_card_mm"], [36.0, 10.0], 0.2),
        "greys": near([seen["ground_level"], seen["patch_level"]], [grey_for(0.45), grey_for(0.18)], 1),
        "ruler": near(seen["ruler_mm"], 100.0, 0.2),
        "code, OpenCV": seen["code_opencv"],
        "code, zbar": seen["code_zbar"],
        "code at least 30 mm": seen.get("code_edge_mm", 0) >= 30.0,
        "text layer": all(part in text for part in ("493 027", "K7QF-2MXD-9RTA", "harbor.example/go", "911", "(312) 555-0142")),
    }
    return [name for name, holds in checks.items() if not holds]


def opencv_cells():
    picture = cv2.aruco.generateImageMarker(FAMILY, 0, 8, borderBits=1)
    return ["".join("1" if cell else "0" for cell in row) for row in np.pad(picture > 0, 1, constant_values=True)]


def main():
    failed = False
    measured = []
    with tempfile.TemporaryDirectory() as folder:
        for language, paper, sample in SAMPLES:
            seen = look(pathlib.Path(folder), language, paper, sample)
            wrong = faults(seen, language, paper, 77 if sample == "own-marker" else 0)
            failed |= bool(wrong)
            row = {"language": language, "paper": paper, "sample": sample}
            row |= {key: np.round(value, 3).tolist() for key, value in seen.items() if key.endswith(("_mm", "_level"))}
            measured.append(row)
            print(language, paper, sample, {k: row[k] for k in ("tag_edge_mm", "card_mm", "ruler_mm", "code_edge_mm") if k in row},
                  "ok" if not wrong else "WRONG: " + ", ".join(wrong))
    if "--write" in sys.argv and not failed:
        truth = {
            "recipe": "cargo build --example print_sheet && python tests/outside/sheet/check.py --write",
            "with": {"opencv": cv2.__version__, "numpy": np.__version__, "dpi": DPI,
                     "pdftoppm": subprocess.run(["pdftoppm", "-v"], capture_output=True, text=True).stderr.split()[2]},
            "tag36h11_id_0_by_opencv": opencv_cells(),
            "seen_on_rendered_pages": measured,
        }
        text = json.dumps(truth, indent=1)
        (ROOT / "tests" / "truth" / "sheet.json").write_text(re.sub(r"\[\s+([\d.,\s]+?)\s+\]", lambda m: "[" + re.sub(r"\s+", " ", m[1]) + "]", text) + "\n")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
