# SPDX-License-Identifier: MIT
"""Runs a command in the view that a unit gives its service, as far as bubblewrap and seccomp can
build it from the unit's own lines:

    sandbox.py UNIT ROOT [--drop-in FILE] [--socket UNIT] [COMMAND...]

The folders of the unit's specifiers lie beneath ROOT. Without COMMAND it is the unit's ExecStart,
which finds the socket handed over. A line of the sandbox that is not understood is an error: then
this file is to follow the unit."""

import os
import re
import shlex
import socket
import subprocess
import sys
import tempfile

import seccomp

# What a service is, and when it runs.
PLAIN = set("""Type User Group Environment ExecStartPre ExecStart ExecReload Restart RestartSec
    RestartPreventExitStatus WatchdogSec UMask LoadCredential StateDirectoryMode""".split())
# What only systemd can do, or adds nothing to what is built here.
NOT_BUILT = set("""MemoryMax TasksMax DevicePolicy KeyringMode RemoveIPC ProcSubset ProtectProc
    ProtectClock ProtectControlGroups ProtectHostname ProtectKernelLogs ProtectKernelModules
    ProtectKernelTunables RestrictRealtime LockPersonality SystemCallArchitectures
    NoNewPrivileges""".split())
BUILT = set("""PrivateUsers ProtectSystem ProtectHome ReadWritePaths InaccessiblePaths PrivateTmp
    PrivateDevices PrivateIPC StateDirectory CapabilityBoundingSet RestrictAddressFamilies
    RestrictNamespaces RestrictSUIDSGID MemoryDenyWriteExecute SystemCallFilter
    SystemCallErrorNumber""".split())

CLONE_NEW = [0x80, 0x20000, 0x2000000, 0x4000000, 0x8000000, 0x10000000, 0x20000000, 0x40000000]
SUID_SGID = [0o4000, 0o2000]
EPERM, ENOSYS, EAFNOSUPPORT = 1, 38, 97


def read_unit(*paths):
    """The lines of [Service] or [Socket], each key with all its values; an empty one begins anew."""
    lines = {}
    for path in paths:
        section = ""
        for line in open(path, encoding="utf-8"):
            line = line.strip()
            if line.startswith("["):
                section = line
            elif section in ("[Service]", "[Socket]") and line and line[0] != "#":
                key, value = line.split("=", 1)
                lines.setdefault(key, [])
                if value == "" and key != "CapabilityBoundingSet":
                    lines[key] = []
                else:
                    lines[key].append(value)
    return lines


class View:
    def __init__(self, unit, root):
        self.unit = unit
        self.root = root
        unknown = set(unit) - PLAIN - NOT_BUILT - BUILT
        if unknown:
            sys.exit(f"sandbox.py does not know: {', '.join(sorted(unknown))}")

    def text(self, value):
        """With its specifiers resolved, systemd.unit(5)."""
        folders = {"h": "home", "S": "var/lib", "E": "etc", "t": "run"}
        return re.sub("%(.)", lambda m: f"{self.root}/{folders[m[1]]}", value)

    def last(self, key):
        return self.unit.get(key, [""])[-1]

    def paths(self, key):
        """(path, whether it may be missing)"""
        words = " ".join(self.unit.get(key, [])).split()
        return [(self.text(word.lstrip("-")), word[0] == "-") for word in words]

    def bubblewrap(self):
        """Hidden first, then what the test itself needs to see, then what may be written."""
        strict = self.last("ProtectSystem") == "strict"
        words = ["--ro-bind" if strict else "--bind", "/", "/", "--proc", "/proc"]
        if self.last("PrivateDevices") == "yes":
            words += ["--dev", "/dev"]
        hidden = ["/tmp", "/var/tmp"] if self.last("PrivateTmp") == "yes" else []
        if self.last("ProtectHome") == "yes":
            hidden += ["/home", "/root", "/run/user"]
        for path in filter(os.path.isdir, hidden):
            words += ["--tmpfs", path]
        for path in (os.environ["THOLE_SOURCE_DIR"], os.environ["THOLE_BUILD_DIR"], self.root):
            words += ["--ro-bind" if strict else "--bind", path, path]
        for path, may_miss in self.paths("ReadWritePaths"):
            if os.path.exists(path) or not may_miss:
                words += ["--bind", path, path]
        for name in self.unit.get("StateDirectory", []):
            path = f"{self.root}/var/lib/{name}"
            os.makedirs(path, exist_ok=True)
            words += ["--bind", path, path]
        for path, may_miss in self.paths("InaccessiblePaths"):
            if os.path.exists(path) or not may_miss:
                words += ["--perms", "0000", "--tmpfs", path]
        if self.last("PrivateUsers") == "yes":
            words += ["--unshare-user", "--uid", str(os.getuid()), "--gid", str(os.getgid())]
        if self.last("PrivateIPC") == "yes":
            words += ["--unshare-ipc"]
        if self.unit.get("CapabilityBoundingSet") == [""]:
            words += ["--cap-drop", "ALL"]
        return words

    def allowed_calls(self):
        names = set()
        for value in self.unit["SystemCallFilter"]:
            members = set().union(*(expand(word) for word in value.lstrip("~").split()))
            names = names - members if value[0] == "~" else names | members
        assert self.last("SystemCallErrorNumber") == "EPERM"
        allowed = seccomp.SyscallFilter(defaction=seccomp.ERRNO(EPERM))
        for name in names:
            try:
                allowed.add_rule(seccomp.ALLOW, name)
            except (OSError, RuntimeError, ValueError):
                pass  # not of this machine, or newer than the library
        return allowed

    def refused_calls(self):
        """Calls that are refused by what they are called with, as systemd refuses them."""
        refused = seccomp.SyscallFilter(defaction=seccomp.ALLOW)

        def refuse(error, name, argument, mask):
            refused.add_rule(seccomp.ERRNO(error), name,
                             seccomp.Arg(argument, seccomp.MASKED_EQ, mask, mask))

        families = [int(getattr(socket, name)) for name in self.last("RestrictAddressFamilies").split()]
        for family in set(range(64)) - set(families):
            refused.add_rule(seccomp.ERRNO(EAFNOSUPPORT), "socket",
                             seccomp.Arg(0, seccomp.EQ, family))
        if self.last("MemoryDenyWriteExecute") == "yes":
            refuse(EPERM, "mmap", 2, 6)  # PROT_WRITE | PROT_EXEC
            refuse(EPERM, "mprotect", 2, 4)  # PROT_EXEC
        if self.last("RestrictNamespaces") == "yes":
            for flag in CLONE_NEW:
                refuse(EPERM, "unshare", 0, flag)
                refuse(EPERM, "clone", 0, flag)
            refused.add_rule(seccomp.ERRNO(ENOSYS), "clone3")
            refused.add_rule(seccomp.ERRNO(EPERM), "setns")
        if self.last("RestrictSUIDSGID") == "yes":
            for bit in SUID_SGID:
                for name, argument in (("chmod", 1), ("fchmod", 1), ("fchmodat", 2)):
                    refuse(EPERM, name, argument, bit)
        return refused


