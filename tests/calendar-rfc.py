# SPDX-License-Identifier: MIT
"""Check calendars, octet by octet, against the rules that a producer of iCalendar must keep.

Usage: calendar-rfc.py [OPTION...] FILE..., or - for paths on standard input

It has a parser of its own and shares nothing with thole or with a library of calendars. A file
named *.object.ics, or any with --objects, is one object of a calendar server (RFC 4791 §4.1). With
--collection no UID may stand in two of the files; with --history all files are versions of the same
calendar, in any order: then SEQUENCE and DTSTAMP must have moved as they should. --standards leaves
out what only thole asks of itself: for objects that another program had in hand.

Prints each breach as FILE:LINE: RULE, the section, what was seen; fails if there is one. Lines are
those of the file, folded as they stand there.
"""
import collections
import datetime
import re
import sys

# Each rule: where it is written, and what it asks for. "ours" marks what docs/calendar.md promises
# beyond the standards.
RULES = {
    # RFC 5545 §3.1, the stream of octets
    "crlf": ("RFC 5545 §3.1", "every line ends with CR LF, and neither stands alone"),
    "utf-8": ("RFC 5545 §3.1.4", "the stream is UTF-8"),
    "bom": ("RFC 5545 §3.4", "the first line is BEGIN:VCALENDAR, nothing before it"),
    "length": ("RFC 5545 §3.1", "a line has at most 75 octets without its line end"),
    "fold": ("RFC 5545 §3.1", "a fold is between two characters, and continues a line"),
    "control": ("RFC 5545 §3.1", "no control characters but the tab"),
    "line": ("RFC 5545 §3.1", "NAME *(;PARAM=VALUE) : VALUE"),
    "parameter": ("RFC 5545 §3.2", "a parameter stands once"),
    # structure
    "nesting": ("RFC 5545 §3.6", "each BEGIN has its END, and stands where it may"),
    "whole": ("RFC 5545 §3.4", "one VCALENDAR, and nothing after it"),
    "empty": ("RFC 5545 §3.6", "a calendar has at least one component"),
    "head": ("RFC 5545 §3.6", "a calendar has one PRODID and one VERSION, which is 2.0"),
    "method": ("RFC 5546 §3.2.1; RFC 4791 §4.1", "no METHOD: PUBLISH would need an ORGANIZER"),
    "once": ("RFC 5545 §3.6.1, §3.6.6; RFC 7986 §4", "properties that stand at most once"),
    "place": ("RFC 5545 §3.6, RFC 7986 §4, RFC 9074 §3", "a property that may stand there"),
    "people": ("RFC 6638 §3.2.10; ours", "no ORGANIZER, no ATTENDEE, not in an alarm either"),
    # events
    "uid": ("RFC 5545 §3.6.1", "an event has one UID"),
    "uid-grammar": ("RFC 7986 §5.3", "a UID is of letters, digits, dashes; below 255 octets"),
    "uid-unique": ("RFC 5545 §3.8.4.7; RFC 9074 §4", "a UID belongs to one event, or one alarm"),
    "dtstamp": ("RFC 5545 §3.6.1, §3.8.7.2", "an event has one DTSTAMP, in UTC"),
    "stamp-modified": ("RFC 5545 §3.8.7.2", "without METHOD, DTSTAMP says what LAST-MODIFIED does"),
    "utc": ("RFC 5545 §3.8.7.1, §3.8.7.3", "CREATED and LAST-MODIFIED are in UTC, in this order"),
    "dtstart": ("RFC 5545 §3.6.1", "an event has one DTSTART where there is no METHOD"),
    "dtend": ("RFC 5545 §3.6.1, §3.8.2.2", "DTEND, later than DTSTART and of its kind, or DURATION"),
    "time": ("RFC 5545 §3.3.4, §3.3.5, §3.3.12", "a date and a time that there are"),
    "duration": ("RFC 5545 §3.3.6", "a duration as its grammar has it"),
    "number": ("RFC 5545 §3.3.8, §3.8.7.4, §3.8.1.9", "a whole number in its range"),
    "status": ("RFC 5545 §3.8.1.11", "TENTATIVE, CONFIRMED or CANCELLED"),
    "word": ("RFC 5545 §3.8.1.3, §3.8.2.7", "CLASS and TRANSP have words of their own"),
    "escape": ("RFC 5545 §3.3.11", "in a text \\ ; and , are escaped, and nothing else"),
    "escape-x": ("RFC 5545 §3.8.8.2; ours", "so in an X- property, which is TEXT where it names no type"),
    "value": ("RFC 5545 §3.2.20", "VALUE names a type that the property may have"),
    # zones
    "tzid": ("RFC 5545 §3.2.19", "a TZID has a VTIMEZONE in the object, and is not on UTC or days"),
    "zone": ("RFC 5545 §3.6.5, §3.3.14", "a VTIMEZONE is whole: TZID, parts with local times, offsets"),
    "floating": ("RFC 5545 §3.3.5; ours", "no time without a zone: it would ring by any clock"),
    # alarms
    "alarm": ("RFC 5545 §3.6.6", "an alarm has one ACTION and one TRIGGER"),
    "alarm-text": ("RFC 5545 §3.6.6", "a DISPLAY alarm has one DESCRIPTION"),
    "alarm-repeat": ("RFC 5545 §3.6.6", "DURATION and REPEAT of an alarm come together"),
    "trigger": ("RFC 5545 §3.8.6.3", "relative; or VALUE=DATE-TIME in UTC; RELATED only if relative"),
    "acknowledged": ("RFC 9074 §6.1", "ACKNOWLEDGED is in UTC, once"),
    "alarm-shape": ("ours", "whole minutes, at most a week, before the start: what all phones keep"),
    "alarm-cancelled": ("ours", "what is cancelled does not ring"),
    # the calendar
    "refresh": ("RFC 7986 §5.7", "REFRESH-INTERVAL;VALUE=DURATION, longer than nothing"),
    "source": ("RFC 7986 §5.8", "SOURCE;VALUE=URI"),
    "colour": ("RFC 7986 §5.9", "COLOR is a name of CSS3"),
    "name-twice": ("ours", "X-WR-CALNAME and NAME, X-PUBLISHED-TTL and REFRESH-INTERVAL agree"),
    # objects
    "object-type": ("RFC 4791 §4.1", "an object has one type of component besides VTIMEZONE"),
    "object-uid": ("RFC 4791 §4.1", "an object has one UID"),
    "collection-uid": ("RFC 4791 §4.1, §5.3.2.1", "a UID stands once in a collection"),
    # versions of one event
    "sequence-falls": ("RFC 5546 §2.1.4", "SEQUENCE never falls"),
    "sequence-stays": ("RFC 5546 §2.1.4", "SEQUENCE rises with times and status"),
    "stamp-stays": ("RFC 5546 §2.1.5", "two versions with one SEQUENCE differ in DTSTAMP"),
    "stamp-moves": ("RFC 5545 §3.8.7.2; ours", "DTSTAMP stays where nothing else changed"),
    "created-moves": ("RFC 5545 §3.8.7.1", "CREATED stays"),
}

