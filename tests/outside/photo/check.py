"""Looks at what the cleaner keeps with tools that share no code with it: exiftool, Pillow (libjpeg-turbo) and littlecms.

cargo build --example clean_photo
python tests/outside/photo/check.py [target/debug/examples/clean_photo] [--corpora DIRECTORY [--apart PROGRAM] [--write]]

With `--corpora` (`bash tests/run.sh --corpora` fetches them) only this is looked at: every file below the directory is fed to the
cleaner, which must neither fall over, nor take more than two seconds of a core, nor 400 MiB. What becomes of each file must be what
`tests/truth/corpora.txt` says, which `--write` renews, and no kept picture may hold anything but the picture. With `--apart` each file
is also read as a server reads it, by that program in a process that is shut in, and comes out the same.
"""

import argparse
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

import numpy as np
from PIL import Image, ImageOps

HERE = pathlib.Path(__file__).resolve().parent
TRUTH = HERE.parent.parent / "truth" / "photo"
BASELINE = HERE.parent.parent / "truth" / "corpora.txt"
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
    def __init__(self, program, picture, *apart):
        self.directory = pathlib.Path(tempfile.mkdtemp())
        self.code, self.words, self.cpu, self.peak_mib = run([program, picture, self.directory, *apart])
        report = self.directory / "photo.json"
        self.report = json.loads(report.read_text()) if report.exists() else {}

    def picture(self, size="full"):
        return Image.open(self.directory / f"{size}.jpg").convert("RGB")

    def became(self):
        """One word or two of what became of the file."""
        if self.code == 3:
            return "refused " + self.report["refused"]
        if self.code != 0:
            return f"crashed {self.code}"
        return "incomplete" if "truncated" in self.report["flags"] else "clean"

    def done(self):
        shutil.rmtree(self.directory)


def run(line):
    """Status, what it said, seconds of a core, and its largest memory in MiB."""
    with tempfile.TemporaryFile() as said:
        process = subprocess.Popen([str(word) for word in line], stdout=subprocess.DEVNULL, stderr=said)
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0)
        words = said.read().decode(errors="replace")
    return process.returncode, words, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def exiftool(*words):
    found = subprocess.run(["exiftool", "-j", "-G", "-a", "-U", *map(str, words)], capture_output=True).stdout
    return json.loads(found or "[]")


def no_metadata(directory, names):
    """Of all kept pictures below a directory; `names` has the sent file's name for each folder in it."""
    for found in exiftool("-r", "-ext", "jpg", directory):
        kept = pathlib.Path(found["SourceFile"])
        name = names[kept.parent]
        for key in found:
            group, _, tag = key.rpartition(":")
            fine = group in ALLOWED_GROUPS and (group != "Composite" or tag in ALLOWED_COMPOSITE) or key == "SourceFile"
            expect(fine and tag != "Comment", f"{name}: exiftool still finds {key}")
        expect(only_a_header(kept.read_bytes()), f"{name}: a segment beside header, tables and picture")


def only_a_header(jpeg):
    """Of the segments that applications may add there is one, a JFIF header without a thumbnail: no profile either, all is sRGB."""
    at, added = 2, []
    while True:
        marker, length = jpeg[at + 1], int.from_bytes(jpeg[at + 2 : at + 4], "big")
        if marker == 0xDA:
            return added == [(0xE0, 16, b"JFIF")]
        if 0xE0 <= marker <= 0xEF or marker == 0xFE:
            added.append((marker, length, jpeg[at + 4 : at + 8]))
        at += 2 + length


def check_metadata(program):
    sent = TRUTH / "full-of-metadata.jpg"
    before = subprocess.run(["exiftool", "-G", "-a", sent], capture_output=True, text=True).stdout
    for there in ("Thumbnail", "GPS", "CanaryOwner", "CanaryMake", "ICC_Profile"):
        expect(there in before, f"the sample itself holds {there}")
    kept = Kept(program, sent)
    no_metadata(kept.directory, {kept.directory: sent.name})
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


