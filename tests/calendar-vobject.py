# SPDX-License-Identifier: MIT
"""What vobject reads in each calendar whose path comes on standard input: a line of JSON each, as
calendar-reader.py prints it. One of the readers of calendar-readers.sh."""
import json
import sys

import vobject


def seconds(time):
    if time.utcoffset() is None:
        raise SystemExit(f"a time without an offset: {time}")
    return int(time.timestamp())


def text(component, name):
    found = component.contents.get(name, [])
    return found[0].value if found else ""


def event(component):
    start = seconds(component.dtstart.value)
    return {
        "uid": component.uid.value,
        "sequence": int(component.sequence.value),
        "start": start,
        "end": seconds(component.dtend.value),
        "status": component.status.value,
        "summary": text(component, "summary"),
        "location": text(component, "location"),
        "description": text(component, "description"),
        "categories": [item for one in component.contents.get("categories", []) for item in one.value],
        "alarms": [{"action": alarm.action.value, "text": alarm.description.value,
                    "at": start + int(alarm.trigger.value.total_seconds())}
                   for alarm in component.contents.get("valarm", [])],
    }


for line in sys.stdin:
    path = line.rstrip("\n")
    with open(path, encoding="utf-8", newline="") as file:
        calendar = vobject.readOne(file)
    print(json.dumps({"file": path, "events": [event(one) for one in calendar.contents.get("vevent", [])]}))
