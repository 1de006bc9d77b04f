#!/bin/sh
# SPDX-License-Identifier: MIT
#
# A grower's evening with the real programs: a rehearsal stands at midnight and serves, and readings of the evening,
# the night before and the open air are told by tholectl.

set -u
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"
echo "1..23"
write_garden
write_season 5
ctl() { "$tholectl" --socket "$work/socket" "$@" >"$work/out" 2>"$work/err"; }
says() { tr '\n' ' ' <"$work/out" | tr -s ' ' | grep -qE -- "$1"; }
refuses() { # PART COMMAND...
    part=$1
    shift
    ! ctl "$@" && tr '\n' ' ' <"$work/err" | grep -qF -- "$part"
}
start() {
    "$tholed" --config "$work/thole.conf" --crops "$THOLE_SOURCE_DIR/daemon/garden/crops.conf" \
        --state-dir "$work/state" --calendar "$work/state/thole.ics" --socket "$work/socket" \
        --rehearse "$work/season.csv" --from 2026-04-01 --to 2026-04-16 --stay --quiet >"$work/log" 2>&1 &
    daemon=$!
    tries=0
    until ctl today && grep -q "16 April" "$work/out"; do
        tries=$((tries + 1))
        [ "$tries" -lt 300 ] || return 1
        sleep 0.1
    done
}

check "the evening is lived up to" start
check "the open air, colder than forecast" ctl reading plot 3.5
check "tonight is colder by it" says "Tonight in the open air at plot: [0-9.]+ → [0-9.−]+ °C, odds of frost"
check "under the cover, in degrees Fahrenheit" ctl reading frame 32.9F
check "it says what was expected" says "frame 0.5 °C; reckoned [0-9.−]+ °C ± [0-9.]+\."
check "and what tonight is now" says "Tonight in frame: [0-9.−]+ → [0-9.−]+ °C, odds of frost .* → "
check "the minimum of the night before" ctl reading frame 6 --min --at "2026-04-15 07:30"
check "it is learned from" says "By night frame runs [0-9.]+ °C warmer than modelled \(1 reading\)"
check "a slip is put right" ctl reading frame 3 --min --at "2026-04-15 07:30"
check "and what was learned with it" says "By night frame runs [0-9.]+ °C colder than modelled \(1 reading\)"
check "the minimum in the open" ctl reading plot 4 --min --at "2026-04-15 07:30"
check "the forecasts are learned from" says "The nights at plot are [0-9.]+ °C (colder|warmer) than forecast \(1 night\)"
check "the nights ahead are told" ctl weather plot
check "with what the forecasts taught" says "The nights at plot are [0-9.]+ °C (colder|warmer) than forecast \(1 night\)\."
check "and the frame" says "By night frame runs ([0-9.]+ °C (colder|warmer) than|as) modelled \(1 reading\)\."
check "and the places" ctl places
check "tonight first" says "^ ?Tonight at plot: [0-9−]+ °C ± [0-9.]+ outdoors"
check "with what was learned of each" says "By night frame runs ([0-9.]+ °C (colder|warmer) than|as) modelled \(1 reading\)\."
check "a thermometer that is moved" ctl reading frame 2.1C --moved
check "begins again" says "what was learned of frame before is laid aside"
check "a reading that cannot be is refused" refuses "cannot be in frame then" reading frame 31
check "so is one to come" refuses "is still to come" reading frame 3 --at 22:00
check "and one of nowhere" refuses 'no place is called "shed"; places:' reading shed 3