CSS3 = set("""aliceblue antiquewhite aqua aquamarine azure beige bisque black blanchedalmond blue
blueviolet brown burlywood cadetblue chartreuse chocolate coral cornflowerblue cornsilk crimson cyan
darkblue darkcyan darkgoldenrod darkgray darkgreen darkgrey darkkhaki darkmagenta darkolivegreen
darkorange darkorchid darkred darksalmon darkseagreen darkslateblue darkslategray darkslategrey
darkturquoise darkviolet deeppink deepskyblue dimgray dimgrey dodgerblue firebrick floralwhite
forestgreen fuchsia gainsboro ghostwhite gold goldenrod gray green greenyellow grey honeydew hotpink
indianred indigo ivory khaki lavender lavenderblush lawngreen lemonchiffon lightblue lightcoral
lightcyan lightgoldenrodyellow lightgray lightgreen lightgrey lightpink lightsalmon lightseagreen
lightskyblue lightslategray lightslategrey lightsteelblue lightyellow lime limegreen linen magenta
maroon mediumaquamarine mediumblue mediumorchid mediumpurple mediumseagreen mediumslateblue
mediumspringgreen mediumturquoise mediumvioletred midnightblue mintcream mistyrose moccasin
navajowhite navy oldlace olive olivedrab orange orangered orchid palegoldenrod palegreen
paleturquoise palevioletred papayawhip peachpuff peru pink plum powderblue purple red rosybrown
royalblue saddlebrown salmon sandybrown seagreen seashell sienna silver skyblue slateblue slategray
slategrey snow springgreen steelblue tan teal thistle tomato turquoise violet wheat white whitesmoke
yellow yellowgreen""".split())