# Tags that name a place, a device or a person, or hold another picture.
TELLING = ["-GPS*", "-Make", "-Model", "-*Serial*", "-*Thumbnail*", "-*Owner*"]
# So many of the kept pictures must have had such a tag when they were sent, or nothing is shown by their having none.
SENT_TELLING = 40
SENT_PLACES = 7


def check_corpora(program, directory, apart, write):
    files = [path for path in sorted(directory.rglob("*")) if path.is_file()]
    names = [path.relative_to(directory).as_posix() for path in files]
    became, telling, places, most = {}, 0, 0, {"s of a core": (0, ""), "MiB": (0, "")}
    for begin in range(0, len(files), 100):
        part = list(zip(files, names))[begin : begin + 100]
        kept = [(path, name, Kept(program, path)) for path, name in part]
        for path, name, one in kept:
            became[name] = one.became()
            expect(one.code in (0, 3), f"{name}: status {one.code} {one.words[:200]}")
            expect("panicked" not in one.words, f"{name}: a decoder fell over: {one.words[:200]}")
            expect(one.cpu <= 2, f"{name}: {one.cpu:.2f} s of a core")
            expect(one.peak_mib < 400, f"{name}: {one.peak_mib:.0f} MiB")
            most = {unit: max(most[unit], (used, name)) for unit, used in (("s of a core", one.cpu), ("MiB", one.peak_mib))}
            if apart:
                again = Kept(program, path, apart)
                same = (again.code, again.report) == (one.code, one.report)
                expect(same, f"{name}: otherwise in a process of its own: {again.became()} {again.report.get('lost', '')}")
                again.done()
        whole = [(path, name, one) for path, name, one in kept if one.code == 0]
        with tempfile.TemporaryDirectory() as together:
            for path, name, one in whole:
                shutil.move(one.directory, pathlib.Path(together) / str(files.index(path)))
            no_metadata(together, {pathlib.Path(together) / str(files.index(path)): name for path, name, _ in whole})
        for path, _, one in kept:
            if one.code != 0:
                one.done()
        if whole:
            sent = exiftool(*TELLING, *[path for path, _, _ in whole])
            telling += sum(len(found) > 1 for found in sent)
            places += sum(any("GPS" in key for key in found) for found in sent)
    counts = {word: list(became.values()).count(word) for word in sorted(set(became.values()))}
    print(f"    {len(files)} files: {counts}")
    for unit, (used, name) in most.items():
        print(f"    most {unit}: {used:.2f} ({name})")
    print(f"    {telling} of the kept named a device, a place or a person when they were sent, {places} a place")
    expect(telling >= SENT_TELLING and places >= SENT_PLACES, "too few of the sent pictures say anything")
    compare_outcomes(became, write)


def compare_outcomes(became, write):
    lines = [f"{name}: {word}" for name, word in sorted(became.items())]
    if write:
        BASELINE.write_text("\n".join(lines) + "\n")
        return
    before = dict(line.rsplit(": ", 1) for line in BASELINE.read_text().splitlines())
    for name in sorted(before.keys() | became.keys()):
        was, now = before.get(name, "not there"), became.get(name, "not there")
        expect(was == now, f"{name}: {was} before, {now} now")


def main():
    arguments = argparse.ArgumentParser()
    built = pathlib.Path(os.environ.get("CLOSEWATCH_BIN_DIR", "target/debug/examples"))
    arguments.add_argument("program", nargs="?", default=str(built / "clean_photo"), help="the built example clean_photo")
    arguments.add_argument("--corpora", type=pathlib.Path)
    arguments.add_argument("--apart", type=pathlib.Path, help="the built closewatch")
    arguments.add_argument("--write", action="store_true")
    given = arguments.parse_args()
    if given.corpora:
        check_corpora(given.program, given.corpora, given.apart, given.write)
    else:
        for check in (check_metadata, check_orientations, check_resizing, check_colour):
            print(check.__name__)
            check(given.program)
    print("all well" if not problems else f"{len(problems)} problems")
    sys.exit(bool(problems))


main()
