# SPDX-License-Identifier: MIT
"""Starts tholed as systemd would, holds its socket, and hears what it tells. Prints TAP."""

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time

THOLED, THOLECTL, WORK, CROPS = sys.argv[1:]
CONF = f"{WORK}/thole.conf"
CONTROL = f"{WORK}/control"
STORE = f"{WORK}/state/thole.db"
PATIENCE_S = 120  # for what must come, on a slow and busy machine
PING_S = 0.5  # half of what WATCHDOG_USEC says here

number = 0


def check(sentence, good, detail=""):
    global number
    number += 1
    print(f"{'ok' if good else 'not ok'} {number} - {sentence}", flush=True)
    if not good:
        for line in str(detail).splitlines():
            print(f"# {line}")


def arguments(*more):
    return ["--config", CONF, "--crops", CROPS, "--state-dir", f"{WORK}/state", *more]


def ask(*words, path=CONTROL):
    return subprocess.Popen([THOLECTL, "--socket", path, *words], stdout=subprocess.PIPE,
                            stderr=subprocess.STDOUT, text=True)


def answered(client):
    said, _ = client.communicate(timeout=PATIENCE_S)
    return client.returncode == 0, said


class Manager:
    """Holds the listening socket and the one that is notified, whoever comes and goes."""

    def __init__(self):
        self.listening = socket.socket(socket.AF_UNIX)
        self.listening.bind(CONTROL)
        self.listening.listen(16)
        self.notify = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.notify.bind(f"{WORK}/notify")
        self.heard = []  # (monotonic seconds, line)
        self.pid = 0

    def start(self, names=("control",), handed=None, watchdog_s=0.0):
        """HANDED: descriptors instead of the socket; as many as names."""
        handed = [self.listening.fileno()] * len(names) if handed is None else handed
        environment = dict(os.environ, NOTIFY_SOCKET=f"{WORK}/notify",
                           LISTEN_FDS=str(len(handed)), LISTEN_FDNAMES=":".join(names))
        self.heard = []
        self.pid = os.fork()
        if self.pid == 0:
            for i, fd in enumerate([os.dup2(fd, 100 + i) for i, fd in enumerate(handed)]):
                os.dup2(fd, 3 + i)
            environment["LISTEN_PID"] = str(os.getpid())
            if watchdog_s:
                environment["WATCHDOG_PID"] = str(os.getpid())
                environment["WATCHDOG_USEC"] = str(int(watchdog_s * 1e6))
            with open(f"{WORK}/err", "w", encoding="utf-8") as err:
                os.dup2(err.fileno(), 2)
            os.execve(THOLED, [THOLED, *arguments()], environment)

    def hear(self, seconds):
        """Whatever comes within the time."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            self.notify.settimeout(left)
            try:
                text = self.notify.recv(65536).decode()
            except TimeoutError:
                return
            self.heard += [(time.monotonic(), line) for line in text.splitlines()]

    def wait_for(self, start, after=0):
        """The place of the first line that begins so, from the place AFTER on."""
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            for i in range(after, len(self.heard)):
                if self.heard[i][1].startswith(start):
                    return i
            self.hear(0.2)
        raise TimeoutError(f"no {start} after {self.lines()[-20:]}")

    def lines(self):
        return [line for _, line in self.heard]

    def end(self, number=signal.SIGTERM):
        """How it ended: status, or signal below 0. What it told last is heard."""
        if number:
            os.kill(self.pid, number)
        _, status = os.waitpid(self.pid, 0)
        self.hear(0.2)
        return os.waitstatus_to_exitcode(status)


def text_of(path):
    with open(path, encoding="utf-8") as file:
        return file.read()


def first_start(manager):
    early = ask("batch", "list", "--json")
    time.sleep(0.3)  # not needed; so that it waits indeed
    manager.start(watchdog_s=2 * PING_S)
    ready = manager.wait_for("READY=1")
    with sqlite3.connect(f"file:{STORE}?mode=ro", uri=True) as store:
        plans = store.execute("SELECT count(*) FROM plan").fetchone()[0]
    check("ready is told when the first plan stands", plans >= 1, plans)
    check("before it, that the start may take longer",
          any(line.startswith("EXTEND_TIMEOUT_USEC=") for line in manager.lines()[:ready]),
          manager.lines())
    good, said = answered(early)
    check("who asked before it was up is answered", good and "batches" in said, said)


def statuses(manager):
    at = manager.wait_for("STATUS=No visit is planned.")
    good, said = answered(ask("batch", "add", "tomato", "12", "sill"))
    check("the status says what is planned", good, said)
    check("ready is told once", manager.lines().count("READY=1") == 1, manager.lines())
    return manager.heard[at][1]


def pings(manager):
    at = 0
    times = []
    for _ in range(4):
        at = manager.wait_for("WATCHDOG=1", at) + 1
        times.append(manager.heard[at - 1][0])
    # A timer comes late on a busy machine, never early: over three of them less than one ping's
    # time is lost to a late start.
    check("the watchdog is pinged, twice in its time", times[3] - times[0] > 2 * PING_S, times)


def reloads(manager, status):
    good_text = text_of(CONF)
    before = len(manager.heard)
    os.kill(manager.pid, signal.SIGHUP)
    at = manager.wait_for("RELOADING=1", before)
    manager.wait_for("READY=1", at)
    check("a reload is told, and its end", True)
    with open(CONF, "w", encoding="utf-8") as file:
        file.write(good_text.replace("latitude=53.12", "latitude=153.12"))
    before = len(manager.heard)
    os.kill(manager.pid, signal.SIGHUP)
    at = manager.wait_for("RELOADING=1", before)
    at = manager.wait_for("STATUS=", manager.wait_for("READY=1", at))
    _, said = answered(ask("check"))
    check("also where the file is refused", "latitude" in said, said)
    check("then the status says that the grower is needed",
          manager.heard[at][1] != status and "need" in manager.heard[at][1], manager.heard[at])
    with open(CONF, "w", encoding="utf-8") as file:
        file.write(good_text)
    check("no coordinates are told", not any("53.1" in line for line in manager.lines()),
          manager.lines())


def second_start(manager):
    status = manager.end()
    check("it tells that it stops, and ends well",
          status == 0 and "STOPPING=1" in manager.lines(), f"{status} {manager.lines()}")
    check("the inherited socket stays", os.path.exists(CONTROL))
    early = ask("batch", "list")
    manager.start()
    good, said = answered(early)
    check("the next one answers who asked in between, and knows the batch",
          good and "tomato-1" in said, said)
    manager.wait_for("READY=1")
    check("no pings where none are wanted", "WATCHDOG=1" not in manager.lines(), manager.lines())
    manager.end()


def refusals(manager):
    read, write = os.pipe()
    rows = [
        ("two sockets", ("control", "control"), None, "2 sockets (control, control)"),
        ("a socket of another name", ("tholed.socket",), None, "1 socket (tholed.socket)"),
        ("what is no socket", ("control",), [read], "control socket (inherited)"),
    ]
    for what, names, handed, error in rows:
        manager.start(names=names, handed=handed)
        status = manager.end(number=0)
        said = text_of(f"{WORK}/err")
        check(f"{what}: refused", status == 1 and error in said, f"{status}: {said}")
    os.close(read)
    os.close(write)


def activated():
    """By systemd's own tool, twice at one path."""
    path = f"{WORK}/activated"
    command = ["systemd-socket-activate", "-l", path, "--fdname=control", THOLED, *arguments()]
    for when in ("first", "second"):
        with open(f"{WORK}/err", "w", encoding="utf-8") as err:
            daemon = subprocess.Popen(command, stderr=err)
        end = time.monotonic() + PATIENCE_S
        while "Listening on" not in text_of(f"{WORK}/err") and time.monotonic() < end:
            time.sleep(0.05)
        good, said = answered(ask("batch", "list", path=path))
        check(f"systemd-socket-activate: the {when} start is answered", good and "tomato-1" in said,
              said + text_of(f"{WORK}/err"))
        daemon.terminate()
        daemon.wait(PATIENCE_S)
        check(f"the socket's file stays after the {when}", os.path.exists(path))


def main():
    print("1..21")
    manager = Manager()
    try:
        first_start(manager)
        status = statuses(manager)
        pings(manager)
        reloads(manager, status)
        second_start(manager)
        refusals(manager)
        activated()
    except TimeoutError as error:
        os.kill(manager.pid, signal.SIGKILL)
        check("all that must come comes", False, f"{error}\n{text_of(f'{WORK}/err')}")


main()
