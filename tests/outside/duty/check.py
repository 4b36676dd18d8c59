"""Shifts and practice hours over changes of clocks, against Python's zoneinfo and the IANA database in `tzdata`.

What a minute of a clock's face is as an instant is found here another way: by walking through time in steps of a
minute until the clock shows that minute or a later one. Prints the zones and ends with 1 when anything differs.

    cargo build --example duty_times
    VENV/bin/python tests/outside/duty/check.py
"""

import datetime as dt
import json
import os
import pathlib
import subprocess
import sys
import zoneinfo

# The pinned package, not whatever the machine has.
zoneinfo.reset_tzpath(to=[])

ROOT = pathlib.Path(__file__).resolve().parents[3]
TARGET = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
BINARIES = pathlib.Path(os.environ.get("CLOSEWATCH_BIN_DIR", TARGET / "debug" / "examples"))

ZONES = [
    "America/New_York", "America/Los_Angeles", "America/Sao_Paulo", "America/St_Johns", "America/Phoenix",
    "America/Santiago", "Europe/Madrid", "Europe/London", "Europe/Dublin", "Africa/Casablanca", "Asia/Beirut",
    "Asia/Kolkata", "Asia/Tehran", "Australia/Lord_Howe", "Australia/Sydney", "Pacific/Auckland",
]
YEARS = range(2005, 2026)
# From, until: over midnight, from and to minutes that are skipped or come twice, a whole day.
SHIFTS = [(1320, 360), (480, 1200), (90, 150), (150, 90), (0, 1440), (120, 180), (480, 480), (60, 61)]
HOURS = [(480, 1080), (0, 1440), (60, 150), (120, 180)]
MINUTE = dt.timedelta(minutes=1)
DAY = 1440
UTC = dt.timezone.utc


def changes(zone):
    """Dates on which the offset changes, by looking at every day's two midnights."""
    found = []
    day = dt.datetime(YEARS[0], 1, 1, tzinfo=UTC)
    while day.year in YEARS:
        after = day + dt.timedelta(days=1)
        if day.astimezone(zone).utcoffset() != after.astimezone(zone).utcoffset():
            found.append(day.date())
        day = after
    return found


class Clock:
    """The clock's face in a zone over a few days, minute by minute."""

    def __init__(self, zone, around):
        self.zone = zone
        self.start = dt.datetime.combine(around, dt.time(), UTC) - dt.timedelta(days=4)
        self.faces = []
        for minute in range(9 * DAY):
            local = (self.start + minute * MINUTE).astimezone(zone).replace(tzinfo=None)
            self.faces.append(local)
        # The latest face so far: the first instant that shows a time or a later one is where this reaches it.
        self.latest = []
        high = self.faces[0]
        for face in self.faces:
            high = max(high, face)
            self.latest.append(high)

    def instant(self, date, minute):
        wanted = dt.datetime.combine(date, dt.time()) + minute * MINUTE
        low, high = 0, len(self.latest)
        while low < high:
            middle = (low + high) // 2
            if self.latest[middle] >= wanted:
                high = middle
            else:
                low = middle + 1
        return int((self.start + low * MINUTE).timestamp())


def expected_shift(clock, date, start, end):
    begins = clock.instant(date, start)
    ends = clock.instant(date, end if end > start else end + DAY)
    return [begins, ends] if begins < ends else None


def main():
    asked, wanted = {"shifts": [], "hours": []}, {"shifts": [], "open": [], "next": []}
    counted = {}
    for name in ZONES:
        zone = zoneinfo.ZoneInfo(name)
        dates = changes(zone)
        counted[name] = len(dates)
        # A zone that keeps one time all year is asked on one day all the same.
        dates = dates or [dt.date(2020, 3, 8)]
        for date in dates:
            clock = Clock(zone, date)
            for day in (date - dt.timedelta(days=1), date, date + dt.timedelta(days=1)):
                for start, end in SHIFTS:
                    asked["shifts"].append(
                        {"zone": name, "date": day.isoformat(), "from_minute": start, "until_minute": end})
                    wanted["shifts"].append(expected_shift(clock, day, start, end))
            for start, end in HOURS:
                spans = [(clock.instant(day, start), clock.instant(day, end))
                         for day in (date + dt.timedelta(days=shift) for shift in range(-3, 4))]
                spans = [span for span in spans if span[0] < span[1]]
                # Every seventh minute of the two days around the change, and both sides of every beginning and end.
                first = int(dt.datetime.combine(date - dt.timedelta(days=1), dt.time(12), UTC).timestamp())
                at = list(range(first, first + 2 * 86400, 7 * 60))
                at += [edge + side for span in spans[2:5] for edge in span for side in (-1, 0)]
                asked["hours"].append({"zone": name, "from_minute": start, "until_minute": end, "at": at})
                wanted["open"].append([any(a <= second < b for a, b in spans) for second in at])
                wanted["next"].append(next_changes(spans, at[0]))
    answered = json.loads(subprocess.run(
        [BINARIES / "duty_times"], input=json.dumps(asked), capture_output=True, text=True, check=True).stdout)
    wrong = 0
    for question, ours, theirs in zip(asked["shifts"], answered["shifts"], wanted["shifts"], strict=True):
        if ours != theirs:
            wrong += 1
            print("shift differs:", question, "ours", ours, "zoneinfo", theirs)
    for question, ours, is_open, nexts in zip(
            asked["hours"], answered["hours"], wanted["open"], wanted["next"], strict=True):
        mine = (ours["opens_next"], ours["closes"])
        if ours["open"] != is_open or any(b is not None and a != b for a, b in zip(mine, nexts)):
            wrong += 1
            print("hours differ:", {**question, "at": question["at"][0]}, mine, nexts)
    minutes = sum(len(one["at"]) for one in asked["hours"])
    for name, count in counted.items():
        print(f"{name:<22} {count:>3} changes of clocks {YEARS[0]}-{YEARS[-1]}")
    print(f"{len(asked['shifts'])} shifts and {minutes} instants of hours, {wrong} wrong")
    return 1 if wrong else 0


def next_changes(spans, at):
    """The next opening and closing within the days looked at; None where that is not known from them."""
    merged = []
    for begins, ends in spans:
        if merged and begins <= merged[-1][1]:
            merged[-1] = (merged[-1][0], ends)
        else:
            merged.append((begins, ends))
    opens = next((begins for begins, _ in merged[1:] if begins > at), None)
    closes = next((ends for begins, ends in merged[:-1] if begins <= at < ends), None)
    return opens, closes


sys.exit(main())
