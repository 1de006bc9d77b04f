#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The real tholed on a session bus of its own, beside a notification server that takes a message and never answers:
# tholed goes on answering at once, says what is wrong, and ends promptly though its notifier is stuck.

set -u
if [ "${1:-}" != inside ]; then
    folder=$(mktemp -d) || exit 1
    cat >"$folder/bus.conf" <<'END'
<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>session</type><listen>unix:tmpdir=/tmp</listen><auth>EXTERNAL</auth>
<policy context="default"><allow send_destination="*" eavesdrop="true"/>
<allow eavesdrop="true"/><allow own="*"/></policy></busconfig>
END
    dbus-run-session --config-file="$folder/bus.conf" -- sh "$0" inside 2>"$folder/err"
    status=$?
    rm -rf "$folder"
    exit $status
fi

. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"
echo "1..10"
write_garden
server=
trap '[ -z "$server" ] || kill -9 "$server"; finish' EXIT
ctl() { "$tholectl" --socket "$work/socket" "$@" >"$work/out" 2>"$work/err"; }
wait_for() { # COMMAND..., up to a minute
    tries=0
    until "$@"; do
        tries=$((tries + 1))
        [ "$tries" -lt 600 ] || return 1
        sleep 0.1
    done
}
says() { ctl check; tr -s '\n ' ' ' <"$work/out" | grep -qF -- "$1"; }
seconds() { date +%s; }
# The longest of ten requests, in seconds: far below the 25 s that libnotify waits. A loaded machine may be slow.
answers_promptly() {
    for _ in 1 2 3 4 5 6 7 8 9 10; do
        from=$(seconds)
        ctl today || return 1
        [ $(($(seconds) - from)) -lt 8 ] || return 1
        sleep 0.2
    done
}

"$tholed" --config "$work/thole.conf" --crops "$THOLE_SOURCE_DIR/daemon/garden/crops.conf" \
    --state-dir "$work/state" --socket "$work/socket" 2>"$work/log" &
daemon=$!
wait_for ctl today
check "without a server check says so" wait_for says "no notification server is running"
check "and a test alarm says that it was not shown" sh -c '! "$1" --socket "$2" test-alarm >"$3"' \
    sh "$tholectl" "$work/socket" "$work/test"
check "and why not" grep -q "Nothing was shown on the desktop: no notification server is running" "$work/test"
check "the calendar has one" grep -q "SUMMARY:Test alarm" "$work/state/thole.ics"

# It says who it is and what it can, and never takes a message.
/usr/bin/python3 - >"$work/server" 2>&1 <<'END' &
import dbus, dbus.service, dbus.mainloop.glib, time
from gi.repository import GLib
dbus.mainloop.glib.DBusGMainLoop(set_as_default=True)
NAME = "org.freedesktop.Notifications"
class Server(dbus.service.Object):
    @dbus.service.method(NAME, out_signature="ssss")
    def GetServerInformation(self):
        return "stuck", "test", "1", "1.2"
    @dbus.service.method(NAME, out_signature="as")
    def GetCapabilities(self):
        return ["body", "actions"]
    @dbus.service.method(NAME, in_signature="susssasa{sv}i", out_signature="u")
    def Notify(self, app, old, icon, summary, body, actions, hints, timeout):
        print("taken", flush=True)
        time.sleep(600)
        return 1
name = dbus.service.BusName(NAME, dbus.SessionBus())
server = Server(dbus.SessionBus(), "/org/freedesktop/Notifications")
GLib.MainLoop().run()
END
server=$!
check "a server that comes is noticed" wait_for says "alarms are shown by stuck 1"
"$tholectl" --socket "$work/socket" test-alarm >"$work/test" 2>&1 &
asking=$!
check "it takes a message and hangs" wait_for grep -q "^taken" "$work/server"
check "tholed answers all the same" answers_promptly
wait $asking
told() { tr '\n' ' ' <"$work/test" | grep -q "$1"; }
check "and says that the server does not answer" told "the notification server does not answer"
# The first is still in libnotify's hands; the next one waits its 4 s and is taken back.
"$tholectl" --socket "$work/socket" test-alarm >"$work/test" 2>&1
from=$(seconds)
kill "$daemon"
wait "$daemon"
check "it ends on SIGTERM" test $? -eq 0
check "at once, though the notifier is stuck" test $(($(seconds) - from)) -lt 8
daemon=