# What may stand in a component, and how often: "1" at most once, "*" any number.
PLACES = {
    "VCALENDAR": {"1": "PRODID VERSION CALSCALE METHOD UID LAST-MODIFIED URL REFRESH-INTERVAL SOURCE "
                       "COLOR", "*": "NAME DESCRIPTION CATEGORIES IMAGE"},
    "VEVENT": {"1": "UID DTSTAMP DTSTART DTEND DURATION CLASS CREATED DESCRIPTION GEO LAST-MODIFIED "
                    "LOCATION ORGANIZER PRIORITY SEQUENCE STATUS SUMMARY TRANSP URL RECURRENCE-ID RRULE "
                    "COLOR",
               "*": "ATTACH ATTENDEE CATEGORIES COMMENT CONTACT EXDATE REQUEST-STATUS RELATED-TO "
                    "RESOURCES RDATE IMAGE CONFERENCE"},
    "VALARM": {"1": "UID ACTION TRIGGER DESCRIPTION SUMMARY DURATION REPEAT ACKNOWLEDGED PROXIMITY",
               "*": "ATTACH ATTENDEE RELATED-TO"},
    "VTIMEZONE": {"1": "TZID LAST-MODIFIED TZURL", "*": ""},
    "STANDARD": {"1": "DTSTART TZOFFSETFROM TZOFFSETTO RRULE", "*": "COMMENT RDATE TZNAME"},
}
PLACES["DAYLIGHT"] = PLACES["STANDARD"]
PARENTS = {"VCALENDAR": "", "VEVENT": "VCALENDAR", "VTIMEZONE": "VCALENDAR", "VALARM": "VEVENT",
           "STANDARD": "VTIMEZONE", "DAYLIGHT": "VTIMEZONE"}

# The type of a value where none is named, and the others that may be.
TEXTS = "SUMMARY DESCRIPTION LOCATION COMMENT CONTACT NAME PRODID TZNAME CLASS STATUS TRANSP".split()
LISTS = ("CATEGORIES", "RESOURCES")
TIMES = {"DTSTART": ("DATE-TIME", "DATE"), "DTEND": ("DATE-TIME", "DATE"),
         "RECURRENCE-ID": ("DATE-TIME", "DATE"), "EXDATE": ("DATE-TIME", "DATE"),
         "RDATE": ("DATE-TIME", "DATE", "PERIOD"), "DTSTAMP": ("DATE-TIME",),
         "CREATED": ("DATE-TIME",), "LAST-MODIFIED": ("DATE-TIME",), "ACKNOWLEDGED": ("DATE-TIME",)}
NAMED = {**TIMES, "DURATION": ("DURATION",), "TRIGGER": ("DURATION", "DATE-TIME"),
         "SEQUENCE": ("INTEGER",), "REPEAT": ("INTEGER",), "PRIORITY": ("INTEGER",),
         "URL": ("URI",), "TZID": ("TEXT",), "REFRESH-INTERVAL": ("DURATION",), "SOURCE": ("URI",),
         **{name: ("TEXT",) for name in TEXTS + list(LISTS)}}

FOLD = (b" ", b"\t")
Breach = collections.namedtuple("Breach", "line rule seen")
Property = collections.namedtuple("Property", "line name params value")
PARAM = re.compile(r';([A-Za-z0-9-]+)=((?:"[^"\x00-\x08\x0a-\x1f\x7f]*"|[^";:,\x00-\x08\x0a-\x1f\x7f]*)'
                   r'(?:,(?:"[^"\x00-\x08\x0a-\x1f\x7f]*"|[^";:,\x00-\x08\x0a-\x1f\x7f]*))*)')
# An hour is followed by minutes, a minute by seconds, or by nothing: dur-hour, dur-minute.
DURATION = re.compile(r"([+-]?)P(?:(\d+)W|(?=\d|T)(?:(\d+)D)?(?:T(?=\d)(?:(\d+)H(?!\d+S))?(?:(\d+)M)?(?:(\d+)S)?)?)")


