#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The real tholed on the real clock: it answers, reads its file again on SIGHUP, keeps what it had when the file is
# bad, leaves a second one no room, and ends on SIGTERM with everything in its place.

set -u
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"
echo "1..11"
write_garden
ctl() { "$tholectl" --socket "$work/socket" "$@" >"$work/out" 2>"$work/err"; }
serve() { # SOCKET
    "$tholed" --config "$work/thole.conf" --crops "$THOLE_SOURCE_DIR/daemon/garden/crops.conf" \
        --state-dir "$work/state" --calendar "$work/state/thole.ics" --socket "$1" 2>>"$work/log" &
    daemon=$!
}
# Waits up to 20 s until the command succeeds.
wait_for() {
    tries=0
    until "$@"; do
        tries=$((tries + 1))
        [ "$tries" -lt 200 ] || return 1
        sleep 0.1
    done
}
says() { ctl check; grep -qF -- "$1" "$work/out"; }
says_no() { ctl check; ! grep -qF -- "$1" "$work/out"; }

serve "$work/socket"
check "it answers" wait_for ctl today
check "a batch is told" ctl batch add cabbage 24 sill
check "the calendar is there" test -s "$work/state/thole.ics"
cp "$work/thole.conf" "$work/good.conf"
sed 's/latitude=53.12/latitude=153.12/' "$work/good.conf" >"$work/thole.conf"
kill -HUP "$daemon"
check "a bad file is named by check" wait_for says "[site plot] latitude"
check "the garden that ran goes on" ctl batch list
check "with its batch" grep -q cabbage-1 "$work/out"
cp "$work/good.conf" "$work/thole.conf"
kill -HUP "$daemon"
check "a good file is taken" wait_for says_no "[site plot] latitude"
"$tholed" --config "$work/thole.conf" --crops "$THOLE_SOURCE_DIR/daemon/garden/crops.conf" \
    --state-dir "$work/state" --calendar "$work/state/other.ics" --socket "$work/other" 2>"$work/err"
check "a second one on the same store is refused" grep -q "in use by another tholed" "$work/err"
kill "$daemon"
wait "$daemon"
check "it ends on SIGTERM" test $? -eq 0
daemon=
serve "$work/socket"
check "it comes up again on the same folder" wait_for ctl batch list
check "and knows the batch" grep -q cabbage-1 "$work/out"
