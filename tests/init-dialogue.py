# SPDX-License-Identifier: MIT
"""`tholectl init` at a terminal, as a new grower types: what is wrong is said at once and asked again.

TAP on standard output. The terminal is a pseudo one; the programs are those just built.
"""
import os
import pathlib
import pty
import select
import sys
import tempfile

build = pathlib.Path(os.environ["THOLE_BUILD_DIR"])
WAIT_S = 60  # for a prompt, on a busy machine
number = 0


def check(what, good, seen=""):
    global number
    number += 1
    print(f"{'ok' if good else 'not ok'} {number} - {what}")
    if not good:
        print("".join(f"# {line}\n" for line in seen.splitlines()), end="")
    return good


class Terminal:
    def __init__(self, *arguments):
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.environ["THOLED"] = str(build / "daemon/tholed")
            os.environ["TERM"] = "dumb"
            program = str(build / "ctl/tholectl")
            os.execv(program, [program, "init", *arguments])

    def read(self, until="> "):
        """What is printed up to the next prompt, or to the end."""
        text = b""
        while not text.endswith(until.encode()):
            if not select.select([self.fd], [], [], WAIT_S)[0]:
                raise TimeoutError(text.decode())
            try:
                more = os.read(self.fd, 4096)
            except OSError:  # the other side was closed
                more = b""
            if not more:
                break
            text += more
        return text.decode().replace("\r\n", "\n")

    def say(self, answer):
        os.write(self.fd, answer.encode() + b"\n")
        said = self.read()
        return said.split("\n", 1)[1] if "\n" in said else said

    def end(self):
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


def flat(text):
    return " ".join(text.split())


def whole_dialogue(config):
    rows = [
        # answer, what comes next
        ("Leeds", "Two numbers are wanted"),
        ("200, 300", 'latitude: "200" is not accepted; give degrees from -90 to 90'),
        ("53.80°N, 1.55 W", "What do you own?"),
        ("a shed", "no such kind of place; kinds: propagator, sill,"),
        ("window sill and 2 cold frames 6 trays at plot", "When are you at home"),
        ("evenings", 'visits-home=evenings: "evenings" is a span whose days cannot be read'),
        ("07:00-08:30; 17:30-dusk", "Where is the plot?"),
        ("53.82 −1.58", "How many minutes"),
        ("twenty", "give minutes from 0 to 1440"),
        ("20 minutes", "When can you be there?"),
        ("Sat-Sun 09:00-18:00", "One batch"),
        ("tomato 12 shelf", 'batch: no place is called "shelf"; places: sill, cold-frame-1'),
        ("tomato 12 sill", "tholectl batch add tomato 12 sill"),
    ]
    terminal = Terminal("--config", str(config))
    check("the first question is where home is", "Where is home?" in terminal.read())
    for answer, then in rows:
        seen = terminal.say(answer)
        check(f"{answer}: {then}", then in flat(seen), seen)
    check("ends well", terminal.end() == 0)
    text = config.read_text()
    for line in ("latitude=53.800000\nlongitude=-1.550000", "[place cold-frame-2]\nkind=cold-frame\n"
                 "site=plot\ntrays=6", "visits-home=07:00-08:30; 17:30-dusk", "travel-minutes=20",
                 "latitude=53.820000\nlongitude=-1.580000", "visits-plot=Sat-Sun 09:00-18:00"):
        check("written: " + line.replace("\n", " "), line in text, text)


def four_questions(config):
    terminal = Terminal("--config", str(config))
    questions = terminal.read().count("such as")
    for answer in ("53.12, -2.04", "sill, bed", "07:00-08:30", ""):
        questions += terminal.say(answer).count("such as")
    check("a garden at home is four questions", questions == 4 and terminal.end() == 0)
    check("and its file is there", config.exists())


def given_up(config):
    terminal = Terminal("--config", str(config))
    terminal.read()
    terminal.say("53.12, -2.04")
    seen = terminal.say("\x04")  # the end of the input
    check("given up: nothing was written", "nothing was written" in seen, seen)
    check("given up: refused", terminal.end() == 1)
    check("given up: no file", not config.exists())


def wrong_option(config):
    terminal = Terminal("--config", str(config), "--own", "a moat")
    seen = terminal.read()
    check("a wrong option is told before the first question",
          "own:" in seen and "Where is home" not in seen and terminal.end() == 1, seen)


with tempfile.TemporaryDirectory(dir=os.environ["HOME"]) as folder:
    whole_dialogue(pathlib.Path(folder, "whole.conf"))
    four_questions(pathlib.Path(folder, "four.conf"))
    given_up(pathlib.Path(folder, "given-up.conf"))
    wrong_option(pathlib.Path(folder, "wrong.conf"))
print(f"1..{number}")
sys.exit(0)
