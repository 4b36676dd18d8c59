"""Opens a patient's copy with tools that share no code with the program: Python's zipfile, unzip where it is there, Pillow
(libjpeg-turbo), exiftool, an HTML parser, and Chromium printing the page to paper.

cargo build --example take_copy
python tests/outside/export/check.py [target/debug/examples/take_copy]
"""

import html.parser
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import zipfile

import numpy as np
from PIL import Image

BUILT = pathlib.Path(os.environ.get("CLOSEWATCH_BIN_DIR", "target/debug/examples"))
PROGRAM = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else BUILT / "take_copy")
ALLOWED_GROUPS = {"ExifTool", "System", "File", "JFIF", "Composite"}

problems = []


def expect(holds, words):
    if not holds:
        problems.append(words)
        print("NO ", words)


class Reader(html.parser.HTMLParser):
    """What a page fetches, runs and leads to."""

    def __init__(self):
        super().__init__()
        self.tags, self.fetched, self.led_to, self.handlers, self.text = [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        for name, value in attrs:
            if name.startswith("on"):
                self.handlers.append(name)
            if name == "src" or (tag == "link" and name == "href"):
                self.fetched.append(value)
            if tag == "a" and name == "href":
                self.led_to.append(value)

    def handle_data(self, data):
        self.text.append(data)


def check_zip(path, folder):
    with zipfile.ZipFile(path) as kept:
        expect(kept.testzip() is None, f"{path.name}: a file in it is broken")
        names = kept.namelist()
        expect(len(names) == len(set(names)), f"{path.name}: a name twice")
        expect(all(not name.startswith("/") and ".." not in name for name in names), f"{path.name}: a name leads out")
        for one in kept.infolist():
            expect(one.compress_type == zipfile.ZIP_STORED, f"{one.filename} is squeezed")
            expect(one.flag_bits & 0x08 == 0, f"{one.filename}: its size stands behind it, which some programs cannot read")
        kept.extractall(folder)
    if shutil.which("unzip"):
        done = subprocess.run(["unzip", "-t", path], capture_output=True, text=True)
        expect(done.returncode == 0, f"unzip -t {path.name}: {done.stdout}{done.stderr}")
    return names


def check_photos(folder, names, kept):
    photos = [name for name in names if name.endswith(".jpg")]
    expect(photos, "no photo in the copy")
    for name in photos:
        copy = Image.open(folder / name)
        copy.load()
        copy = np.asarray(copy.convert("RGB"))
        receipt, position = pathlib.Path(name).name.split("-")[:2]
        own = np.asarray(Image.open(kept / f"{receipt}-{position}.jpg").convert("RGB"))
        rows = own.shape[0]
        expect(copy.shape[0] >= rows + 16, f"{name} has no margin")
        if own.shape[1] == copy.shape[1]:
            # The last rows lie beside the seam, where decoders smooth colours.
            same = np.array_equal(copy[: rows - 2], own[: rows - 2])
            expect(same, f"{name}: the photo itself was changed")
        margin = copy[rows:].astype(int)
        expect((margin.max(axis=2) < 90).sum() > 100, f"{name}: nothing is written in the margin")
    told = subprocess.run(["exiftool", "-json", "-G", *[folder / name for name in photos]], capture_output=True, text=True)
    for one in json.loads(told.stdout):
        groups = {key.split(":")[0] for key in one if ":" in key}
        expect(groups <= ALLOWED_GROUPS, f"{one['SourceFile']}: metadata of {groups - ALLOWED_GROUPS}")
    return len(photos)


def check_page(folder, names):
    (page,) = [name for name in names if name.endswith(".html")]
    reader = Reader()
    reader.feed((folder / page).read_text(encoding="utf-8"))
    expect("script" not in reader.tags and not reader.handlers, f"{page}: it runs something")
    expect(all(one.startswith("data:") for one in reader.fetched), f"{page}: it fetches something")
    expect(all((folder / one).is_file() for one in reader.led_to), f"{page}: it leads to what is not there")
    return page, " ".join(reader.text)


def check_print(folder, page):
    """On paper every page says who made the copy and when."""
    paper = folder / "paper.pdf"
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={folder / 'browser'}", f"--print-to-pdf={paper}", (folder / page).as_uri()],
        check=True, capture_output=True, timeout=120,
    )
    pages = subprocess.run(["pdftotext", "-layout", paper, "-"], check=True, capture_output=True, text=True).stdout.split("\f")[:-1]
    expect(len(pages) > 1, "the copy fits on one page: nothing to compare")
    stamp = re.compile(r"Copy made by .+: \w+ \d+, \d{4}, \d+:\d\d [ap]m|Copia hecha por .+: \d+ de \w+ de \d{4}, \d+:\d\d")
    for number, words in enumerate(pages, 1):
        # A long line of names is broken.
        words = " ".join(words.split())
        expect(stamp.search(words), f"printed page {number} of {len(pages)} does not say who made it and when")
    return len(pages)


def main():
    with tempfile.TemporaryDirectory() as scratch:
        scratch = pathlib.Path(scratch)
        subprocess.run([PROGRAM, scratch], check=True)
        for kind in ("patient", "record"):
            folder = scratch / kind
            names = check_zip(scratch / f"{kind}.zip", folder)
            photos = check_photos(folder, names, scratch / "kept")
            page, words = check_page(folder, names)
            printed = check_print(folder, page)
            print(f"{kind:8} {photos:3} photos, {len(words):7} letters, {printed:3} printed pages: {page}")
    if problems:
        sys.exit(1)


main()
