#!/bin/sh
# SPDX-License-Identifier: MIT
#
# What a grower asks of a season, of the real tholed and tholectl: one sowing forwards and backwards,
# a sill that will be over full, seed that should be up.

set -u
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"

write_garden
write_season 2026

serve() { # AT
    start "$work/log" --state-dir "$work/state" --socket "$work/socket" --from "$1" --to "$1" --quiet --stay
    until grep -q '^Serving' "$work/log"; do
        kill -0 "$daemon" 2>/dev/null || return 1
        sleep 0.05
    done
}
ask() { "$tholectl" --socket "$work/socket" "$@" >"$work/out" 2>"$work/err"; }
# The text in one line, so that where it breaks does not matter.
says() { tr -s ' \n' ' ' <"$work/out" | grep -qF -- "$1"; }
refuses() { # SENTENCE TEXT WORDS...
    sentence=$1 text=$2
    shift 2
    ask "$@"
    status=$?
    check "$sentence" sh -c "[ $status -ne 0 ] && [ ! -s '$work/out' ] && grep -qF -- '$text' '$work/err'"
}

check "the garden is served on 1 April" serve 2026-04-01T09:00
ask sow tomato --sow 2026-04-10
check "a sowing has all its dates" says "up Fri 17 Apr ± 1 d then on the sill"
check "and hardening is foretold" says "12 days at the least"
day=$(sed -n 's/^ *plant out *\([A-Z][a-z]* [0-9]* [A-Z][a-z]*\).*/\1/p' "$work/out")
out=$("$THOLE_BUILD_DIR/ctl/tholectl" --socket "$work/socket" sow tomato --sow 2026-04-10 --json |
    sed 's/.*"plant out","date":"\([0-9-]*\)".*/\1/')
ask sow tomato --out "$out"
check "backwards from its planting it is that day, or the next" \
    sh -c "grep -qE 'sow by (Fri 10|Sat 11) Apr' '$work/out'"
check "and planting is the day asked for" says "plant out $day"
ask sow pepper --sow today --place tunnel
check "too cold is said" says "Too cold to germinate: the tunnel has"
ask sow courgette --out 2026-04-30
check "nights that are not mild yet are said" says "The plan would not plant it before"
check "and the odds of a frost that would harm" says "It would harm them, hardened or not"
check "a crop's name is helped with" sh -c \
    "! '$tholectl' --socket '$work/socket' sow tomatto --sow today 2>&1 | grep -v 'did you mean \"tomato\"' | grep ."
refuses "a day that is past" "out: 2026-03-01 is past; give a day from 2026-04-01 to 2027-04-02" \
    sow leek --out 2026-03-01
refuses "no day" "give either --out DATE" sow leek
refuses "both days" "give either --out DATE" sow leek --out 2026-05-01 --sow 2026-04-01
refuses "no such place" "no place is called \"shed\"" sow leek --sow today --place shed
refuses "no plants" "number: \"0\" is not accepted" sow leek --sow today --number 0

ask season
check "no batch yet" says "No batches."
for batch in "leek 120 sill --sown 2026-03-25" "cabbage 120 sill --sown 2026-03-20" \
    "celery 80 propagator --sown 2026-03-28"; do
    # shellcheck disable=SC2086
    ask batch add $batch
done
ask season
check "each batch has its dates" says "celery-1 Sat 4 Apr ± 1 d"
check "a place over full is marked" says "sill 8/6 over full"
check "who stands there" says "8 of 6 trays: leek-1 (3), cabbage-1 (3), celery-1 (2)."
check "and who leaves first" says "The first to leave is cabbage-1"
ask sow tomato --sow today --number 30
check "no room is said of a sowing too" says "No room in the propagator on Wed 1 Apr: with this 3 trays"
ask batch add celeriac 4 propagator --sown 2026-03-28
check "what stands where was not touched by asking" sh -c "grep -q 'propagator holds 2 trays' '$work/err'"
ask batch add pepper 10 frame
ask today
check "seed that stands too cold is told of" says "pepper-1 stands too cold to germinate, in the frame"
check "what is not due is not asked after" sh -c "! grep -q 'Is leek-1 up' '$work/out'"

stop() {
    kill "$daemon"
    wait "$daemon"
    daemon=
}

# Its day comes, a week goes by, and another.
stop
check "the garden is served on 4 April" serve 2026-04-04T18:00
ask today
check "on its day it is asked after" says "Is celery-1 up? It may be by now."
stop
check "the garden is served on 6 April" serve 2026-04-06T18:00
ask today
check "a day late is late" says "Is celery-1 up? It should have been by Sun 5 Apr."
ask batch emerged celery-1 --at "2026-04-05 08:00"
ask batch show celery-1
check "and it is kept" says "up Sun 08:00"
ask today
check "who has told is not asked again" sh -c "! grep -q 'Is celery-1 up' '$work/out'"
stop
check "the garden is served on 16 April" serve 2026-04-16T18:00
ask season
check "another is late" says "leek-1 late"
stop
check "the garden is served on 21 April" serve 2026-04-21T18:00
ask season
check "after a week of asking it is taken as up" says "leek-1 up"
stop

echo "1..$number"
