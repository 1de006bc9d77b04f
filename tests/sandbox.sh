#!/bin/sh
# SPDX-License-Identifier: MIT
#
# tholed in the view of the file system, and with the system calls, that its units give it: built from
# the units by sandbox.py, so it is they that are tested. It works in there, writes nowhere else, and
# says so clearly where it should.

set -u
unset THOLE_TEST_CALENDARS # nothing can be kept outside of the sandbox
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"
# LeakSanitizer traces its own process, which no service may.
ASAN_OPTIONS=detect_leaks=0
export ASAN_OPTIONS
bus=
httpd=
finish_all() {
    [ -z "$bus" ] || kill "$bus" 2>/dev/null
    [ -z "$httpd" ] || kill "$httpd" 2>/dev/null
    finish
}
trap finish_all EXIT

echo "1..23"
write_garden
root=$work/root
mkdir -p "$root/home/.config/thole" "$root/home/.ssh" "$root/home/Sync" "$root/home/forecast" \
    "$root/etc/thole" "$root/run"
chmod 700 "$root/run"
echo secret >"$root/home/.ssh/key"
# A forecast somewhere in the home, of today.
{
    echo time,temperature_c
    /usr/bin/python3 -c 'import time
hour = int(time.time()) // 3600 * 3600
for t in range(hour, hour + 72 * 3600, 3600):
    print(time.strftime("%Y-%m-%dT%H:00:00Z,8.5", time.gmtime(t)))'
} >"$root/home/forecast/today.csv"
sed "s|^weather=.*|weather=file:$root/home/forecast/today.csv|" "$work/thole.conf" \
    >"$root/home/.config/thole/thole.conf"
cp "$work/thole.conf" "$root/etc/thole/thole.conf"

lay_out() { # user|system: the units as built, with the programs and the crops that were built
    mkdir -p "$work/$1"
    for unit in "$THOLE_SOURCE_DIR/units/$1"/*; do
        sed -e "s|^ExecStart=@bindir@/tholed|& --crops $THOLE_SOURCE_DIR/daemon/garden/crops.conf|" \
            -e "s|@bindir@|$THOLE_BUILD_DIR/daemon|" "$unit" >"$work/$1/$(basename "$unit" .in)"
    done
}
within() { # KIND OPTIONS... COMMAND...
    kind=$1
    shift
    /usr/bin/python3 "$THOLE_SOURCE_DIR/tests/sandbox.py" "$work/$kind/tholed.service" "$root" "$@"
}
start_unit() { # KIND [OPTIONS...]
    kind=$1
    shift
    within "$kind" --socket "$work/$kind/tholed.socket" "$@" 2>"$work/err" &
    daemon=$!
}
stop_unit() {
    kill "$(sed -n 's/.*"child-pid": *\([0-9]*\).*/\1/p' "$root/child")"
    wait "$daemon"
    daemon=
}
ctl() { "$tholectl" --socket "$root/run/thole/control" "$@" >"$work/out" 2>&1; }
wait_for() { # up to 60 s, while it lives
    tries=0
    until "$@"; do
        tries=$((tries + 1))
        [ -z "$daemon" ] || kill -0 "$daemon" 2>/dev/null || return 1
        [ "$tries" -lt 600 ] || return 1
        sleep 0.1
    done
}
says() { # WORDS: what check says, its lines joined
    ctl check
    tr '\n' ' ' <"$work/out" | sed 's/  */ /g' | grep -qF -- "$1"
}
refused() { ! "$@"; }

# ---- both services ----

for kind in user system; do
    lay_out $kind
    case $kind in
    user) state=$root/home/.local/state/thole ;;
    system) state=$root/var/lib/thole ;;
    esac
    start_unit $kind
    check "$kind: it answers at the socket that it was handed" wait_for ctl batch list
    check "$kind: a batch is told" ctl batch add cabbage 24 sill
    check "$kind: store and calendar are in the state folder" \
        test -s "$state/thole.db" -a -s "$state/thole.ics"
    check "$kind: nobody else can read them" \
        test "$(stat -c %a "$state/thole.db" "$state/thole.ics" | tr '\n' ' ')" = "600 600 "
    stop_unit
    check "$kind: outside of it nothing can be written" \
        \
        refused within "$kind" sh -c "touch '$root/home/x' || touch '$root/etc/thole/x' ||
            touch '$root/home/.config/thole/thole.conf' || touch /x"
    check "$kind: it makes no other user namespace" refused within "$kind" unshare --user true
    check "$kind: it makes no socket of another kind" within "$kind" /usr/bin/python3 -c '
import errno, socket
try:
    socket.socket(socket.AF_NETLINK, socket.SOCK_RAW)
except OSError as error:
    raise SystemExit(error.errno != errno.EAFNOSUPPORT)
raise SystemExit(1)'
done

# ---- what a grower's service must be able to do ----

start_unit user
check "user: a forecast anywhere in the home is read" wait_for says "/forecast/today.csv, of "
stop_unit
check "user: keys are out of sight" refused within user cat "$root/home/.ssh/key"

dbus-daemon --session --nofork --nopidfile --address="unix:path=$root/run/bus" 2>"$work/err" &
bus=$!
wait_for test -S "$root/run/bus"
check "user: the session bus is there for notifications" \
    within user env DBUS_SESSION_BUS_ADDRESS="unix:path=$root/run/bus" gdbus call --session \
    --dest org.freedesktop.DBus --object-path /org/freedesktop/DBus --method org.freedesktop.DBus.GetId

/usr/bin/python3 -u -c 'import http.server
server = http.server.HTTPServer(("127.0.0.1", 0), http.server.BaseHTTPRequestHandler)
print(server.server_port)
server.serve_forever()' >"$work/port" 2>/dev/null &
httpd=$!
wait_for test -s "$work/port"
for kind in user system; do
    # 501: it was asked, by name, and answered.
    check "$kind: a name is looked up, and the network asked" within "$kind" /usr/bin/python3 -c "
import urllib.error, urllib.request
try:
    urllib.request.urlopen('http://localhost:$(cat "$work/port")/')
except urllib.error.HTTPError as error:
    raise SystemExit(error.code != 501)"
done

# ---- a calendar outside ----

# The drop-in of the README, for this place. Without its last line it is what was forgotten.
awk '/^## On the phone/ { there = 1 } there && /^    / { sub(/^    /, ""); print; begun = 1; next }
    begun { exit }' "$THOLE_SOURCE_DIR/README.md" |
    sed "s|=/usr/local/bin/tholed|=$tholed --crops $THOLE_SOURCE_DIR/daemon/garden/crops.conf|" \
        >"$work/drop-in"
grep -v '^ReadWritePaths=' "$work/drop-in" >"$work/forgotten"
start_unit user --drop-in "$work/forgotten"
check "a calendar elsewhere is refused, and how to allow it is said" wait_for says \
    "cannot write $root/home/Sync/thole.ics"
check "with the line that is missing" says "ReadWritePaths="
check "the service goes on" ctl batch list
stop_unit
start_unit user --drop-in "$work/drop-in"
check "with the README's drop-in it is written" wait_for test -s "$root/home/Sync/thole.ics"
stop_unit
