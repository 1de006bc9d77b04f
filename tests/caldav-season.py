# SPDX-License-Identifier: MIT
"""Usage: caldav-season.py CALENDARS FOLDER NUMBER. See caldav-season.sh; TAP, after NUMBER results.

CALENDARS has what calendar-keep.c kept of a season. At some of its days the outlet puts on the
server what was published then; vdirsyncer fetches it, khal shows it, vobject edits it.
"""
import concurrent.futures
import datetime
import importlib.util
import json
import os
import pathlib
import re
import subprocess
import sys

import icalendar
import vobject


def load(name):
    spec = importlib.util.spec_from_file_location(name, pathlib.Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


servers, rfc = load("caldav-servers"), load("calendar-rfc")
UTC = datetime.timezone.utc
DAYS = 4  # of the season, of each of which one calendar is put on the server
CHANGE = 1774746000  # 2026-03-29T01:00:00Z, clocks go forward in London
GROWERS = ("all", "home", "plot")  # everybody's visits, and those of one site each


def publications(folder):
    """(when, events) of each calendar that was published, in this order."""
    found = []
    for path in pathlib.Path(folder).glob("*.ics"):
        if path.name.endswith(".object.ics"):
            continue
        stamps = re.findall(r"^DTSTAMP:(\d{8}T\d{6})Z", path.read_text(encoding="utf-8"), re.M)
        events = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["events"]
        if stamps:
            at = datetime.datetime.strptime(max(stamps), "%Y%m%dT%H%M%S").replace(tzinfo=UTC)
            found.append((int(at.timestamp()), path.stat().st_mtime_ns, events))
    found.sort(key=lambda one: one[:2])
    return [(at, events) for at, _, events in found]


def escaped(text):
    """As g_strcompress() undoes it, in one field of a line."""
    return text.replace("\\", "\\\\").replace("\n", "\\n").replace("|", "\\174")


class Grower:
    """One grower's calendar on a server: what is wanted there, and a copy that vdirsyncer keeps."""

    def __init__(self, name, server, folder):
        self.name, self.server, self.there = name, server, {}
        self.garden = servers.Garden(server, f"{folder}/garden-{name}")
        made = servers.client(server).principal().make_calendar(name=name, cal_id=f"season-{name}")
        self.url = str(made.url)
        self.copy = pathlib.Path(folder, "copies", name)
        self.copy.mkdir(parents=True)
        self.lines, self.seen, self.deleted = {}, {}, set()

    def publish(self, at, events):
        """What the outlet is given; `there` becomes what should stand on the server."""
        mine = [e for e in events if self.name in ("all", e["location"])]
        self.garden.events = {e["uid"]: {
            "start": e["start"], "minutes": (e["end"] - e["start"]) // 60, "title": e["summary"],
            "text": escaped(e["description"]), "place": e["location"],
            "alarm": ",".join(str((e["start"] - a["at"]) // 60) for a in e["alarms"]),
            "cancelled": int(e["status"] == "CANCELLED"), "sequence": e["sequence"],
            "seen": self.seen.get(e["uid"], 0)} for e in mine}
        self.there = {e["uid"]: e for e in mine if e["status"] != "CANCELLED" and e["uid"] not in self.deleted and
                      (e["uid"] in self.there or e["end"] > at)}

    def run(self, at):
        out = self.garden.run(self.url, at)
        return "" if "\npending 0\n" in out and not self.garden.error else f"{self.name}: {out}{self.garden.error}"

    def differences(self):
        """The copy that another client fetched, beside what was meant."""
        wrong, read = [], {}
        for path in self.copy.glob("*.ics"):
            event = icalendar.Calendar.from_ical(path.read_bytes()).walk("VEVENT")[0]
            read[str(event["UID"])] = {
                "start": int(event["DTSTART"].dt.timestamp()), "end": int(event["DTEND"].dt.timestamp()),
                "summary": str(event["SUMMARY"]), "description": str(event.get("DESCRIPTION", "")),
                "location": str(event.get("LOCATION", "")),
                "alarms": sorted(int((event["DTSTART"].dt + a["TRIGGER"].dt).timestamp()) for a in event.walk("VALARM"))}
        meant = {uid: {**{key: e[key] for key in ("start", "end", "summary", "location")},
                       "description": e["description"] + self.lines.get(uid, ""),
                       "alarms": sorted(a["at"] for a in e["alarms"])} for uid, e in self.there.items()}
        others = {uid: read.pop(uid) for uid in list(read) if uid not in meant and read[uid]["summary"] == "Plot"}
        if read.keys() != meant.keys():
            wrong.append(f"{self.name}: there {sorted(read)}, meant {sorted(meant)}")
        wrong += [f"{self.name}: {uid}: read {read[uid]}, meant {one}" for uid, one in meant.items()
                  if uid in read and read[uid] != one]
        return "\n".join(wrong), others


    def breaches(self):
        """Of the rules, in what stands there; XML made one octet of each line end on the way."""
        files = {path.name: re.sub(rb"\r?\n", b"\r\n", path.read_bytes()) for path in self.copy.glob("*.ics")}
        found = rfc.check(files, objects=True, collection=True, standards=True)[0]
        return "".join(f"{path}: {breach}\n" for path, breach in found[:5])


class Client:
    """vdirsyncer and khal, set up for the calendars of three growers."""

    def __init__(self, growers, folder):
        self.growers, self.folder = growers, folder
        home = pathlib.Path(folder, "home")
        home.mkdir()
        self.environment = {**os.environ, "HOME": str(home), "XDG_CONFIG_HOME": str(home), "TZ": "Europe/London",
                            "XDG_DATA_HOME": str(home), "XDG_CACHE_HOME": str(home), "LC_ALL": "C.UTF-8"}
        with open(f"{folder}/vdirsyncer", "w") as file:
            file.write(f'[general]\nstatus_path = "{folder}/status/"\n')
            for g in growers:
                file.write(f'[pair {g.name}]\na = "{g.name}_here"\nb = "{g.name}_there"\ncollections = null\n'
                           f'[storage {g.name}_here]\ntype = "filesystem"\npath = "{g.copy}"\nfileext = ".ics"\n'
                           f'[storage {g.name}_there]\ntype = "caldav"\nurl = "{g.url}"\nusername = "{servers.USER}"\n'
                           f'password = "{servers.SECRET}"\n')
        with open(f"{folder}/khal", "w") as file:
            file.write("[calendars]\n" + "".join(f"[[{g.name}]]\npath = {g.copy}\n" for g in growers) +
                       "[locale]\nlocal_timezone = Europe/London\ndefault_timezone = Europe/London\n"
                       "timeformat = %H:%M\ndateformat = %Y-%m-%d\nlongdateformat = %Y-%m-%d\n"
                       "datetimeformat = %Y-%m-%d %H:%M\nlongdatetimeformat = %Y-%m-%d %H:%M\n"
                       f"[sqlite]\npath = {folder}/khal.db\n")

    def call(self, *command, answers=""):
        done = subprocess.run(command, env=self.environment, input=answers, capture_output=True, text=True, timeout=300)
        if done.returncode != 0:
            raise RuntimeError(f"{command}: {done.stdout[-1000:]}{done.stderr[-1000:]}")
        return done.stdout

    def discover(self):
        self.call("vdirsyncer", "-c", f"{self.folder}/vdirsyncer", "discover", answers="y\n" * 10)

    def sync(self):
        self.call("vdirsyncer", "-c", f"{self.folder}/vdirsyncer", "sync")

    def shown(self):
        """What khal shows of all that is ahead, as (uid, local start, title, whether it rings)."""
        out = self.call("khal", "-c", f"{self.folder}/khal", "list", "--once", "--day-format", "", "--format",
                        "{uid}|{start-long}|{title}|{alarm-symbol}", "2026-03-01", "150d")
        return {tuple(part.strip() for part in line.split("|")) for line in out.splitlines() if line.count("|") == 3}

    def new(self, grower, begins, minutes, title):
        local = datetime.datetime.fromtimestamp(begins, servers_zone())
        self.call("khal", "-c", f"{self.folder}/khal", "new", "-a", grower.name, local.strftime("%Y-%m-%d"),
                  local.strftime("%H:%M"), (local + datetime.timedelta(minutes=minutes)).strftime("%H:%M"), title)


def servers_zone():
    import zoneinfo
    return zoneinfo.ZoneInfo("Europe/London")


def together(growers, do):
    """The same for each grower at once; what went wrong."""
    with concurrent.futures.ThreadPoolExecutor(len(growers)) as pool:
        return "\n".join(filter(None, pool.map(do, growers)))


def khal_differences(client, growers):
    meant = set()
    for e in {uid: e for g in growers for uid, e in g.there.items()}.values():
        local = datetime.datetime.fromtimestamp(e["start"], servers_zone())
        meant.add((e["uid"], local.strftime("%Y-%m-%d %H:%M"), e["summary"], "⏰" if e["alarms"] else ""))
    read = {one for one in client.shown() if one[2] != "Plot"}
    return "" if read == meant else f"khal: {sorted(read ^ meant)}"


def edit(grower, at):
    """The grower moves a visit, deletes one, writes into one, in the copy; which these are."""
    ahead = sorted((e["start"], uid) for uid, e in grower.there.items() if e["start"] > at + 3600)
    (_, moved), (_, deleted), (_, noted) = ahead[:3]
    for path in grower.copy.glob("*.ics"):
        calendar = vobject.readOne(path.read_text(encoding="utf-8"))
        event = calendar.vevent
        if event.uid.value == deleted:
            path.unlink()
        elif event.uid.value == moved:
            event.dtstart.value += datetime.timedelta(minutes=45)
            event.dtend.value += datetime.timedelta(minutes=45)
            path.write_text(calendar.serialize(), encoding="utf-8", newline="")
        elif event.uid.value == noted:
            event.description.value += "\nwatered"
            path.write_text(calendar.serialize(), encoding="utf-8", newline="")
    return moved, deleted, noted


def answered(client, growers, at):
    """Edits from both clients are understood, and stay or are answered as the plan has it."""
    grower = growers[0]
    client.sync()
    moved, deleted, noted = edit(grower, at)
    client.new(growers[1], at + 2 * 86400, 30, "Plot")
    client.sync()
    wrong = together(growers, lambda g: g.run(at))
    told = sorted((e[0], e[1]) for e in grower.garden.edits)
    if told != sorted([("moved", moved), ("deleted", deleted), ("watered", noted)]):
        wrong += f"{grower.garden.edits}"
    if [e[0] for e in growers[1].garden.edits] != ["other-seen"]:
        wrong += f"{growers[1].garden.edits}"
    later = [e for e in grower.garden.edits if e[0] == "moved"]
    if not later or int(later[0][3]) != grower.there[moved]["start"] + 2700:
        wrong += f"moved to {later}"
    # The next plan has seen it, and says no.
    grower.seen = {e[1]: int(e[2]) for e in grower.garden.edits}
    grower.lines[noted] = "\nwatered"
    grower.deleted.add(deleted)
    return wrong


def season(kind, folder, published):
    server = servers.Server(kind, f"{folder}/server")
    try:
        growers = [Grower(name, server, folder) for name in GROWERS]
        client = Client(growers, folder)
        fetched, legal, shows, others = "", "", "never", {}
        edited, restarted, events = None, None, 0
        for day, (at, wanted) in enumerate(published):
            for g in growers:
                g.publish(at, wanted)
            if day == len(published) // 2:
                server.stop()
                restarted = "".join("" if g.run(at) else f"{g.name}: no error while the server is down" for g in growers)
                server.start()
            fetched += together(growers, lambda g: g.run(at))
            events += sum(len(g.there) for g in growers)
            if day == 0:
                client.discover()
            if day in (0, len(published) - 1):
                client.sync()
                for g in growers:
                    wrong, plain = g.differences()
                    fetched += wrong
                    others.update(plain)
                    legal += g.breaches()
            if day == len(published) - 1:
                shows = khal_differences(client, growers)
            if edited is None and sum(e["start"] > at + 3600 for e in growers[0].there.values()) >= 3:
                edited = answered(client, growers, at)
        servers.report(f"{kind}: {len(published)} days of a season, {events} events in three calendars, "
                       "as vdirsyncer fetches them", fetched)
        servers.report(f"{kind}: each object on the server keeps to the rules", legal)
        servers.report(f"{kind}: khal shows them by the local clock, with their alarms", shows)
        servers.report(f"{kind}: what was moved, deleted, written and added there is understood, and answered",
                       "no day had three visits ahead" if edited is None else edited)
        servers.report(f"{kind}: an event that khal made stays to the end", "" if len(others) == 1 else str(others))
        servers.report(f"{kind}: restarted in the middle", "never" if restarted is None else restarted)
    finally:
        if server.process.poll() is None:
            server.stop()


def main(calendars, folder, number):
    servers.results = int(number)
    published = publications(calendars)
    # Of each stretch of the season the day with most visits; of the first, one with the change of clocks between.
    def worth(one):
        return len({e["start"] < CHANGE for e in one[1]}), len(one[1])
    size = len(published) / DAYS
    chosen = [max(published[int(i * size):int((i + 1) * size)], key=worth) for i in range(DAYS)]
    servers.report(f"of {len(published)} calendars {DAYS} are taken, one of them across the change of clocks",
                   "" if any(worth(one)[0] == 2 for one in chosen) else "none is")
    for kind in ("radicale", "xandikos"):
        os.makedirs(f"{folder}/{kind}-season")
        season(kind, f"{folder}/{kind}-season", chosen)
    print(f"1..{servers.results}")


main(*sys.argv[1:])