class Component:
    def __init__(self, name, line, parent):
        self.name, self.line, self.parent = name, line, parent
        self.properties, self.parts = [], []

    def all(self, name):
        return [one for one in self.properties if one.name == name]

    def first(self, name):
        return next(iter(self.all(name)), None)

    def value(self, name):
        found = self.first(name)
        return found.value if found else None

    def walk(self):
        yield self
        for part in self.parts:
            yield from part.walk()


def instant(text):
    """(seconds, kind) of a DATE-TIME, kind "utc" or "local"; None where there is no such time."""
    found = re.fullmatch(r"(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)(\d\d)(Z?)", text)
    if not found:
        return None
    year, month, day, hour, minute, second = map(int, found.groups()[:6])
    try:  # A leap second is one (§3.3.12); python has none.
        at = datetime.datetime(year, month, day, hour, minute, min(second, 59 if second == 60 else second),
                               tzinfo=datetime.timezone.utc)
    except ValueError:
        return None
    return int(at.timestamp()), "utc" if found.group(7) else "local"


def date(text):
    if not re.fullmatch(r"\d{8}", text) or instant(text + "T000000") is None:
        return None
    return instant(text + "T000000")[0], "day"


def seconds(text):
    """Of a duration; None where it is none."""
    found = DURATION.fullmatch(text)
    if not found:
        return None
    weeks, days, hours, minutes, rest = (int(part or 0) for part in found.groups()[1:])
    return (-1 if found.group(1) == "-" else 1) * \
        (weeks * 604800 + days * 86400 + hours * 3600 + minutes * 60 + rest)


def plain(text):
    """A text without its escapes."""
    return re.sub(r"\\(.)", lambda found: "\n" if found.group(1) in "nN" else found.group(1), text)


