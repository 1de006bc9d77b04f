# SPDX-License-Identifier: MIT
"""One task of bench-calendar.c, done with the icalendar library: bench-calendar.py FOLDER TASK."""
import datetime
import json
import pathlib
import sys
import time

from icalendar import Alarm, Calendar, Event

ROUNDS = 3
STAMP = datetime.datetime(2027, 1, 15, 7, 1, tzinfo=datetime.timezone.utc)
folder, task = pathlib.Path(sys.argv[1]), sys.argv[2]


def plain(event):
    """An event of the library as plain data, which is what writing begins from."""
    found = event.get("CATEGORIES", [])
    return {"uid": str(event["UID"]), "start": event["DTSTART"].dt, "end": event["DTEND"].dt,
            "stamp": event["DTSTAMP"].dt, "created": event["CREATED"].dt, "sequence": int(event["SEQUENCE"]),
            "status": str(event["STATUS"]), "summary": str(event["SUMMARY"]),
            "location": str(event["LOCATION"]), "description": str(event["DESCRIPTION"]),
            "categories": [str(item) for one in (found if isinstance(found, list) else [found]) for item in one.cats],
            "alarms": [(str(alarm["UID"]), str(alarm["DESCRIPTION"]), alarm["TRIGGER"].dt)
                       for alarm in event.walk("VALARM")]}


def build(data):
    event = Event()
    event.add("uid", data["uid"])
    for name, key in (("dtstamp", "stamp"), ("created", "created"), ("last-modified", "stamp"),
                      ("sequence", "sequence"), ("dtstart", "start"), ("dtend", "end"), ("status", "status"),
                      ("summary", "summary"), ("location", "location"), ("description", "description"),
                      ("categories", "categories")):
        event.add(name, data[key])
    event.add("transp", "TRANSPARENT")
    for uid, text, trigger in data["alarms"]:
        alarm = Alarm()
        alarm.add("uid", uid)
        alarm.add("action", "DISPLAY")
        alarm.add("description", text)
        alarm.add("trigger", trigger)
        event.add_component(alarm)
    return event


def calendar(events):
    made = Calendar()
    made.add("version", "2.0")
    made.add("prodid", "-//thole//bench//EN")
    for event in events:
        made.add_component(build(event))
    return made.to_ical()


def events(name):
    return [plain(event) for event in Calendar.from_ical((folder / name).read_bytes()).walk("VEVENT")]


def diff(old, new):
    """Which events are new, gone, moved, or say other words."""
    before, after = ({event["uid"]: event for event in one} for one in (old, new))
    kinds = {"added": after.keys() - before.keys(), "left": before.keys() - after.keys(),
             "moved": set(), "reworded": set()}
    for uid in before.keys() & after.keys():
        a, b = before[uid], after[uid]
        if any(a[key] != b[key] for key in ("start", "end", "status")):
            kinds["moved"].add(uid)
        elif any(a[key] != b[key] for key in ("summary", "location", "description", "categories", "alarms")):
            kinds["reworded"].add(uid)
    return kinds


def merge(text, data):
    """New times and words in an object; an alarm that was seen stays so where it rings as before."""
    object_ = Calendar.from_ical(text)
    event = next(iter(object_.walk("VEVENT")))
    start = event["DTSTART"].dt
    seen = {start + alarm["TRIGGER"].dt: alarm["ACKNOWLEDGED"] for alarm in event.walk("VALARM")
            if "ACKNOWLEDGED" in alarm}
    for name, key in (("dtstart", "start"), ("dtend", "end"), ("status", "status"), ("summary", "summary"),
                      ("location", "location"), ("description", "description"), ("categories", "categories"),
                      ("sequence", "sequence")):
        event.pop(name, None)
        event.add(name, data[key])
    for name in ("dtstamp", "last-modified"):
        event.pop(name, None)
        event.add(name, STAMP)
    event.subcomponents = build(data).subcomponents
    for alarm in event.subcomponents:
        if (at := data["start"] + alarm["TRIGGER"].dt) in seen:
            alarm["ACKNOWLEDGED"] = seen[at]
    return object_.to_ical()


def status_kb(field):
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith(field))


def prepare():
    if task in ("write", "objects"):
        new = events("new.ics")
        return {"write": lambda: calendar(new), "objects": lambda: [calendar([event]) for event in new]}[task]
    if task == "diff":
        old, new = events("old.ics"), events("new.ics")
        return lambda: diff(old, new)
    texts = json.loads((folder / "objects.json").read_text())
    if task == "read":
        return lambda: [plain(next(iter(Calendar.from_ical(text).walk("VEVENT")))) and None for text in texts]
    after = {event["uid"]: event for event in events("new.ics")}
    pairs = [(text, after[text.split("UID:", 1)[1].split("\r\n", 1)[0]]) for text in texts]
    return lambda: [merge(*pair) and None for pair in pairs]


run = prepare()
with open("/proc/self/clear_refs", "w") as file:
    file.write("5")
before_kb, best_ms, grown_kb = status_kb("VmRSS"), float("inf"), 0
for number in range(ROUNDS):
    begun = time.process_time()
    run()
    best_ms = min(best_ms, 1e3 * (time.process_time() - begun))
    grown_kb = grown_kb or status_kb("VmHWM") - before_kb
print(f"{best_ms:.1f} {grown_kb}")
