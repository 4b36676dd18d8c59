"""Are the calendar files right, read by another program?

Reads them with PyPI icalendar: fields, times across the changes of clocks in three zones (held against Python's
zoneinfo), folding at 75 octets, escaping of long and non-ASCII texts. Ends with 1 on the first difference.

    cargo build --example print_calendar
    VENV/bin/python tests/outside/calendar/check.py
"""
import datetime
import json
import os
import pathlib
import subprocess
import sys
import zoneinfo

import icalendar

ROOT = pathlib.Path(__file__).resolve().parents[3]
TARGET = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
PRINT = TARGET / "debug" / "examples" / "print_calendar"
UTC = datetime.timezone.utc
# Operated shortly before the clocks change: New York forward and back, London forward, and a zone without changes.
PLANS = [
    ("America/New_York", "2026-03-05T18:00:00Z"),
    ("America/New_York", "2026-10-29T18:00:00Z"),
    ("Europe/London", "2026-03-26T18:00:00Z"),
    ("America/Phoenix", "2026-03-05T18:00:00Z"),
]
TEXTS = [
    "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.",
    "semi;colon, comma and back\\slash \\n \\, \\;",
    "ñandú " * 40,
    "日本語のとても長い一行" * 12,
    "🩹" * 60,
    "x" * 75,
    "x" * 76,
    "a\r\nb\rc\nd",
    'quotes "and" colons: all of them',
]
faults = []


def expect(what, found, wanted):
    if found != wanted:
        faults.append(f"{what}: {found!r} instead of {wanted!r}")


def printed(*asked, stdin=""):
    done = subprocess.run([PRINT, *asked], input=stdin.encode(), capture_output=True, check=True)
    return done.stdout


def check_lines(name, raw):
    lines = raw.split(b"\r\n")
    expect(f"{name}: ends with CR LF", lines[-1], b"")
    for line in lines[:-1]:
        if len(line) > 75 or b"\n" in line or b"\r" in line:
            faults.append(f"{name}: a line of {len(line)} octets: {line!r}")
        try:
            line.decode()
        except UnicodeDecodeError:
            faults.append(f"{name}: a letter is torn apart: {line!r}")


def check_plan(zone_name, operated):
    name = f"{zone_name} {operated}"
    raw = printed("plan", zone_name, operated)
    check_lines(name, raw)
    found = icalendar.Calendar.from_ical(raw)
    expect(f"{name}: version", str(found["VERSION"]), "2.0")
    if not str(found.get("PRODID", "")):
        faults.append(f"{name}: no PRODID")
    zone = zoneinfo.ZoneInfo(zone_name)
    when = datetime.datetime.fromisoformat(operated.replace("Z", "+00:00"))
    day_0 = when.astimezone(zone).date()
    events = found.walk("VEVENT")
    uids = [str(event["UID"]) for event in events]
    expect(f"{name}: every UID once", len(set(uids)), len(uids))
    starts = []
    for event in events:
        for field in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SEQUENCE", "SUMMARY", "STATUS"):
            if field not in event:
                faults.append(f"{name}: an event without {field}")
        start, end = event["DTSTART"].dt, event["DTEND"].dt
        expect(f"{name}: in UTC", (start.utcoffset(), end.utcoffset()), (datetime.timedelta(0),) * 2)
        if not start < end:
            faults.append(f"{name}: {start} to {end}")
        expect(f"{name}: neutral", str(event["SUMMARY"]), "Closewatch: el paso de hoy")
        starts.append(start)
        cancelled = str(event["STATUS"]) == "CANCELLED"
        expect(f"{name}: a cancelled step counts up", int(event["SEQUENCE"]), 1 if cancelled else 0)
    expect(f"{name}: one is cancelled", sum(str(event["STATUS"]) == "CANCELLED" for event in events), 1)
    # Seven in the morning by the practice's clock on each photo day, whatever the clocks did in between.
    for day in [*range(1, 8), *range(9, 22, 2), *range(28, 91, 7)]:
        local = datetime.datetime.combine(day_0 + datetime.timedelta(days=day), datetime.time(7), zone)
        if local.astimezone(UTC) not in starts:
            faults.append(f"{name}: day {day} does not begin at {local}")
    removal = when + datetime.timedelta(hours=48) - datetime.timedelta(minutes=90)
    if removal not in starts:
        faults.append(f"{name}: nothing begins at {removal}")
    print(f"{name:45} {len(events):3} events")


def check_texts():
    raw = printed("text", stdin=json.dumps(TEXTS))
    check_lines("texts", raw)
    events = icalendar.Calendar.from_ical(raw).walk("VEVENT")
    expect("as many events as texts", len(events), len(TEXTS))
    for event, text in zip(events, TEXTS):
        wanted = text.replace("\r\n", "\n").replace("\r", "\n")
        for field in ("SUMMARY", "DESCRIPTION"):
            expect(f"{field} of {text[:20]!r}", str(event[field]), wanted)
    print(f"{'texts':45} {len(events):3} events")


for plan in PLANS:
    check_plan(*plan)
check_texts()
for fault in faults:
    print(fault, file=sys.stderr)
sys.exit(1 if faults else 0)
