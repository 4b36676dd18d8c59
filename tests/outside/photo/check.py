"""Looks at what the cleaner keeps with tools that share no code with it: exiftool, Pillow (libjpeg-turbo) and littlecms.

cargo build --example clean_photo
python tests/outside/photo/check.py [target/debug/examples/clean_photo] [--corpus DIRECTORY]

With `--corpus` every file below the directory is also fed to the cleaner, which must neither crash nor take more
than two seconds nor 400 MiB, and must keep no metadata.
"""

import argparse
import json
import os
import pathlib
import resource
import shutil
import subprocess
import sys
import tempfile
import time

import numpy as np
from PIL import Image, ImageOps

HERE = pathlib.Path(__file__).resolve().parent
TRUTH = HERE.parent.parent / "truth" / "photo"
# What exiftool may say of a kept file: facts of the file itself, its pixels and the bare JFIF header.
ALLOWED_GROUPS = {"ExifTool", "System", "File", "JFIF", "Composite"}
ALLOWED_COMPOSITE = {"ImageSize", "Megapixels"}
SIZES = ("full", "review", "small")

problems = []


def expect(holds, words):
    if not holds:
        problems.append(words)
        print("NO ", words)


class Kept:
    def __init__(self, program, picture):
        self.directory = pathlib.Path(tempfile.mkdtemp())
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        start = time.monotonic()
        done = subprocess.run([program, picture, self.directory], capture_output=True, timeout=60)
        self.seconds = time.monotonic() - start
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        self.cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        self.code, self.words = done.returncode, done.stderr.decode(errors="replace")
        report = self.directory / "photo.json"
        self.report = json.loads(report.read_text()) if report.exists() else {}

    def picture(self, size="full"):
        return Image.open(self.directory / f"{size}.jpg").convert("RGB")

    def done(self):
        shutil.rmtree(self.directory)


def no_metadata(kept, name):
    files = [str(kept.directory / f"{size}.jpg") for size in SIZES]
    said = json.loads(subprocess.run(["exiftool", "-j", "-G", "-a", "-U", *files], capture_output=True).stdout)
    for found in said:
        for key in found:
            group, _, tag = key.rpartition(":")
            fine = group in ALLOWED_GROUPS and (group != "Composite" or tag in ALLOWED_COMPOSITE) or key == "SourceFile"
            expect(fine and tag != "Comment", f"{name}: exiftool still finds {key}")


def check_metadata(program):
    sent = TRUTH / "full-of-metadata.jpg"
    before = subprocess.run(["exiftool", "-G", "-a", sent], capture_output=True, text=True).stdout
    for there in ("Thumbnail", "GPS", "CanaryOwner", "CanaryMake", "ICC_Profile"):
        expect(there in before, f"the sample itself holds {there}")
    kept = Kept(program, sent)
    no_metadata(kept, sent.name)
    expect(kept.report["capture_time"] == "2026-03-09T17:05:59", "capture time is kept as a field")
    kept.done()


def check_orientations(program):
    upright = np.asarray(Image.open(TRUTH / "orientation-1.jpg").convert("RGB")).astype(int)
    for number in range(1, 9):
        kept = Kept(program, TRUTH / f"orientation-{number}.jpg")
        ours = np.asarray(kept.picture()).astype(int)
        theirs = np.asarray(ImageOps.exif_transpose(Image.open(TRUTH / f"orientation-{number}.jpg"))).astype(int)
        same = ours.shape == upright.shape and np.abs(ours - upright).mean() < 3 and np.abs(ours - theirs).mean() < 3
        expect(same, f"orientation {number} is upright")
        kept.done()


def check_resizing(program):
    """Against Pillow's bicubic reduction of the same decoded picture."""
    sent = TRUTH / "drawn-sharp.jpg"
    kept = Kept(program, sent)
    for size, longest in (("review", 1600), ("small", 320)):
        ours = kept.picture(size)
        theirs = Image.open(sent).convert("RGB").resize(ours.size, Image.Resampling.BICUBIC)
        off = np.abs(np.asarray(ours).astype(int) - np.asarray(theirs).astype(int)).mean()
        expect(max(ours.size) == longest and off < 3, f"{size}: {off:.2f} off Pillow's, {ours.size}")
        print(f"    {size} rendition: mean difference to Pillow {off:.2f} of 255")
    kept.done()


def check_colour(program):
    truth = json.loads((TRUTH / "colour.json").read_text())
    for name in ("p3.jpg", "adobe.jpg"):
        kept = Kept(program, TRUTH / name)
        half, step = truth["patch_px"] // 2, truth["patch_px"]
        ours = np.asarray(kept.picture())[half, half::step].astype(int)
        off = np.abs(ours - np.array(truth[name]["srgb"])).max()
        print(f"    {name}: largest difference to littlecms {off} of 255")
        expect(off <= 4, f"{name}: {off} off littlecms")
        kept.done()


def check_corpus(program, directory):
    outcomes, slow, flagged = {}, [], []
    files = [path for path in sorted(directory.rglob("*")) if path.is_file()]
    for path in files:
        name = str(path.relative_to(directory))
        kept = Kept(program, path)
        what = kept.report.get("refused", "kept") if kept.code in (0, 3) else "crashed"
        outcomes[what] = outcomes.get(what, 0) + 1
        expect(what != "crashed", f"{name}: exit {kept.code} {kept.words[:200]}")
        expect(kept.cpu <= 2, f"{name}: {kept.cpu:.2f} s of CPU")
        slow.append((kept.cpu, name))
        if what == "kept":
            no_metadata(kept, name)
            if "truncated" in kept.report["flags"]:
                flagged.append(name)
        if "panicked" in kept.words:
            print("    decoder panicked on", name)
        kept.done()
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"    {len(files)} files: {outcomes}; slowest {max(slow)}; largest process {peak:.0f} MiB")
    print(f"    flagged truncated: {flagged}")
    expect(peak < 400, f"{peak:.0f} MiB")


def main():
    arguments = argparse.ArgumentParser()
    built = pathlib.Path(os.environ.get("CLOSEWATCH_BIN_DIR", "target/debug/examples"))
    arguments.add_argument("program", nargs="?", default=str(built / "clean_photo"), help="the built example clean_photo")
    arguments.add_argument("--corpus", type=pathlib.Path, action="append", default=[])
    given = arguments.parse_args()
    for check in (check_metadata, check_orientations, check_resizing, check_colour):
        print(check.__name__)
        check(given.program)
    for directory in given.corpus:
        print("corpus", directory)
        check_corpus(given.program, directory)
    print("all well" if not problems else f"{len(problems)} problems")
    sys.exit(bool(problems))


main()