class Checker:
    """One file; `breaches` is what was found in it, `calendar` what is there."""

    def __init__(self, octets, is_object):
        self.breaches, self.calendar, self.is_object = [], None, is_object
        lines = self.unfold(octets)
        self.build(lines)
        if self.calendar is not None:
            self.check_calendar()

    def say(self, line, rule, seen=""):
        assert rule in RULES, rule
        self.breaches.append(Breach(line, rule, seen))

    # ---- octets to content lines ----

    def unfold(self, octets):
        if not octets.upper().startswith(b"BEGIN:VCALENDAR\r\n"):
            self.say(1, "bom", repr(octets[:20]))
            octets = octets.removeprefix(b"\xef\xbb\xbf")
        lines, start = [], 0
        for number, raw in enumerate(octets.split(b"\n"), 1):
            start += len(raw) + 1
            is_last = start > len(octets)
            if is_last and raw == b"":
                break
            if is_last or not raw.endswith(b"\r") or b"\r" in raw[:-1]:
                self.say(number, "crlf", repr(raw[-20:]))
            raw = raw.rstrip(b"\r")
            if len(raw) > 75:
                self.say(number, "length", f"{len(raw)} octets")
            if any(octet < 0x20 and octet != 0x09 or octet == 0x7f for octet in raw.replace(b"\r", b"")):
                self.say(number, "control", repr(raw))
            is_fold = raw[:1] in FOLD
            if is_fold and not lines:
                self.say(number, "fold", "nothing is continued")
            if is_fold and lines:
                lines[-1][1].append(raw[1:])
            else:
                lines.append((number, [raw]))
        return [(number, self.decode(number, parts)) for number, parts in lines]

    def decode(self, number, parts):
        try:
            text = b"".join(parts).decode("utf-8")
        except UnicodeDecodeError as error:
            self.say(number, "utf-8", str(error))
            return b"".join(parts).decode("utf-8", "replace")
        for at, part in enumerate(parts):
            try:
                part.decode("utf-8")
            except UnicodeDecodeError:
                self.say(number + at, "fold", "inside a character")
                break
        return text

    def parse(self, number, line):
        name = re.match(r"[A-Za-z0-9-]+", line)
        if not name:
            return None
        at, params = name.end(), {}
        while (param := PARAM.match(line, at)) is not None:
            key = param.group(1).upper()
            if key in params:
                self.say(number, "parameter", key)
            params[key] = param.group(2)
            at = param.end()
        if line[at:at + 1] != ":":
            return None
        return Property(number, name.group().upper(), params, line[at + 1:])

    # ---- content lines to components ----

    def build(self, lines):
        here, is_over = None, False
        for number, line in lines:
            prop = self.parse(number, line)
            if prop is None:
                self.say(number, "line", repr(line[:40]))
                continue
            if is_over or (here is None and prop.name != "BEGIN"):
                self.say(number, "whole", repr(line[:40]))
                return
            if prop.name == "BEGIN":
                here = self.begin(prop, here)
            elif prop.name == "END":
                if prop.value.upper() != here.name:
                    self.say(number, "nesting", f"END:{prop.value} in {here.name}")
                    return
                here = here.parent
                is_over = here is None
            else:
                here.properties.append(prop)
        if not is_over:
            self.say(len(lines), "nesting", "the end is missing")

    def begin(self, prop, parent):
        name = prop.value.upper()
        component = Component(name, prop.line, parent)
        if parent is None:
            self.calendar = component
        else:
            parent.parts.append(component)
        if PARENTS.get(name, "VCALENDAR") != (parent.name if parent else ""):
            self.say(prop.line, "nesting", f"{name} in {parent.name if parent else 'nothing'}")
        return component

    # ---- what every property must be ----

    def check_places(self, component):
        places = PLACES.get(component.name)
        counted = collections.Counter(one.name for one in component.properties)
        for one in component.properties if places else []:
            if one.name.startswith("X-"):
                continue
            if one.name not in places["1"].split() + places["*"].split():
                self.say(one.line, "place", f"{one.name} in {component.name}")
            elif counted[one.name] > 1 and one.name in places["1"].split() and one is component.first(one.name):
                self.say(one.line, "once", one.name)
            if one.name in ("ORGANIZER", "ATTENDEE"):
                self.say(one.line, "people", one.name)
        named = [one for one in component.all("NAME") + component.all("DESCRIPTION")
                 if component.name == "VCALENDAR"]
        for (_, _), same in by(named, lambda one: (one.name, one.params.get("LANGUAGE"))).items():
            if len(same) > 1:
                self.say(same[1].line, "once", f"{same[1].name} twice in one language")

    def check_value(self, one):
        kind = self.kind(one)
        if kind is None:
            return
        if kind == "TEXT":
            allowed = r"(?:[^\\;,]|\\[\\;,nN])*" if one.name not in LISTS else r"(?:[^\\;]|\\[\\;,nN])*"
            if not re.fullmatch(allowed, one.value, re.DOTALL):
                rule = "escape-x" if one.name.startswith("X-") else "escape"
                self.say(one.line, rule, f"{one.name}:{one.value[:60]}")
        elif kind == "DURATION":
            if seconds(one.value) is None:
                self.say(one.line, "duration", f"{one.name}:{one.value}")
        elif kind == "INTEGER":
            top = {"PRIORITY": 9}.get(one.name, 2147483647)
            if not re.fullmatch(r"\+?\d+", one.value) or int(one.value) > top:
                self.say(one.line, "number", f"{one.name}:{one.value}")
        elif kind in ("DATE-TIME", "DATE"):
            for value in one.value.split(",") if one.name in ("EXDATE", "RDATE") else [one.value]:
                self.check_time(one, kind, value)

    def kind(self, one):
        """The type of a value; None for those that no rule here looks into."""
        kinds = NAMED.get(one.name, ("TEXT",) if one.name.startswith("X-") else ())
        named = one.params.get("VALUE", "").upper()
        if named and kinds and named not in kinds and not one.name.startswith("X-"):
            self.say(one.line, "value", f"{one.name};VALUE={named}")
            return None
        return named or (kinds[0] if kinds else None)

    def check_time(self, one, kind, text):
        found = instant(text) if kind == "DATE-TIME" else date(text)
        tzid = one.params.get("TZID")
        if found is None:
            self.say(one.line, "time", f"{one.name}:{text}")
            return
        if tzid is not None and (found[1] != "local" or tzid.strip('"') not in self.zones):
            self.say(one.line, "tzid", f"{one.name};TZID={tzid}:{text}")

    # ---- components ----

    def check_calendar(self):
        calendar = self.calendar
        self.zones = {zone.value("TZID") for zone in calendar.parts if zone.name == "VTIMEZONE"}
        if [one.value for one in calendar.all("VERSION")] != ["2.0"] or len(calendar.all("PRODID")) != 1:
            self.say(calendar.line, "head")
        if calendar.first("METHOD"):
            self.say(calendar.first("METHOD").line, "method", calendar.value("METHOD"))
        if not calendar.parts:
            self.say(calendar.line, "empty")
        for component in calendar.walk():
            self.check_places(component)
            for one in component.properties:
                self.check_value(one)
            if component.name == "VEVENT":
                self.check_event(component)
            elif component.name == "VTIMEZONE":
                self.check_zone(component)
        self.check_extras(calendar)
        self.check_uids(calendar)

    def check_extras(self, calendar):
        for one in calendar.all("REFRESH-INTERVAL"):
            length = seconds(one.value)
            if one.params.get("VALUE") != "DURATION" or (length is not None and length <= 0):
                self.say(one.line, "refresh", one.value)
        for one in calendar.all("SOURCE"):
            if one.params.get("VALUE") != "URI" or not re.match(r"[A-Za-z][A-Za-z0-9+.-]*:", one.value):
                self.say(one.line, "source", one.value)
        for component in calendar.walk():
            for one in component.all("COLOR"):
                if one.value.lower() not in CSS3:
                    self.say(one.line, "colour", one.value)
        for ours, standard in (("X-WR-CALNAME", "NAME"), ("X-WR-CALDESC", "DESCRIPTION"),
                               ("X-PUBLISHED-TTL", "REFRESH-INTERVAL")):
            if not self.is_object and calendar.value(ours) != calendar.value(standard):
                self.say(calendar.line, "name-twice", f"{ours} and {standard}")

    def check_uids(self, calendar):
        events = [part for part in calendar.parts if part.name == "VEVENT"]
        alarms = [alarm for event in events for alarm in event.parts if alarm.first("UID")]
        for component in events + alarms:
            uid = component.first("UID")
            if uid and not (re.fullmatch(r"[A-Za-z0-9-]+", uid.value) and len(uid.value) < 255):
                self.say(uid.line, "uid-grammar", uid.value)
        for same in by(events + alarms, lambda one: (one.value("UID"), one.value("RECURRENCE-ID"))).values():
            if len(same) > 1 and same[1].first("UID"):
                self.say(same[1].line, "uid-unique", same[1].value("UID"))
        if not self.is_object:
            return
        parts = [part for part in calendar.parts if part.name != "VTIMEZONE"]
        if len({part.name for part in parts}) != 1:
            self.say(calendar.line, "object-type", str(sorted({part.name for part in parts})))
        if len({part.value("UID") for part in parts}) > 1:
            self.say(calendar.line, "object-uid", str({part.value("UID") for part in parts}))

    def when(self, one):
        """(seconds, kind) of a property of one time; zones count as their name."""
        if one is None:
            return None
        found = date(one.value) if one.params.get("VALUE") == "DATE" else instant(one.value)
        if found and found[1] == "local":
            return found[0], one.params.get("TZID", "floating")
        return found

    def check_event(self, event):
        for name, rule in (("UID", "uid"), ("DTSTART", "dtstart"), ("DTSTAMP", "dtstamp")):
            if not event.first(name):
                self.say(event.line, rule, "missing")
        stamp, created, modified = (self.when(event.first(name))
                                    for name in ("DTSTAMP", "CREATED", "LAST-MODIFIED"))
        if stamp and stamp[1] != "utc":
            self.say(event.first("DTSTAMP").line, "dtstamp", event.value("DTSTAMP"))
        if any(at and at[1] != "utc" for at in (created, modified)) or (created and modified and created > modified):
            self.say(event.line, "utc", f"{event.value('CREATED')} {event.value('LAST-MODIFIED')}")
        if stamp and modified and stamp != modified:
            self.say(event.line, "stamp-modified", f"{event.value('DTSTAMP')} {event.value('LAST-MODIFIED')}")
        if event.first("STATUS") and event.value("STATUS") not in ("TENTATIVE", "CONFIRMED", "CANCELLED"):
            self.say(event.first("STATUS").line, "status", event.value("STATUS"))
        if event.value("TRANSP") not in (None, "OPAQUE", "TRANSPARENT") or \
                event.value("CLASS") not in (None, "PUBLIC", "PRIVATE", "CONFIDENTIAL"):
            self.say(event.line, "word", f"{event.value('TRANSP')} {event.value('CLASS')}")
        self.check_span(event)
        for alarm in event.parts:
            if alarm.name == "VALARM":
                self.check_alarm(alarm, event)

    def check_span(self, event):
        start, end = self.when(event.first("DTSTART")), self.when(event.first("DTEND"))
        if event.first("DTEND") and event.first("DURATION"):
            self.say(event.first("DTEND").line, "dtend", "both")
        if start and end and ((start[1] in ("utc", "day", "floating") or end[1] in ("utc", "day", "floating"))
                              and start[1] != end[1] or (start[1] == end[1] and start[0] >= end[0])):
            self.say(event.first("DTEND").line, "dtend", f"{event.value('DTSTART')} {event.value('DTEND')}")
        if (seconds(event.value("DURATION") or "PT0S") or 0) < 0:
            self.say(event.first("DURATION").line, "dtend", event.value("DURATION"))
        for at, name in ((start, "DTSTART"), (end, "DTEND")):
            if at and at[1] == "floating":
                self.say(event.first(name).line, "floating", event.value(name))

    def check_alarm(self, alarm, event):
        if not alarm.first("ACTION") or not alarm.first("TRIGGER"):
            self.say(alarm.line, "alarm", "missing")
        if alarm.value("ACTION") == "DISPLAY" and not alarm.first("DESCRIPTION"):
            self.say(alarm.line, "alarm-text")
        if (alarm.first("DURATION") is None) != (alarm.first("REPEAT") is None):
            self.say(alarm.line, "alarm-repeat")
        if event.value("STATUS") == "CANCELLED":
            self.say(alarm.line, "alarm-cancelled")
        acknowledged = self.when(alarm.first("ACKNOWLEDGED"))
        if acknowledged and acknowledged[1] != "utc":
            self.say(alarm.first("ACKNOWLEDGED").line, "acknowledged", alarm.value("ACKNOWLEDGED"))
        if alarm.first("TRIGGER"):
            self.check_trigger(alarm.first("TRIGGER"), event)

    def check_trigger(self, trigger, event):
        related = trigger.params.get("RELATED")
        if trigger.params.get("VALUE") == "DATE-TIME":
            at = instant(trigger.value)
            if related or "TZID" in trigger.params or (at and at[1] != "utc"):
                self.say(trigger.line, "trigger", trigger.value)
            return
        if related not in (None, "START", "END") or \
                (related == "END" and not (event.first("DTEND") or event.first("DURATION"))):
            self.say(trigger.line, "trigger", f"RELATED={related}")
        lead = seconds(trigger.value)
        if lead is not None and (related == "END" or lead > 0 or lead % 60 or lead < -7 * 86400):
            self.say(trigger.line, "alarm-shape", trigger.value)

    def check_zone(self, zone):
        parts = [part for part in zone.parts if part.name in ("STANDARD", "DAYLIGHT")]
        same = [other for other in self.calendar.parts
                if other.name == "VTIMEZONE" and other.value("TZID") == zone.value("TZID")]
        if not zone.value("TZID") or not parts or zone is not same[0]:
            self.say(zone.line, "zone", "no TZID, no part, or twice")
        for part in parts:
            start = self.when(part.first("DTSTART"))
            offsets = [part.value("TZOFFSETFROM"), part.value("TZOFFSETTO")]
            ok = start and start[1] == "floating" and \
                all(re.fullmatch(r"[+-](?!0000(00)?$)\d\d[0-5]\d([0-5]\d)?|\+0000(00)?", one or "") for one in offsets)
            until = re.search(r"UNTIL=([^;]+)", part.value("RRULE") or "")
            if not ok or (until and not until.group(1).endswith("Z")) or \
                    any(value.endswith("Z") for one in part.all("RDATE") for value in one.value.split(",")):
                self.say(part.line, "zone", f"{part.value('DTSTART')} {offsets}")


