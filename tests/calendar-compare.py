# SPDX-License-Identifier: MIT
"""Compare what each reader read in kept calendars with what was meant.

Usage: calendar-compare.py FOLDER READER=LINES.json...

FOLDER holds SUM.ics and SUM.json (see calendar-keep.c), or calendars of which nobody says what was
meant: then it is what the first reader read. Each file of lines is what one reader said, a line of
JSON for each calendar. Prints how much was compared; complains and fails on the first field that
differs.
"""
import json
import pathlib
import sys


def plain(event):
    """An event without what the readers have no common word for, alarms in the order of time."""
    kept = ("uid", "sequence", "start", "end", "status", "summary", "location", "description",
            "categories")
    alarms = sorted(({"at": a["at"], "action": a["action"], "text": a["text"]} for a in event["alarms"]),
                    key=lambda a: (a["at"], a["text"]))
    return {**{key: event[key] for key in kept}, "alarms": alarms}


# What a reader is known to misread; nothing else is forgiven.
# These take one kind of escape after the other, so that a backslash in a text takes the letter
# behind it along. thole's wording has none (docs/calendar.md, Traps); only a test writes some.
MISREADS_BACKSLASHES = ("icalendar", "node-ical")
# These drop the blanks at the end of a category. thole's own have none; only a test writes some.
TRIMS_CATEGORIES = ("libical", "node-ical")
TEXTS = ("summary", "location", "description")


def differences(meant, read, reader):
    for key, value in meant.items():
        if key in TEXTS and "\\" in value and reader in MISREADS_BACKSLASHES:
            continue
        if key == "categories" and reader in TRIMS_CATEGORIES:
            value = [item.rstrip(" ") for item in value]
        if read[key] != value:
            yield f"{key}: meant {value!r}, read {read[key]!r}"


def lines_of(path):
    return [json.loads(line) for line in pathlib.Path(path).read_text(encoding="utf-8").splitlines()]


def main(folder, *readings):
    files = sorted(pathlib.Path(folder).rglob("*.ics"))
    first = {said["file"]: said["events"] for said in lines_of(readings[0].split("=", 1)[1])}
    meant = {}
    for file in files:
        told = file.with_suffix(".json")
        events = json.loads(told.read_text(encoding="utf-8"))["events"] if told.exists() else first.get(str(file), [])
        meant[str(file)] = {event["uid"]: plain(event) for event in events}
    wrong = []
    for reading in readings:
        reader, path = reading.split("=", 1)
        seen = set()
        for said in lines_of(path):
            seen.add(said["file"])
            events = {event["uid"]: plain(event) for event in said["events"]}
            wanted = meant[said["file"]]
            if set(events) != set(wanted) or len(said["events"]) != len(wanted):
                wrong.append(f"{reader}: {said['file']}: other events")
                continue
            for uid, event in wanted.items():
                wrong += [f"{reader}: {said['file']}: {uid}: {one}"
                          for one in differences(event, events[uid], reader)]
        if seen != set(meant):
            wrong.append(f"{reader}: {len(set(meant) - seen)} calendars were not read")
    events = sum(len(calendar) for calendar in meant.values())
    alarms = sum(len(event["alarms"]) for calendar in meant.values() for event in calendar.values())
    print(f"# {len(files)} calendars, {events} events, {alarms} alarms, {len(readings)} readers")
    if wrong or not events:
        print("\n".join(wrong[:20]))
        sys.exit(f"{len(wrong)} differences" if wrong else "no event was kept")


main(*sys.argv[1:])
