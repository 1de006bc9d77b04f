#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The manuals are clean, and agree with the programs: each verb, option, key and section has its
# entry, and none is told of that is not there. What the programs know is asked of them.

set -u
exec /usr/bin/python3 - "$THOLE_SOURCE_DIR" "$THOLE_BUILD_DIR" <<'END'
import pathlib, re, shutil, subprocess, sys, tempfile

source, build = map(pathlib.Path, sys.argv[1:3])
tholectl, tholed = build / "ctl/tholectl", build / "daemon/tholed"
PAGES = ["tholectl.1", "thole.conf.5", "thole.7", "tholed.8"]
pages = {name: (build / "docs/man" / name).read_text() for name in PAGES}
results = []


def report(what, faults, skip=None):
    results.append((what, list(faults), skip))


def run(*words):
    return subprocess.run([str(w) for w in words], capture_output=True, text=True)


def both_ways(programs, manual, where):
    """What one has and the other lacks, as sentences."""
    yield from (f"{where} lacks: {item}" for item in sorted(set(programs) - set(manual)))
    yield from (f"{where} tells of what is not there: {item}" for item in sorted(set(manual) - set(programs)))


# ---- the pages themselves ----

# A path that is longer than a line, as a long prefix makes it, is nobody's fault.
LINTERS = [
    ("mandoc", "-T", "lint", "-W", "warning"),
    ("groff", "-ww", "-Wbreak", "-b", "-K", "utf8", "-mandoc", "-T", "utf8"),
    ("groff", "-ww", "-Wbreak", "-b", "-K", "utf8", "-mandoc", "-T", "pdf"),
]
version = run(tholed, "--version").stdout.split()[1]
for name, text in pages.items():
    for linter in LINTERS:
        if shutil.which(linter[0]):
            done = subprocess.run([*linter, build / "docs/man" / name], capture_output=True)
            said = done.stderr + (done.stdout if linter[0] == "mandoc" else b"")
            report(f"{name}: {linter[0]} {linter[-1]} has nothing to say", said.decode().splitlines())
        else:
            report(f"{name}: {linter[0]} {linter[-1]}", [], f"{linter[0]} is not installed")
    faults = [f"left over: {word}" for word in re.findall(r"@\w+@", text)]
    faults += [] if f'.Os "thole {version}"' in text else [f"the version is not {version}"]
    for other, section in re.findall(r"^\.Xr (\S+) (\d)", text, re.M):
        if f"{other}.{section}" not in PAGES:
            faults.append(f"no such page: {other}({section})")
    others = {page for page in PAGES if page != name}
    named = {".".join(ref) for ref in re.findall(r"^\.Xr (\S+) (\d)", text.split(".Sh SEE ALSO")[1], re.M)}
    report(f"{name}: its version, and the pages it names", faults + list(both_ways(others, named, "SEE ALSO")))

# ---- tholectl(1): help, manual, completion, routes ----

OPTION = re.compile(r"^  --([a-z-]+)(?: ([A-Z]+))?(?:  .*)?$", re.M)
help_all = run(tholectl, "help").stdout
verbs = re.findall(r"^  ([a-z][a-z-]*(?: [a-z][a-z-]*)?)(?: [\[A-Z]\S*)*  +\S", help_all, re.M)
common = set(OPTION.findall(help_all))


def help_of(verb):
    """Its usage without blanks, its options."""
    text = run(tholectl, "help", *verb.split()).stdout
    usage = re.match(rf"Usage: tholectl {verb} ?(.*)", text)
    return usage.group(1).replace(" ", "") if usage else None, set(OPTION.findall(text)) - common


def options_of(text):
    return {(name, value or "") for name, value in re.findall(r"^\.It Fl -([a-z-]+)(?: Ar ([^\s=]+))?", text, re.M)}


def manual_verbs():
    """Verb -> usage without blanks, options."""
    found = {}
    commands = re.search(r"^\.Sh COMMANDS\n(.*?)^\.Sh ", pages["tholectl.1"], re.M | re.S).group(1)
    for entry in re.split(r"^\.It Cm ", commands, flags=re.M)[1:]:
        first, rest = entry.split("\n", 1)
        verb, arguments = re.match(r"((?:[a-z-]+ ?)+)(.*)", first).groups()
        arguments = re.sub(r"\bOp (.*)", r"[\1]", arguments)
        arguments = re.sub(r"\b(?:Ar|Cm)\b", "", arguments).replace(" ", "")
        found[verb.strip()] = arguments, options_of(rest)
    return found


manual = manual_verbs()
report("the help has verbs", [] if len(verbs) > 20 else [help_all])
report("tholectl(1): its verbs are those of the help", both_ways(verbs, manual, "tholectl(1)"))
for verb in verbs:
    usage, options = help_of(verb)
    faults = []
    if verb in manual:
        if manual[verb][0] != usage:
            faults.append(f"the help says {usage}, tholectl(1) {manual[verb][0]}")
        faults += both_ways(options, manual[verb][1], f"tholectl(1), {verb},")
    completed = run(tholectl, "complete", *verb.split(), "--").stdout.split()
    faults += both_ways({f"--{o}" for o, _ in options | common}, completed, "the completion")
    report(f"tholectl {verb}: usage and options", faults)
