# SPDX-License-Identifier: MIT
"""A season's calendar on Radicale and Xandikos; TAP. See caldav-servers.sh."""
import datetime
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request

try:
    import caldav
    import icalendar
except ImportError as missing:
    print(f"1..0 # SKIP {missing}")
    sys.exit(0)

BUILD = os.environ["THOLE_BUILD_DIR"]
DAY = 86400
NOW = 1774598400  # 2026-03-27T08:00:00Z: the clocks change on the 29th
UTC = datetime.timezone.utc
USER, SECRET = "ann", "s3cret"
results = 0

# HTTP Basic in front of a server that has none.
BASIC = """
import asyncio, base64, inspect, sys
from aiohttp import web
want = "Basic " + base64.b64encode(sys.argv.pop(1).encode()).decode()
@web.middleware
async def basic(request, handler):
    if request.headers.get("Authorization") != want:
        return web.Response(status=401, headers={"WWW-Authenticate": 'Basic realm="x"'})
    return await handler(request)
plain = web.Application
web.Application = lambda *a, **k: plain(*a, middlewares=[basic], **k)
from xandikos import web as xandikos
result = xandikos.main(sys.argv)
sys.exit(asyncio.run(result) if inspect.isawaitable(result) else result)
"""


def report(name, wrong):
    global results
    results += 1
    print(f"{'not ok' if wrong else 'ok'} {results} - {name}")
    for line in str(wrong or "").splitlines():
        print(f"# {line}")
    sys.stdout.flush()


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


class Server:
    def __init__(self, kind, folder):
        self.kind, self.folder, self.port = kind, folder, free_port()
        self.url = f"http://127.0.0.1:{self.port}/"
        os.makedirs(folder)
        self.set_secret(SECRET)
        self.start()

    def set_secret(self, secret):
        self.secret = secret
        with open(f"{self.folder}/users", "w") as users:
            users.write(f"{USER}:{secret}\n")

    def start(self):
        if self.kind == "radicale":
            command = ["radicale", "--config", "", "--server-hosts", f"127.0.0.1:{self.port}",
                       "--auth-type", "htpasswd", "--auth-htpasswd-filename", f"{self.folder}/users",
                       "--auth-htpasswd-encryption", "plain", "--auth-delay", "0",
                       "--rights-type", "owner_only",
                       "--storage-filesystem-folder", f"{self.folder}/data", "--web-type", "none"]
        else:
            with open(f"{self.folder}/basic.py", "w") as script:
                script.write(BASIC)
            command = ["/usr/bin/python3", f"{self.folder}/basic.py", f"{USER}:{self.secret}",
                       "--defaults", "-d", f"{self.folder}/data", "-l", "127.0.0.1",
                       "-p", str(self.port), "--current-user-principal", f"/{USER}/"]
        self.log = open(f"{self.folder}/log", "a")
        self.process = subprocess.Popen(command, stdout=self.log, stderr=self.log)
        for _ in range(600):
            try:
                urllib.request.urlopen(self.url)
                return
            except urllib.error.HTTPError:
                return
            except OSError:
                if self.process.poll() is not None:
                    break
                time.sleep(0.1)
        raise RuntimeError(f"{self.kind} does not start: {open(self.log.name).read()[-2000:]}")

    def stop(self):
        self.process.terminate()
        self.process.wait()
        self.log.close()


class Garden:
    """The service's side: events as they are wanted, and the driver."""

    def __init__(self, server, folder):
        self.server, self.folder, self.events, self.edits = server, folder, {}, []
        os.makedirs(folder)
        self.set_secret(SECRET)

    def set_secret(self, secret):
        with open(f"{self.folder}/secret", "w") as file:
            file.write(secret + "\n")
        os.chmod(f"{self.folder}/secret", 0o600)

    def want(self, uid, start, text="Close the frame, 4 °C tonight.", **more):
        self.events[uid] = dict(dict(start=start, minutes=15, title="Close frame by 19:45", text=text,
                                     alarm=15, cancelled=0, seen=0, sequence=0), **more)

    def run(self, address=None, now=NOW):
        with open(f"{self.folder}/events", "w") as file:
            for uid, e in self.events.items():
                file.write(f"{uid}|{e['start']}|{e['minutes']}|{e['title']}|{e['text']}|{e['alarm']}|"
                           f"{e['cancelled']}|{e['seen']}|{e['sequence']}|{e.get('place', '')}\n")
        out = subprocess.run([f"{BUILD}/tests/caldav-drive", address or self.server.url, USER,
                              f"{self.folder}/secret", f"{self.folder}/state",
                              f"{self.folder}/events", str(now)],
                             capture_output=True, text=True, timeout=300)
        lines = out.stdout.splitlines()
        self.edits = [line.split(" ", 6)[1:] for line in lines if line.startswith("edit ")]
        self.error = "".join(line for line in lines if line.startswith("error "))
        self.collection = next((l[11:] for l in lines if l.startswith("collection ")), "")
        if out.returncode != 0 and not self.error:
            self.error = f"exit {out.returncode}: {out.stderr[-2000:]}"
        if "s3cret" in out.stdout + out.stderr + open(f"{self.folder}/state").read():
            self.error += " the secret is told"
        return out.stdout

    def settled(self):
        out = self.run()
        return "" if "\npending 0\n" in out and not self.error else out + self.error


