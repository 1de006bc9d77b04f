#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The main job, once through: an invented garden, four batches, a week lived through on the virtual
# clock, then a forecast with frost on the third night. Real tholed, real tholectl.

set -eu
here=$(cd "$(dirname "$0")" && pwd)
build=${THOLE_BUILD_DIR:-$here/../../build}
tholed=${THOLE_DEMO_THOLED:-$build/daemon/tholed}
work=${THOLE_DEMO_DIR:-$build/demo}
socket=$work/control
daemon=

ctl() { "$build/ctl/tholectl" --socket "$socket" "$@"; }

stop() {
    [ -z "$daemon" ] || { kill "$daemon" 2>/dev/null; wait "$daemon" 2>/dev/null || true; }
    daemon=
}
trap stop EXIT

# Lives from one moment to another; at the end the clock stands and tholectl is answered.
live() { # FORECAST FROM TO
    : >"$work/log" # or the last one's "Serving" would be read
    "$tholed" --config "$work/thole.conf" --crops "$here/../../daemon/garden/crops.conf" \
        --state-dir "$work" --socket "$socket" --rehearse "$here/$1" --from "$2" --to "$3" \
        --quiet --stay >"$work/log" 2>&1 &
    daemon=$!
    until grep -q '^Serving' "$work/log"; do
        kill -0 "$daemon" 2>/dev/null || { cat "$work/log"; exit 1; }
        sleep 0.05
    done
}

say() { printf '\n== %s\n\n' "$1"; }

rm -rf "$work"
mkdir -p "$work"
cp "$here/thole.conf" "$work/"

say "Wed 8 April, 07:00. Four batches are told to thole."
live week-before.csv 2026-04-08T07:00 2026-04-08T07:00
ctl batch add leek 60 frame --sown 2026-01-28 --destination bed
ctl batch add cabbage 24 sill --sown 2026-02-18 --destination bed
ctl batch add lettuce 24 box --sown 2026-03-02 --destination fleece
ctl batch add tomato 12 sill --sown 2026-03-10 --destination tunnel
stop

say "A week passes; every job is done at its visit. Wed 15 April, 19:00:"
live week-before.csv 2026-04-08T07:00 2026-04-15T16:30
stop
live forecast.csv 2026-04-15T16:30 2026-04-15T19:00
ctl batch list
stop

say "Thu 16 April, 06:30. A new forecast has come, with frost on the third night:"
live forecast.csv 2026-04-15T19:00 2026-04-16T06:30
ctl batch list

say "tholectl: today"
ctl
say "tholectl week"
ctl week
say "tholectl why leek-1: why it is held"
ctl why leek-1
say "tholectl why leek-1 2026-04-18: the night of the frost"
ctl why leek-1 2026-04-18
say "tholectl draw site plot -o plot.png"
(cd "$work" && ctl draw site plot -o plot.png)
say "tholectl draw batch leek-1 -o leek-1.png"
(cd "$work" && ctl draw batch leek-1 -o leek-1.png)
say "tholectl what-if place cold-frame home"
ctl what-if place cold-frame home
say "tholectl calendar"
ctl calendar
stop