description = pages["tholectl.1"].split(".Sh DESCRIPTION")[1].split(".Sh COMMANDS")[0]
report("tholectl(1): the options of every command", both_ways(common, options_of(description), "tholectl(1)"))
completed = set()
for word in run(tholectl, "complete", "").stdout.split():
    more = run(tholectl, "complete", word, "").stdout.split()
    family = any(verb.startswith(word + " ") for verb in verbs)
    completed |= {f"{word} {second}" for second in more} & set(verbs) if family else set()
    completed |= {word} if word in verbs or not family else set()
report("the completion offers every verb", both_ways(verbs, completed, "the completion"))

NO_ROUTE = {"init", "help", "complete"}
api = (source / "docs/api.md").read_text()
rows = re.findall(r"^\| (?:GET|POST) \| `(\S+)` \| (.*?) \| `([\w-]+)` \|$", api, re.M)
told = {
    max((verb for verb in verbs if (words + " ").startswith(verb + " ")), key=len, default=words)
    for _, cell, _ in rows
    for words in re.findall(r"`([^`]+)`", cell)
}
report("docs/api.md: a route for each verb", both_ways(set(verbs) - NO_ROUTE, told, "docs/api.md"))
schemas = {path.stem for path in (source / "docs/schema").glob("*.json")} - {"common", "problem"}
report("docs/schema: one for each reply", both_ways({row[2] for row in rows}, schemas, "docs/schema"))

# ---- tholed(8) ----

program = set()
for name, value in re.findall(r"^ +(?:-\w, )?--([a-z-]+)(?:=(\S+))?", run(tholed, "--help").stdout, re.M):
    program.add((name, value))
body = re.sub(r"^\.Ss For other programs\n.*?(?=^\.S)", "", pages["tholed.8"], flags=re.M | re.S)
report("tholed(8): its options are those of --help", both_ways(program, options_of(body), "tholed(8)"))
synopsis = pages["tholed.8"].split(".Sh SYNOPSIS")[1].split(".Sh DESCRIPTION")[0]
named = set(re.findall(r"(?:Fl -|\| -)([a-z-]+)", synopsis)) - {"init-config"}
report("tholed(8): its synopsis", both_ways({name for name, _ in program}, named, "the synopsis"))

# ---- every verb that is told of ----

for where, text in [*((name, (source / name).read_text()) for name in ("README.md", "docs/phone.md")), *pages.items()]:
    if where.endswith(".md"):
        text = "\n".join(re.findall(r"`([^`\n]+)`", text) + re.findall(r"^    (?:\$ )?(.*)", text, re.M))
    faults = []
    for words in re.findall(r"(?:^|\.Ic |\$ )tholectl +([a-z][a-z -]*)", text, re.M):
        if not any((words + " ").startswith(verb + " ") for verb in verbs):
            faults.append(f"no such verb: tholectl {words}")
    report(f"{where}: the verbs it shows are there", faults)

# ---- thole.conf(5): what the readers ask for and accept ----

work = tempfile.TemporaryDirectory()
BASE = {
    "site a": {"latitude": "53", "longitude": "-2", "zone": "Europe/London"},
    "place t": {"kind": "tunnel", "site": "a"},
    "grower g": {"visits-a": "07:00-08:00"},
}


def complaint(heading, values):
    """What tholed says of a garden with this section in it."""
    sections = {**BASE, heading: values}
    path = pathlib.Path(work.name) / "thole.conf"
    path.write_text("".join(f"[{h}]\n" + "".join(f"{k}={v}\n" for k, v in s.items()) for h, s in sections.items()))
    crops, forecast = source / "daemon/garden/crops.conf", source / "docs/demo/forecast.csv"
    done = run(tholed, "--config", path, "--crops", crops, "--rehearse", forecast, "--from", "2026-04-16",
               "--to", "2026-04-16")
    return done.stderr.strip()


faults = []
for block in re.findall(r"((?:^ {4,}.+\n)+)", (source / "docs/phone.md").read_text(), re.M):
    lines = [line.strip() for line in block.splitlines()]
    if lines[0].startswith("["):
        values = dict(line.split("=", 1) for line in lines[1:])
        values.update({"grower": "g"} if "grower" in values else {})
        if values.pop("certificate", None) and values.pop("key", None):
            values["plain"] = "yes"  # nobody has these files here
        faults += filter(None, [complaint(lines[0][1:-1], values)])
report("docs/phone.md: tholed takes the sections it shows", faults)


def words_after(what, message):
    found = re.search(rf"{what}: (.*)", message)
    return found.group(1).split(", ") if found else []


