# SPDX-License-Identifier: MIT
"""Print what an independent parser reads in an iCalendar file, as JSON.

Usage: calendar-reader.py FILE ZONE, or calendar-reader.py - ZONE with paths on standard input:
then a line for each file, with its path as "file".

Instants are UTC seconds; "start_local" is the wall time of the start in ZONE.
"""
import json
import sys
from zoneinfo import ZoneInfo

from icalendar import Calendar


def seconds(prop):
    if prop.dt.utcoffset() is None:
        raise SystemExit(f"a time without an offset: {prop.dt}")
    return int(prop.dt.timestamp())


def categories(event):
    found = event.get("CATEGORIES", [])
    lists = found if isinstance(found, list) else [found]
    return [str(item) for one in lists for item in one.cats]


def alarm(component, start):
    return {
        "uid": str(component["UID"]),
        "action": str(component["ACTION"]),
        "text": str(component["DESCRIPTION"]),
        "at": start + int(component["TRIGGER"].dt.total_seconds()),
    }


def event(component, zone):
    start = seconds(component["DTSTART"])
    return {
        "uid": str(component["UID"]),
        "sequence": int(component["SEQUENCE"]),
        "start": start,
        "start_local": component["DTSTART"].dt.astimezone(zone).strftime("%Y-%m-%d %H:%M"),
        "end": seconds(component["DTEND"]),
        "stamp": seconds(component["DTSTAMP"]),
        "created": seconds(component["CREATED"]),
        "modified": seconds(component["LAST-MODIFIED"]),
        "status": str(component["STATUS"]),
        "summary": str(component["SUMMARY"]),
        "location": str(component.get("LOCATION", "")),
        "description": str(component.get("DESCRIPTION", "")),
        "categories": categories(component),
        "alarms": [alarm(sub, start) for sub in component.walk("VALARM")],
    }


def read(path, zone):
    with open(path, "rb") as file:
        calendar = Calendar.from_ical(file.read())
    broken = [error for component in calendar.walk() for error in component.errors]
    if broken:
        raise SystemExit(f"{path}: {broken}")
    return {
        "name": str(calendar.get("X-WR-CALNAME", "")),
        "standard_name": str(calendar.get("NAME", "")),
        "events": [event(one, ZoneInfo(zone)) for one in calendar.walk("VEVENT")],
    }


def main(path, zone):
    if path != "-":
        json.dump(read(path, zone), sys.stdout)
        return
    for line in sys.stdin:
        print(json.dumps({"file": line.rstrip("\n"), **read(line.rstrip("\n"), zone)}))


main(*sys.argv[1:])