# ---- more than one file ----

def by(things, key):
    groups = {}
    for thing in things:
        groups.setdefault(key(thing), []).append(thing)
    return groups


def said(component, without=()):
    """All that a component says, whatever its order."""
    return (component.name,
            tuple(sorted((one.name, tuple(sorted(one.params.items())), one.value)
                         for one in component.properties if one.name not in without)),
            tuple(sorted(said(part, without) for part in component.parts)))


TIMING = ("DTSTART", "DTEND", "DURATION", "RRULE", "RDATE", "EXDATE")


def timing(event):
    return (sorted((one.name, one.value, one.params.get("TZID", "")) for one in event.properties
                   if one.name in TIMING), event.value("STATUS") or "CONFIRMED")


def number(event):
    text = event.value("SEQUENCE") or "0"
    return int(text) if re.fullmatch(r"\+?\d+", text) else 0


def check_history(checkers):
    """Versions of each event, in the order of DTSTAMP, which every reader goes by (RFC 5546 §2.1.5)."""
    breaches = []
    events = [(path, event) for path, one in checkers.items() if one.calendar is not None
              for event in one.calendar.parts if event.name == "VEVENT" and event.first("DTSTAMP")]
    for versions in by(events, lambda pair: (pair[1].value("UID"), pair[1].value("RECURRENCE-ID"))).values():
        versions.sort(key=lambda pair: (pair[1].value("DTSTAMP"), number(pair[1])))
        for (_, old), (path, new) in zip(versions, versions[1:]):
            def say(rule, seen):
                breaches.append((path, Breach(new.line, rule, f"{new.value('UID')}: {seen}")))
            without = ("DTSTAMP", "LAST-MODIFIED", "SEQUENCE")
            same_stamp = old.value("DTSTAMP") == new.value("DTSTAMP")
            if number(new) < number(old):
                say("sequence-falls", f"{number(old)} to {number(new)}")
            if timing(old) != timing(new) and number(new) <= number(old):
                say("sequence-stays", f"{timing(old)} to {timing(new)}")
            if same_stamp and number(old) == number(new) and said(old) != said(new):
                say("stamp-stays", new.value("DTSTAMP"))
            if not same_stamp and said(old, without) == said(new, without):
                say("stamp-moves", f"{old.value('DTSTAMP')} to {new.value('DTSTAMP')}")
            if old.value("CREATED") != new.value("CREATED"):
                say("created-moves", f"{old.value('CREATED')} to {new.value('CREATED')}")
    return breaches