def manual_sections():
    """Heading -> key -> its text, as plain words."""
    found = {}
    chapter = re.search(r"^\.Sh SECTIONS\n(.*?)^\.Sh ", pages["thole.conf.5"], re.M | re.S).group(1)
    for part in re.split(r"^\.Ss \[", chapter, flags=re.M)[1:]:
        heading, rest = part.split("]\n", 1)
        entries = found.setdefault(heading, {})
        for entry in re.split(r"^\.It Ic ", rest, flags=re.M)[1:]:
            keys, text = entry.split("\n", 1)
            text = re.sub(r"^\.(?:Li|Ic|Pq|Ar|Pa|Sx|El)\b", "", text, flags=re.M)
            text = " ".join(text.replace(r"\(mi", "-").replace(r"\(de", "°").split())
            entries.update({key: text for key in keys.split(" , ")})
    return found


# One section of each kind that has all it must, in every shape that asks for other keys.
SHAPES = {
    "garden": [("garden", {})],
    "site NAME": [("site b", dict(BASE["site a"]))],
    "place NAME": [
        (f"place {kind}", {"kind": kind, **where})
        for kind in words_after("accepted", complaint("place p", {"kind": "bogus"}))
        for where in ({"site": "a"}, {"inside": "t"})
        if not ("inside" in where and kind in ("propagator", "sill", "porch"))
    ],
    "container NAME": [("container c", {"volume-ml": "90", "per-tray": "24", "hold-max-weeks": "9"})],
    "grower NAME": [("grower h", {"visits-a": "07:00-08:00"})],
    "channel NAME": [
        ("channel c", values)
        for values in (
            {"kind": "desktop"},
            {"kind": "mail", "to": "a@plot.example", "from": "b@plot.example"},
            {"kind": "webhook", "url": "https://plot.example/a"},
            {"kind": "command", "command": "/bin/true"},
        )
    ],
    "calendar NAME": [
        ("calendar c", values)
        for values in (
            {"kind": "server", "address": "dav.plot.example"},
            {"kind": "folder", "path": "/tmp/a"},
            {"kind": "file", "path": "/tmp/a.ics"},
        )
    ],
}
TOGETHER = {"heater-watts": {"set-point-c": "10"}, "set-point-c": {"heater-watts": "100"},
            "soil-cable-watts": {"soil-cable-c": "10"}, "soil-cable-c": {"soil-cable-watts": "100"}}


def plain(key):
    return "visits-SITE" if key.startswith("visits-") and "-a-day-" not in key else key


def asked(heading, values):
    return words_after("keys here", complaint(heading, {**values, "bogus": "1"}))


def entry_faults(heading, values, key, text):
    """Whether the entry of a key says what its reader would accept."""
    extra = TOGETHER.get(key, {}) if values.get("kind") != "propagator" else {}
    message = complaint(heading, {**values, **extra, key: "bogus"})
    bounds = re.search(r"accepted is (?:a whole number from )?(-?[\d.]+ to .*)$", message)
    if bounds and bounds.group(1) not in text:
        yield f"[{heading}] {key}: accepted is {bounds.group(1)}, which thole.conf(5) does not say"
    for word in words_after("unknown; accepted", message):
        if not re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", text):
            yield f"[{heading}] {key}: accepted is {word}, which thole.conf(5) does not say"


sections = manual_sections()
kinds = words_after("sections", complaint("bogus", {}))
report("thole.conf(5): its sections are those that are read",
       both_ways(kinds, {heading.split()[0] for heading in sections}, "thole.conf(5)"))
page = (source / "docs/thole.conf.md").read_text()
report("docs/thole.conf.md: the same sections",
       both_ways(sections, re.findall(r"^## \[(.*)\]$", page, re.M), "docs/thole.conf.md"))
for heading, entries in sections.items():
    shapes = SHAPES.get(heading, [(heading, {})])
    known, faults = set(), []
    for shape in shapes:
        keys = asked(*shape)
        if not keys:
            faults.append(f"asked for its keys, tholed said: {complaint(shape[0], {**shape[1], 'bogus': '1'})}")
        known |= {plain(key) for key in keys}
        for key in keys:
            faults += entry_faults(*shape, key, entries.get(plain(key), ""))
    report(f"thole.conf(5): the keys of [{heading}]", list(both_ways(known, entries, "thole.conf(5)")) + faults)
    chapter = re.search(rf"^## \[{re.escape(heading)}\](.*?)(?=^## |\Z)", page, re.M | re.S)
    rows = set()
    for cell in re.findall(r"^\| (`[^|]*`) \|", chapter.group(1) if chapter else "", re.M):
        rows |= set(re.findall(r"`([a-z][\w-]*)`", cell))
    rows = {row for row in rows if row in entries or row in known} or rows
    report(f"docs/thole.conf.md: the keys of [{heading}]", both_ways(known, rows, "docs/thole.conf.md"))

print(f"1..{len(results)}")
for number, (what, faults, skip) in enumerate(results, 1):
    print("not ok" if faults else "ok", number, f"# SKIP {what}: {skip}" if skip else f"- {what}")
    for line in faults[:20]:
        print("#", line)
END
