#!/bin/sh
# SPDX-License-Identifier: MIT
#
# What the shells offer for tholectl: interactive bash and zsh at a terminal, beside a real tholed.

set -u
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"

write_garden
write_season 1
XDG_RUNTIME_DIR=$work/run
PATH=$THOLE_BUILD_DIR/ctl:$PATH
export XDG_RUNTIME_DIR PATH
mkdir -p "$work/run/thole" "$work/files"
: >"$work/files/garden one.conf"
start "$work/out" --state-dir "$work/state" --socket "$work/run/thole/control" \
    --from 2026-03-15 --to 2026-03-15 --quiet --stay
until grep -q '^Serving' "$work/out"; do
    kill -0 "$daemon" 2>/dev/null || { cat "$work/out" "$work/err"; exit 1; }
    sleep 0.05
done
"$tholectl" batch add leek 60 frame --sown 2026-01-28 >/dev/null || exit 1
"$tholectl" batch add cabbage 24 sill --sown 2026-01-28 >/dev/null || exit 1

/usr/bin/python3 - "$THOLE_SOURCE_DIR/ctl/completion" "$work" "$tholectl" <<'END'
import fcntl, os, pathlib, pty, re, select, shutil, signal, struct, subprocess, sys, termios, time

completion, work, tholectl = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), sys.argv[3]

# A line, and the words that all that is offered makes of its last one.
LINES = [
    ("tholectl we", ["week", "weather"]),
    ("tholectl batch de", ["destination"]),
    ("tholectl batch show ", ["cabbage-1", "leek-1"]),
    ("tholectl batch show le", ["leek-1"]),
    ("tholectl --json batch show le", ["leek-1"]),
    ("tholectl batch show --", ["--help", "--json", "--socket"]),
    ("tholectl batch move leek-1 fr", ["frame"]),
    ("tholectl batch move leek-1 --at 18:30 fr", ["frame"]),
    ("tholectl batch move leek-1 --at=18:30 fr", ["frame"]),
    ('tholectl batch move leek-1 --at "2026-03-15 06:00" fr', ["frame"]),
    ("tholectl batch add tomato 12 --destination fr", ["frame"]),
    ("tholectl cover frame ", ["10 cm", "20 cm", "closed", "open"]),
    ("tholectl cover frame 1", ["10 cm"]),
    ('tholectl cover frame "1', ["10 cm"]),
    ("tholectl cover frame 10\\ ", ["10 cm"]),
    ("tholectl help batch lo", ["lost"]),
    ("tholectl why leek-1 y", ["yesterday"]),
    ("tholectl --socket /nowhere batch show le", ["le"]),
]
# Whatever takes a file or a path offers the files of the shell.
usages = "".join(
    subprocess.run([tholectl, "help", verb], capture_output=True, text=True, check=True).stdout
    for verb in ("init", "today")
)
for option in sorted(set(re.findall(r"--([a-z-]+) (?:FILE|PATH)\b", usages))):
    LINES.append((f"tholectl init --{option} ga", ["garden one.conf"]))

SHELLS = {
    "bash": (
        ["bash", "--noprofile", "--rcfile", str(work / "rc"), "-i"],
        f". '{completion}/tholectl'\n",
        "\x1b*",
    ),
    "zsh": (
        ["zsh", "-i"],
        f"fpath=('{completion}' $fpath)\nautoload -Uz compinit\ncompinit -u -D\n"
        "zle -C all complete-word _generic\nbindkey -e\nbindkey '^Xa' all\n"
        "zstyle ':completion:all::::' completer _all_matches _complete\n"
        "zstyle ':completion:all:*' insert true\nunsetopt PROMPT_SP ZLE_BRACKETED_PASTE 2>/dev/null\n",
        "\x18a",
    ),
}
# After the line and the key that inserts all matches, "say" is put before it: what runs is then
# say, with the words as the shell reads them.
SAY = "say() { shift; printf '\\n<%s>' \"$@\"; printf '\\n=end=\\n'; }\nPS1='=ready='\n"


class Shell:
    def __init__(self, argv, rc):
        for name in ("rc", ".zshrc"):
            (work / name).write_text(SAY + rc)
        env = dict(os.environ, ZDOTDIR=str(work), TERM="dumb", HISTFILE="", INPUTRC="/dev/null")
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.chdir(work / "files")
            os.execvpe(argv[0], argv, env)
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 1000, 0, 0))
        self.text = ""
        self.read_until("=ready=")

    def read_until(self, what):
        """What came up to there; the rest is kept for the next time."""
        end = time.monotonic() + 60
        while what not in self.text:
            if not select.select([self.fd], [], [], max(0, end - time.monotonic()))[0]:
                raise TimeoutError(f"{what} did not come, but {self.text!r}")
            self.text += os.read(self.fd, 4096).decode(errors="replace")
        before, self.text = self.text.split(what, 1)
        return before

    def run(self, keys):
        """The words that the shell read, less the first."""
        os.write(self.fd, keys.encode())
        text = self.read_until("\n=end=")
        self.read_until("=ready=")
        return re.findall(r"\n<([^\r\n]*)>", text)

    def close(self):
        # Bash at a prompt may keep a SIGHUP for later, and later never comes.
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.fd)


# What a word holds must not be run before the grower says so.
TRAP = "tholectl batch show '$(touch hacked)' $(touch hacked) `touch hacked` "

TAB = "\t"

print(f"1..{(len(LINES) + 1) * len(SHELLS)}")
number = 0


def report(good, what, *more):
    global number
    number += 1
    print("ok" if good else "not ok", number, "-", what)
    if not good:
        print(*more, sep="\n")


for name, (argv, rc, key) in SHELLS.items():
    if not shutil.which(name):
        for line in LINES + [TRAP]:
            number += 1
            print(f"ok {number} # SKIP {name} is not installed")
        continue
    shell = Shell(argv, rc)
    for line, wanted in LINES:
        before = re.sub(r"\"[^\"]*\"|\\ ", "_", line).split(" ")[1:-1]
        words = shell.run(f"{line}{key if len(wanted) > 1 else TAB}\x01say \r")
        offered = words[len(before) :]
        report(sorted(offered) == sorted(wanted), f"{name}: {line}",
               f"# wanted {wanted}, the words became {words}")
    shell.run(f"{TRAP}{key}\x15say tholectl\r")
    report(not (work / "files/hacked").exists(), f"{name}: nothing of the line is run",
           "# a file was made")
    shell.close()
END