def client(server):
    return caldav.DAVClient(server.url, username=USER, password=server.secret)


def the_calendar(server, garden):
    return caldav.Calendar(client=client(server), url=garden.collection)


def events_there(server, garden):
    there = {}
    for event in the_calendar(server, garden).events():
        parsed = icalendar.Calendar.from_ical(event.data)
        vevent = parsed.walk("VEVENT")[0]
        there[str(vevent["UID"])] = (event, parsed, vevent)
    return there


def save(event, parsed):
    event.data = parsed.to_ical().decode()
    event.save()


def full_life(server, garden):
    for i in range(8):
        garden.want(f"visit-{i}", NOW + DAY * (i + 1) + 3600 * 9)
    report(f"{server.kind}: discovery, a calendar of our own, eight events", garden.settled())
    there = events_there(server, garden)
    wrong = []
    for uid, e in garden.events.items():
        event, parsed, v = there[uid]
        alarms = v.walk("VALARM")
        if int(v["DTSTART"].dt.timestamp()) != e["start"] or str(v["DESCRIPTION"]) != e["text"] or \
                len(alarms) != 1 or alarms[0]["TRIGGER"].dt != datetime.timedelta(minutes=-15):
            wrong.append(parsed.to_ical().decode())
    report(f"{server.kind}: as another client reads them", "\n".join(wrong) or len(there) != 8)
    names = [c.name for c in client(server).principal().calendars()]
    report(f"{server.kind}: the calendar has its name",
           "" if "Frames & trays" in names else str(names))

    # The grower: moves one, deletes one, writes in the notes, renames, cancels, adds one.
    moved = datetime.datetime(2026, 3, 29, 19, 0, tzinfo=UTC)
    event, parsed, v = there["visit-0"]
    v["DTSTART"].dt, v["DTEND"].dt = moved, moved + datetime.timedelta(minutes=20)
    save(event, parsed)
    there["visit-1"][0].delete()
    event, parsed, v = there["visit-2"]
    v["DESCRIPTION"] = icalendar.vText(str(v["DESCRIPTION"]) + "\nframe −1,5\nwatered\nmind the gap")
    v["SUMMARY"] = icalendar.vText("My own title")
    save(event, parsed)
    event, parsed, v = there["visit-3"]
    v["STATUS"] = icalendar.vText("CANCELLED")
    save(event, parsed)
    plain = ("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//y//EN\r\nBEGIN:VEVENT\r\nUID:plain-1\r\n"
             "DTSTAMP:20260327T080000Z\r\nDTSTART:20260330T170000Z\r\nDTEND:20260330T173000Z\r\n"
             "SUMMARY:Plot\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n")
    the_calendar(server, garden).save_event(plain)
    wrong = garden.settled()
    kinds = sorted((e[0], e[1]) for e in garden.edits)
    expected = sorted([("moved", "visit-0"), ("deleted", "visit-1"), ("reading", "visit-2"),
                       ("watered", "visit-2"), ("other", "visit-2"), ("renamed", "visit-2"),
                       ("cancelled", "visit-3"), ("other-seen", "plain-1")])
    reading = [e for e in garden.edits if e[0] == "reading"]
    if kinds != expected or not reading[0][5].endswith("|frame|-1.5"):
        wrong += f"{garden.edits}\nexpected {expected}"
    move = [e for e in garden.edits if e[0] == "moved"]
    if not move or int(move[0][3]) != int(moved.timestamp()):
        wrong += f"moved: {move}"
    report(f"{server.kind}: what the grower did is understood, once", wrong)
    wrong = garden.settled()
    report(f"{server.kind}: and not told again", wrong + str(garden.edits or ""))

    # We change our words meanwhile: the grower's time and lines stay.
    for uid in ("visit-0", "visit-2"):
        garden.events[uid]["text"] = "Close the frame, frost tonight."
    wrong = garden.settled()
    there = events_there(server, garden)
    v = there["visit-0"][2]
    if v["DTSTART"].dt != moved or str(v["DESCRIPTION"]) != "Close the frame, frost tonight.":
        wrong += v.to_ical().decode()
    v = there["visit-2"][2]
    if str(v["DESCRIPTION"]) != ("Close the frame, frost tonight.\nframe −1,5\nwatered\nmind the gap") or \
            str(v["SUMMARY"]) != "My own title":
        wrong += v.to_ical().decode()
    if "visit-1" in there or str(there["visit-3"][2]["STATUS"]) != "CANCELLED" or "plain-1" not in there:
        wrong += str(list(there))
    report(f"{server.kind}: the grower's time, lines and title stay, our text is new", wrong)

    # The plan says no to the move, and withdraws another.
    garden.events["visit-0"].update(seen=int(move[0][2]), text="19:00 is too late: as before.", sequence=1)
    garden.events["visit-4"].update(cancelled=1, sequence=1)
    garden.events["visit-3"].update(cancelled=1, sequence=1)
    garden.events["visit-1"].update(cancelled=1, sequence=1)
    wrong = garden.settled()
    there = events_there(server, garden)
    v = there["visit-0"][2]
    if int(v["DTSTART"].dt.timestamp()) != garden.events["visit-0"]["start"] or int(v["SEQUENCE"]) < 1:
        wrong += v.to_ical().decode()
    if sorted(there) != ["plain-1", "visit-0", "visit-2", "visit-5", "visit-6", "visit-7"]:
        wrong += str(sorted(there))
    report(f"{server.kind}: answered, and withdrawn", wrong)