def expand(word):
    """The system calls of a word of SystemCallFilter=."""
    if word[0] != "@":
        return {word}
    text = subprocess.run(["systemd-analyze", "syscall-filter", word], check=True,
                          capture_output=True, text=True).stdout
    inner = [line.strip() for line in text.splitlines()[1:]]
    return set().union(*(expand(line) for line in inner if line and line[0] != "#"))


def hand_over(view, socket_unit):
    """Listens where the socket unit says, at descriptor 3."""
    lines = read_unit(socket_unit)
    path = view.text(lines["ListenStream"][0])
    os.makedirs(os.path.dirname(path), exist_ok=True)
    if os.path.exists(path):
        os.unlink(path)
    listening = socket.socket(socket.AF_UNIX)
    listening.bind(path)
    os.chmod(path, int(lines["SocketMode"][0], 8))
    listening.listen(16)
    os.dup2(os.dup(listening.detach()), 3)
    os.environ["LISTEN_FDS"] = "1"
    os.environ["LISTEN_FDNAMES"] = lines["FileDescriptorName"][0]


def prepare(view):
    """What comes before ExecStart, outside of the sandbox where the unit says so."""
    for line in view.unit.get("ExecStartPre", []):
        assert line[0] == "+"
        subprocess.run(shlex.split(view.text(line[1:])), check=True)


def main():
    words = sys.argv[1:]
    units = [words.pop(0)]
    root = words.pop(0)
    socket_unit = None
    while words and words[0] in ("--drop-in", "--socket"):
        option, value = words.pop(0), words.pop(0)
        if option == "--socket":
            socket_unit = value
        else:
            units.append(value)
    view = View(read_unit(*units), root)
    prepare(view)
    if socket_unit:  # before anything else is opened: it becomes descriptor 3
        hand_over(view, socket_unit)
    command = words or shlex.split(view.text(view.last("ExecStart")))
    bubblewrap = view.bubblewrap()
    for filters in (view.allowed_calls(), view.refused_calls()):
        file = tempfile.TemporaryFile()
        filters.export_bpf(file)
        fd = os.dup(file.fileno())
        os.lseek(fd, 0, os.SEEK_SET)
        os.set_inheritable(fd, True)
        bubblewrap += ["--add-seccomp-fd", str(fd)]
    os.environ.update(HOME=f"{root}/home", XDG_RUNTIME_DIR=f"{root}/run")
    for key in [key for key in os.environ if key.startswith("XDG_") and key != "XDG_RUNTIME_DIR"]:
        del os.environ[key]
    for line in view.unit.get("Environment", []):
        key, value = view.text(line).split("=", 1)
        os.environ[key] = value
    os.umask(int(view.last("UMask"), 8))
    # bubblewrap passes no signal on: the caller must know whom to send it to.
    info = os.open(f"{root}/child", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.set_inheritable(info, True)
    os.execvp("bwrap", ["bwrap", *bubblewrap, "--info-fd", str(info), "--die-with-parent", "--", "sh", "-c",
                        'LISTEN_PID=$$ exec "$@"', "sh", *command])


main()
