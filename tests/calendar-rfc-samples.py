# SPDX-License-Identifier: MIT
"""For each rule of calendar-rfc.py a calendar that breaks it and no other rule, which must be found
out, and calendars beside it that break none. With a FOLDER, objects as clients leave them are put
there as well. Prints TAP."""
import importlib.util
import pathlib
import sys

spec = importlib.util.spec_from_file_location("rfc", pathlib.Path(__file__).with_name("calendar-rfc.py"))
rfc = importlib.util.module_from_spec(spec)
spec.loader.exec_module(rfc)

EVENT = """BEGIN:VEVENT
UID:6ec33f16-5c1f-4ae2-9d28-6a2f3c54c3a1
DTSTAMP:20260328T060000Z
CREATED:20260327T060000Z
LAST-MODIFIED:20260328T060000Z
SEQUENCE:2
DTSTART:20260328T220000Z
DTEND:20260329T060000Z
STATUS:CONFIRMED
TRANSP:TRANSPARENT
SUMMARY:Frühbeet: 3 Schalen Lauch\\, Deckel zu\\; später
DESCRIPTION:Erst \\\\ dann\\nund "so": Ende
CATEGORIES:Lauch,Kohl
BEGIN:VALARM
UID:6ec33f16-5c1f-4ae2-9d28-6a2f3c54c3a1-alarm-15
ACTION:DISPLAY
DESCRIPTION:Deckel zu
TRIGGER:-PT15M
END:VALARM
END:VEVENT
"""
HEAD = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//thole//tholed//EN
"""
GOOD = HEAD + """NAME:Garten
X-WR-CALNAME:Garten
REFRESH-INTERVAL;VALUE=DURATION:PT1H
X-PUBLISHED-TTL:PT1H
COLOR:SeaGreen
SOURCE;VALUE=URI:https://garden.example/feed
""" + EVENT + """END:VCALENDAR
"""
OBJECT = HEAD + EVENT + "END:VCALENDAR\n"
ZONE = """BEGIN:VTIMEZONE
TZID:Europe/London
BEGIN:STANDARD
DTSTART:20251026T020000
TZOFFSETFROM:+0100
TZOFFSETTO:+0000
RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU
END:STANDARD
BEGIN:DAYLIGHT
DTSTART:20260329T010000
TZOFFSETFROM:+0000
TZOFFSETTO:+0100
RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=-1SU
END:DAYLIGHT
END:VTIMEZONE
"""
ZONED = OBJECT.replace("BEGIN:VEVENT", ZONE + "BEGIN:VEVENT").replace(
    "DTSTART:20260328T220000Z", "DTSTART;TZID=Europe/London:20260328T220000").replace(
    "DTEND:20260329T060000Z", "DTEND;TZID=Europe/London:20260329T070000")
OTHER = EVENT.replace("6ec33f16", "7fd44027")


def octets(text):
    return text.encode("utf-8").replace(b"\n", b"\r\n")


def edit(text, *pairs):
    """TEXT with each old part, which must be there, made new."""
    for old, new in zip(pairs[::2], pairs[1::2]):
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def good(*pairs):
    return octets(edit(GOOD, *pairs))


def raw(old, new):
    """The same on the octets."""
    whole = octets(GOOD)
    assert old in whole, old
    return whole.replace(old, new, 1)


FLOATING = ("DTSTART:20260328T220000Z", "DTSTART:20260328T220000", "DTEND:20260329T060000Z",
            "DTEND:20260329T060000")
SUMMARY = "SUMMARY:Frühbeet: 3 Schalen Lauch\\, Deckel zu\\; später"
LONG = "SUMMARY:" + "x" * 67
ALARM = "TRIGGER:-PT15M"
# What breaks a rule: the rule and a calendar.
BROKEN = [
    ("crlf", raw(b"VERSION:2.0\r\n", b"VERSION:2.0\n")),
    ("crlf", raw(b"SEQUENCE:2\r\n", b"SEQUENCE:2\r\r\n")),
    ("crlf", octets(GOOD)[:-2]),
    ("crlf", octets(GOOD)[:-1]),
    ("utf-8", raw("ü".encode(), b"\xfc")),
    ("utf-8", raw("ü".encode(), b"\xc0\x80")),
    ("bom", b"\xef\xbb\xbf" + octets(GOOD)),
    ("length", good(SUMMARY, LONG + "x")),
    ("length", good(SUMMARY, "SUMMARY:" + "ü" * 34)),  # 42 characters, 76 octets
    ("length", good(SUMMARY, "SUMMARY:\n " + "x" * 75)),  # the blank of a fold counts
    ("fold", raw("ü".encode(), b"\xc3\r\n \xbc")),
    ("control", good("Deckel zu\nTRIGGER", "Deckel\x07zu\nTRIGGER")),
    ("control", good("Deckel zu\nTRIGGER", "Deckel\x7fzu\nTRIGGER")),
    ("control", good("Deckel zu\nTRIGGER", "Deckel\x00zu\nTRIGGER")),
    ("line", good("SEQUENCE:2", "SEQUENCE:2\nno colon")),
    ("line", good("SEQUENCE:2", "SEQUENCE:2\n")),
    ("line", good("SEQUENCE:2", "SEQUENCE:2\nCOM_MENT:x")),
    ("line", good("SEQUENCE:2", 'SEQUENCE:2\nCOMMENT;ALTREP="a:x')),
    ("line", good("SEQUENCE:2", "SEQUENCE:2\nCOMMENT;LANGUAGE:x")),
    ("parameter", good("SEQUENCE:2", "SEQUENCE:2\nCOMMENT;LANGUAGE=en;LANGUAGE=de:x")),
    ("nesting", good("END:VALARM\nEND:VEVENT", "END:VEVENT\nEND:VALARM")),
    ("nesting", good("END:VCALENDAR\n", "")),
    ("nesting", good("BEGIN:VEVENT", "BEGIN:STANDARD\nEND:STANDARD\nBEGIN:VEVENT")),
    ("whole", octets(GOOD + GOOD)),
    ("whole", octets(GOOD + "X-REST:x\n")),
    ("empty", octets(GOOD.replace(EVENT, ""))),
    ("head", good("VERSION:2.0\n", "")),
    ("head", good("VERSION:2.0", "VERSION:1.0")),
    ("head", good("PRODID:-//thole//tholed//EN\n", "")),
    ("method", good("VERSION:2.0", "METHOD:PUBLISH\nVERSION:2.0")),
    ("once", good("SEQUENCE:2", "SEQUENCE:2\nSEQUENCE:3")),
    ("once", good("COLOR:SeaGreen", "COLOR:teal\nCOLOR:navy")),
    ("once", good("NAME:Garten", "NAME:Garten\nNAME:Hof")),
    ("once", good(ALARM, ALARM + "\nDESCRIPTION:zu")),
    ("place", good("VERSION:2.0", "VERSION:2.0\nSUMMARY:x")),
    ("place", good(ALARM, ALARM + "\nLOCATION:x")),
    ("people", good("SEQUENCE:2", "SEQUENCE:2\nORGANIZER:mailto:a@garden.example")),
    ("people", good("SEQUENCE:2", "SEQUENCE:2\nATTENDEE:mailto:a@garden.example")),
    ("people", good(ALARM, ALARM + "\nATTENDEE:mailto:a@garden.example")),
    ("uid", good("UID:6ec33f16-5c1f-4ae2-9d28-6a2f3c54c3a1\nDTSTAMP", "DTSTAMP")),
    ("uid-grammar", good("6a2f3c54c3a1\nDTSTAMP", "6a2f3c54c3a1@host\nDTSTAMP")),
    ("uid-grammar", good("6a2f3c54c3a1\nDTSTAMP", "6a2f3c54c3a1_1\nDTSTAMP")),
    ("uid-grammar", good("6a2f3c54c3a1-alarm-15", "6a2f3c54c3a1.15")),
    ("uid-grammar", good("6a2f3c54c3a1\nDTSTAMP", 4 * ("a\n " + "a" * 73) + "\nDTSTAMP")),
    ("uid-unique", good("END:VCALENDAR", EVENT.replace("-alarm-15", "-alarm-16") + "END:VCALENDAR")),
    ("uid-unique", good("END:VCALENDAR", OTHER.replace("7fd44027-5c1f-4ae2-9d28-6a2f3c54c3a1-alarm",
                                                       "6ec33f16-5c1f-4ae2-9d28-6a2f3c54c3a1-alarm") +
                        "END:VCALENDAR")),
    ("dtstamp", good("DTSTAMP:20260328T060000Z\n", "")),
    ("dtstamp", good("DTSTAMP:20260328T060000Z", "DTSTAMP:20260328T060000", "LAST-MODIFIED:20260328T060000Z\n", "")),
    ("stamp-modified", good("DTSTAMP:20260328T060000Z", "DTSTAMP:20260328T060001Z")),
    ("utc", good("CREATED:20260327T060000Z", "CREATED:20260327T060000")),
    ("utc", good("CREATED:20260327T060000Z", "CREATED:20260329T060000Z")),
    ("dtstart", good("DTSTART:20260328T220000Z\n", "")),
    ("dtend", good("DTEND:20260329T060000Z", "DTEND:20260328T220000Z")),
    ("dtend", good("DTEND:20260329T060000Z", "DTEND:20260328T210000Z")),
    ("dtend", good("DTEND:20260329T060000Z", "DTEND:20260329T060000Z\nDURATION:PT8H")),
    ("dtend", good("DTEND:20260329T060000Z", "DTEND;VALUE=DATE:20260330")),
    ("dtend", good("DTEND:20260329T060000Z", "DURATION:-PT8H")),
    ("time", good("DTEND:20260329T060000Z", "DTEND:20260431T060000Z")),
    ("time", good("DTEND:20260329T060000Z", "DTEND:20260329T240000Z")),
    ("time", good("DTEND:20260329T060000Z", "DTEND:20260329T070000+0100")),
    ("time", good("DTEND:20260329T060000Z", "DTEND:2026-03-29T06:00:00Z")),
    ("duration", good(ALARM, "TRIGGER:-P15M")),
    ("duration", good(ALARM, "TRIGGER:-PT")),
    ("duration", good(ALARM, "TRIGGER:-PT1H30S")),
    ("duration", good(ALARM, "TRIGGER:PT-15M")),
    ("duration", good("X-PUBLISHED-TTL:PT1H", "X-PUBLISHED-TTL:P1H", "REFRESH-INTERVAL;VALUE=DURATION:PT1H",
                      "REFRESH-INTERVAL;VALUE=DURATION:P1H")),
    ("number", good("SEQUENCE:2", "SEQUENCE:-2")),
    ("number", good("SEQUENCE:2", "SEQUENCE:two")),
    ("number", good("SEQUENCE:2", "SEQUENCE:2\nPRIORITY:10")),
    ("status", good("STATUS:CONFIRMED", "STATUS:COMPLETED")),
    ("word", good("TRANSP:TRANSPARENT", "TRANSP:FREE")),
    ("word", good("TRANSP:TRANSPARENT", "CLASS:SECRET")),
    ("escape", good("Lauch\\, Deckel", "Lauch, Deckel")),
    ("escape", good("zu\\; später", "zu; später")),
    ("escape", good("Frühbeet: 3", "Frühbeet\\: 3")),
    ("escape", good("Erst \\\\ dann", "Erst \\ dann")),
    ("escape", good("CATEGORIES:Lauch,Kohl", "CATEGORIES:Lauch;Kohl")),
    ("escape-x", good("X-WR-CALNAME:Garten", "X-WR-CALNAME:Garten\nX-NOTE:one, two")),
    ("value", good("DTSTART:", "DTSTART;VALUE=PERIOD:")),
    ("value", good("SUMMARY:", "SUMMARY;VALUE=URI:")),
    ("tzid", good("DTSTART:", "DTSTART;TZID=Europe/London:")),  # on UTC
    ("tzid", octets(ZONED.replace(ZONE, ""))),
    ("tzid", octets(edit(ZONED, "TZID:Europe/London", "TZID:Europe/Dublin"))),
    ("zone", octets(edit(ZONED, "DTSTART:20251026T020000", "DTSTART:20251026T010000Z"))),
    ("zone", octets(edit(ZONED, "TZOFFSETTO:+0000", "TZOFFSETTO:-0000"))),
    ("zone", octets(edit(ZONED, "TZOFFSETTO:+0000\n", ""))),
    ("zone", octets(edit(ZONED, "BYDAY=-1SU", "BYDAY=-1SU;UNTIL=20370101T000000"))),
    ("zone", octets(edit(ZONED, "RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU", "RDATE:20261025T010000Z"))),
    ("zone", octets(edit(ZONED, "BEGIN:VEVENT", ZONE + "BEGIN:VEVENT"))),
    ("floating", good(*FLOATING)),
    ("alarm", good(ALARM + "\n", "")),
    ("alarm", good("ACTION:DISPLAY\n", "")),
    ("alarm-text", good("DESCRIPTION:Deckel zu\n", "")),
    ("alarm-repeat", good(ALARM, ALARM + "\nREPEAT:2")),
    ("alarm-repeat", good(ALARM, ALARM + "\nDURATION:PT5M")),
    ("trigger", good(ALARM, "TRIGGER;VALUE=DATE-TIME:20260328T214500")),
    ("trigger", good(ALARM, "TRIGGER;VALUE=DATE-TIME;RELATED=START:20260328T214500Z")),
    ("trigger", good(ALARM, "TRIGGER;RELATED=NOW:-PT15M")),
    ("acknowledged", good(ALARM, ALARM + "\nACKNOWLEDGED:20260328T214500")),
    ("alarm-shape", good(ALARM, "TRIGGER:PT15M")),
    ("alarm-shape", good(ALARM, "TRIGGER:-PT90S")),
    ("alarm-shape", good(ALARM, "TRIGGER;RELATED=END:-PT15M")),
    ("alarm-shape", good(ALARM, "TRIGGER:-P8D")),
    ("alarm-cancelled", good("STATUS:CONFIRMED", "STATUS:CANCELLED")),
    ("refresh", good("REFRESH-INTERVAL;VALUE=DURATION", "REFRESH-INTERVAL")),
    ("refresh", good("REFRESH-INTERVAL;VALUE=DURATION:PT1H", "REFRESH-INTERVAL;VALUE=DURATION:PT0S",
                     "X-PUBLISHED-TTL:PT1H", "X-PUBLISHED-TTL:PT0S")),
    ("source", good("SOURCE;VALUE=URI", "SOURCE")),
    ("source", good("SOURCE;VALUE=URI:https://garden.example/feed", "SOURCE;VALUE=URI:garden.example")),
    ("colour", good("COLOR:SeaGreen", "COLOR:#2e8b57")),
    ("colour", good("COLOR:SeaGreen", "COLOR:leek")),
    ("name-twice", good("X-WR-CALNAME:Garten", "X-WR-CALNAME:Hof")),
    ("name-twice", good("X-PUBLISHED-TTL:PT1H", "X-PUBLISHED-TTL:PT2H")),
]
# The same of objects, of collections, and of versions, oldest first.
OBJECTS = [
    ("object-type", [edit(OBJECT, "END:VCALENDAR",
                          "BEGIN:VTODO\nUID:6ec33f16-5c1f-4ae2-9d28-6a2f3c54c3a1\nEND:VTODO\nEND:VCALENDAR")]),
    ("object-uid", [edit(OBJECT, "END:VCALENDAR", OTHER + "END:VCALENDAR")]),
    ("method", [edit(OBJECT, "VERSION:2.0", "METHOD:PUBLISH\nVERSION:2.0")]),
]
LATER = ("DTSTAMP:20260328T060000Z", "DTSTAMP:20260328T070000Z", "LAST-MODIFIED:20260328T060000Z",
         "LAST-MODIFIED:20260328T070000Z")
HISTORIES = [
    ("sequence-falls", [OBJECT, edit(OBJECT, *LATER, "SEQUENCE:2", "SEQUENCE:1", "Frühbeet", "Beet")]),
    ("sequence-stays", [OBJECT, edit(OBJECT, *LATER, "DTEND:20260329T060000Z", "DTEND:20260329T061500Z")]),
    ("sequence-stays", [OBJECT, edit(OBJECT, *LATER, "STATUS:CONFIRMED", "STATUS:TENTATIVE")]),
    ("stamp-stays", [OBJECT, edit(OBJECT, "Frühbeet", "Beet")]),
    ("stamp-moves", [OBJECT, edit(OBJECT, *LATER)]),
    ("created-moves", [OBJECT, edit(OBJECT, *LATER, "CREATED:20260327", "CREATED:20260326", "Frühbeet", "Beet")]),
]
# What is right, though it looks odd.
RIGHT = [
    ("the good one", good()),
    ("a line of 75 octets", good(SUMMARY, LONG)),
    ("a fold with a tab, of nothing but a blank", good(SUMMARY, "SUMMARY:\n\tFrüh\n  beet")),
    ("a fold in a name", good("SEQUENCE:2", "SEQU\n ENCE:2")),
    ("names in any case", good("SEQUENCE:2", "sequence:2", "BEGIN:VALARM", "begin:valarm")),
    ("a tab in a text", good("Deckel zu\nTRIGGER", "Deckel\tzu\nTRIGGER")),
    ("parameters quoted, and of two values", good("CATEGORIES:", 'CATEGORIES;LANGUAGE=de;X-A="a:b;c,d",e:')),
    ("a leap second", good("DTEND:20260329T060000Z", "DTEND:20261231T235960Z")),
    ("a zone with its definition", octets(ZONED)),
    ("whole days", good("DTSTART:20260328T220000Z", "DTSTART;VALUE=DATE:20260328", "DTEND:20260329T060000Z",
                        "DTEND;VALUE=DATE:20260329")),
    ("a duration instead of an end", good("DTEND:20260329T060000Z", "DURATION:PT8H")),
    ("weeks, days and hours", good(ALARM, "TRIGGER:-P1DT2H3M", "X-PUBLISHED-TTL:PT1H", "X-PUBLISHED-TTL:P2W",
                                   "REFRESH-INTERVAL;VALUE=DURATION:PT1H", "REFRESH-INTERVAL;VALUE=DURATION:P2W")),
    ("an alarm at an instant", good(ALARM, "TRIGGER;VALUE=DATE-TIME:20260328T214500Z")),
    ("an alarm at the start", good(ALARM, "TRIGGER:PT0S")),
    ("an alarm that was seen", good(ALARM, ALARM + "\nACKNOWLEDGED:20260328T214500Z")),
    ("a snooze", good("END:VALARM", "END:VALARM\nBEGIN:VALARM\nUID:s\nACTION:DISPLAY\nDESCRIPTION:x\nTRIGGER;VALUE="
                      "DATE-TIME:20260328T220500Z\nRELATED-TO;RELTYPE=SNOOZE:x\nEND:VALARM")),
]
RIGHT_HISTORIES = [
    ("other words", [OBJECT, edit(OBJECT, *LATER, "Frühbeet", "Beet")]),
    ("another time", [OBJECT, edit(OBJECT, *LATER, "SEQUENCE:2", "SEQUENCE:3", "T060000Z\nSTATUS", "T070000Z\nSTATUS")]),
    ("the same twice", [OBJECT, OBJECT]),
]

# What clients make of an object: legal by the standards, and so must be what thole merges into it.
EXCEPTION = edit(EVENT, "DTSTART:20260328T220000Z", "RECURRENCE-ID;TZID=Europe/London:20260329T220000\n"
                 "DTSTART;TZID=Europe/London:20260329T230000", "DTEND:20260329T060000Z",
                 "DTEND;TZID=Europe/London:20260330T070000", "-alarm-15", "-alarm-16")
EDITED = {
    "plain": OBJECT,
    "zone": ZONED,
    "at-our-time": edit(ZONED, "London:20260328T220000", "London:20260329T190000", "London:20260329T070000",
                        "London:20260329T191500"),
    "repeats": edit(ZONED, "SEQUENCE:2", "SEQUENCE:2\nRRULE:FREQ=DAILY;COUNT=5\n"
                    "EXDATE;TZID=Europe/London:20260330T220000", "END:VCALENDAR", EXCEPTION + "END:VCALENDAR"),
    "exception-first": edit(ZONED, "SEQUENCE:2", "SEQUENCE:2\nRRULE:FREQ=DAILY;COUNT=5", "END:VTIMEZONE\n",
                            "END:VTIMEZONE\n" + EXCEPTION),
    "days": edit(OBJECT, "DTSTART:20260328T220000Z", "DTSTART;VALUE=DATE:20260328", "DTEND:20260329T060000Z",
                 "DTEND;VALUE=DATE:20260329"),
    "duration": edit(OBJECT, "DTEND:20260329T060000Z", "DURATION:PT8H"),
    "floating": edit(OBJECT, *FLOATING),
    "seen": edit(OBJECT, ALARM, ALARM + "\nACKNOWLEDGED:20260328T214500Z", "SEQUENCE:2",
                 "SEQUENCE:2\nX-MOZ-LASTACK:20260328T214500Z"),
    "snoozed": edit(OBJECT, "END:VALARM", "END:VALARM\nBEGIN:VALARM\nUID:s\nACTION:DISPLAY\nDESCRIPTION:x\n"
                    "TRIGGER;VALUE=DATE-TIME:20260328T220500Z\nRELATED-TO;RELTYPE=SNOOZE:6ec33f16-5c1f-4ae2-9d28-\n"
                    " 6a2f3c54c3a1-alarm-15\nEND:VALARM"),
    "own-alarm": edit(OBJECT, "END:VALARM", "END:VALARM\nBEGIN:VALARM\nACTION:AUDIO\n"
                      "TRIGGER;RELATED=END:PT5M\nREPEAT:2\nDURATION:PT5M\nEND:VALARM"),
    "not-an-alarm": edit(OBJECT, "END:VALARM", "END:VALARM\nBEGIN:VALARM\nX-WR-ALARMUID:n\nUID:n\nACTION:NONE\n"
                         "TRIGGER;VALUE=DATE-TIME:19760401T005545Z\nX-APPLE-DEFAULT-ALARM;VALUE=BOOLEAN:TRUE\n"
                         "END:VALARM"),
    "people": edit(OBJECT, "SEQUENCE:2", "SEQUENCE:2\nORGANIZER;CN=\"A, B\":mailto:a@garden.example"),
    "extras": edit(OBJECT, "SEQUENCE:2", "SEQUENCE:2\nURL:https://garden.example/a,b;c\nGEO:53.1;-2.02\nCOLOR:teal\n"
                   "PRIORITY:1\nCLASS:PRIVATE\nATTACH:https://garden.example/a.png\nCOMMENT:ä\\, ö\\; \\\\ ü\n"
                   "X-NOTE;X-A=\"b:c\":d\\, e"),
}

count = 0


def tap(ok, sentence, note=""):
    global count
    count += 1
    print(f"{'ok' if ok else 'not ok'} {count} - {sentence}")
    if not ok:
        print(f"# {note}")


def found(texts, **options):
    files = {f"{number}.object.ics" if options else "one.ics": text if isinstance(text, bytes) else octets(text)
             for number, text in enumerate(texts)}
    return sorted({breach.rule for _, breach in rfc.check(files, **options)[0]})


for rule, text in BROKEN:
    seen = found([text])
    tap(seen == [rule], f"{rule} is found, and no other", str(seen))
for rule, texts in OBJECTS:
    seen = found(texts, objects=True)
    tap(seen == [rule], f"{rule} of an object", str(seen))
seen = found([OBJECT, edit(OBJECT, "Frühbeet", "Beet")], collection=True)
tap(seen == ["collection-uid"], "collection-uid", str(seen))
for rule, texts in HISTORIES:
    # In whatever order the versions come.
    seen = found(texts, history=True) + found(texts[::-1], history=True)
    tap(set(seen) == {rule}, f"{rule} of two versions", str(seen))
for sentence, text in RIGHT:
    seen = found([text])
    tap(not seen, sentence, str(seen))
for sentence, texts in RIGHT_HISTORIES:
    seen = found(texts, history=True)
    tap(not seen, f"{sentence}, of two versions", str(seen))
caught = {rule for rule, _ in BROKEN + OBJECTS + HISTORIES} | {"collection-uid"}
tap(caught == set(rfc.RULES), "each rule has what breaks it", str(caught ^ set(rfc.RULES)))
tap(found([good("SUMMARY:", "ORGANIZER:mailto:a@garden.example\nSUMMARY:")], standards=True) == [],
    "what only thole asks of itself is left out where told")
for name, text in EDITED.items():
    seen = found([text], objects=True, standards=True)
    tap(not seen, f"an object that a client left: {name}", str(seen))
    for folder in sys.argv[1:]:
        (pathlib.Path(folder) / name).write_bytes(octets(text))
print(f"1..{count}")