def check_collection(checkers):
    found = [(path, part) for path, one in checkers.items() if one.calendar is not None
             for part in one.calendar.parts if part.first("UID")]
    return [(paths[1][0], Breach(paths[1][1].line, "collection-uid", uid))
            for uid, paths in by(found, lambda pair: pair[1].value("UID")).items()
            if len({path for path, _ in paths}) > 1]


def check(files, objects=False, collection=False, history=False, standards=False):
    """files: path → octets. What is wrong with them: (path, Breach)."""
    checkers = {path: Checker(octets, objects or path.endswith(".object.ics"))
                for path, octets in files.items()}
    breaches = [(path, breach) for path, one in checkers.items() for breach in one.breaches]
    if collection:
        breaches += check_collection(checkers)
    if history:
        breaches += check_history(checkers)
    if standards:
        breaches = [pair for pair in breaches if not RULES[pair[1].rule][0].endswith("ours")]
    events = sum(part.name == "VEVENT" for one in checkers.values() if one.calendar for part in one.calendar.parts)
    return breaches, events


def main(arguments):
    options = {word for word in arguments if word.startswith("--")}
    paths = [word for word in arguments if not word.startswith("--")]
    if paths == ["-"]:
        paths = [line.rstrip("\n") for line in sys.stdin]
    known = ("--objects", "--collection", "--history", "--standards")
    if options - set(known) or not paths:
        sys.exit(__doc__)
    files = {}
    for path in paths:
        with open(path, "rb") as file:
            files[path] = file.read()
    breaches, events = check(files, *(option in options for option in known))
    lines = [line for octets in files.values() for line in octets.split(b"\r\n")]
    print(f"# {len(files)} calendars, {events} events, {len(RULES)} rules; {len(lines)} lines, "
          f"{sum(line[:1] in FOLD for line in lines)} of them folds, "
          f"{sum(not line.isascii() for line in lines)} beyond ASCII, the longest of {max(map(len, lines))} octets")
    for path, breach in breaches[:20]:
        section, asked = RULES[breach.rule]
        print(f"{path}:{breach.line}: {breach.rule} ({section}: {asked}): {breach.seen}")
    if breaches:
        sys.exit(f"{len(breaches)} breaches")


if __name__ == "__main__":
    main(sys.argv[1:])