def acknowledged(server, garden):
    event, parsed, v = events_there(server, garden)["visit-5"]
    v.walk("VALARM")[0]["ACKNOWLEDGED"] = icalendar.vDatetime(
        datetime.datetime(2026, 4, 2, 16, 45, tzinfo=UTC))
    save(event, parsed)
    wrong = garden.settled()
    garden.events["visit-5"]["text"] = "Other words."
    wrong += garden.settled()
    v = events_there(server, garden)["visit-5"][2]
    if str(v["DESCRIPTION"]) != "Other words." or "ACKNOWLEDGED" not in v.walk("VALARM")[0]:
        wrong += v.to_ical().decode()
    garden.events["visit-5"]["start"] += 3600
    wrong += garden.settled()
    v = events_there(server, garden)["visit-5"][2]
    if "ACKNOWLEDGED" in v.walk("VALARM")[0]:
        wrong += v.to_ical().decode()
    report(f"{server.kind}: a dismissed alarm stays so until it rings at another time", wrong)


def faults(server, garden):
    server.stop()
    garden.want("visit-8", NOW + 10 * DAY)
    garden.run()
    wrong = "" if garden.error else "no error while the server is down"
    server.start()
    wrong += garden.settled()
    if "visit-8" not in events_there(server, garden):
        wrong += "visit-8 is not there"
    report(f"{server.kind}: down and up again", wrong)

    garden.set_secret("wrong")
    garden.run()
    wrong = "" if "refuses the user or the password" in garden.error else f"{garden.error!r}"
    garden.set_secret(SECRET)
    report(f"{server.kind}: a wrong password, then the right one", wrong + garden.settled())

    os.chmod(f"{garden.folder}/secret", 0o644)
    garden.run()
    wrong = "" if "others may read it" in garden.error else f"{garden.error!r}"
    os.chmod(f"{garden.folder}/secret", 0o600)
    report(f"{server.kind}: a secret that others may read is not used", wrong)

    the_calendar(server, garden).delete()
    wrong = garden.settled()
    there = sorted(events_there(server, garden))
    if there != ["visit-0", "visit-2", "visit-5", "visit-6", "visit-7", "visit-8"] or \
            [e[0] for e in garden.edits] != ["lost"]:
        wrong += f"{there} {garden.edits}"
    v = events_there(server, garden)["visit-2"][2]
    if "mind the gap" not in str(v["DESCRIPTION"]):
        wrong += v.to_ical().decode()
    report(f"{server.kind}: the calendar was deleted: made again, the grower's lines in it", wrong)


def given(server, folder):
    """A calendar that the grower made, by its address; another program's events in it stay."""
    made = client(server).principal().make_calendar(name="Mine", cal_id="mine")
    garden = Garden(server, folder)
    garden.want("given-1", NOW + DAY)
    out = garden.run(str(made.url))
    there = sorted(str(icalendar.Calendar.from_ical(e.data).walk("VEVENT")[0]["UID"])
                   for e in made.events())
    wrong = "" if there == ["given-1"] and not garden.error and \
        garden.collection.rstrip("/") == str(made.url).rstrip("/") else f"{there} {out}"
    os.remove(f"{folder}/state")
    garden.events["given-1"]["text"] = "Said anew."
    out = garden.run(str(made.url))
    found = [icalendar.Calendar.from_ical(e.data).walk("VEVENT")[0] for e in made.events()]
    if len(found) != 1 or str(found[0]["DESCRIPTION"]) != "Said anew." or garden.edits:
        wrong += f"state lost: {found} {out}"
    report(f"{server.kind}: a calendar given by its address, and a state that was lost", wrong)


def main():
    kinds = [k for k in ("radicale", "xandikos") if shutil.which(k)]
    if len(kinds) < 2:
        print("1..0 # SKIP Radicale and Xandikos are not both there")
        return
    print("1..26")
    with tempfile.TemporaryDirectory() as folder:
        for kind in kinds:
            server = Server(kind, f"{folder}/{kind}")
            try:
                garden = Garden(server, f"{folder}/{kind}-garden")
                full_life(server, garden)
                acknowledged(server, garden)
                faults(server, garden)
                given(server, f"{folder}/{kind}-given")
            finally:
                if server.process.poll() is None:
                    server.stop()


if __name__ == "__main__":
    main()
