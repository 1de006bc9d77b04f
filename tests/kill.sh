#!/bin/sh
# SPDX-License-Identifier: MIT
#
# A rehearsal on a durable store, killed at random moments: what was told as done is in the store, the store and
# the calendar are whole, and it goes on from there.

set -u
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"
kills=${THOLE_TEST_KILLS:-30}
seed=${THOLE_TEST_SEED:-$(date +%s)}
echo "# seed $seed (THOLE_TEST_SEED repeats it)"
echo "1..4"
write_garden
write_season "$seed"
check "four batches are told" plant "$work/state"

cat >"$work/look.py" <<'END'
"""The store is whole, and knows all that was printed; prints the moment to go on from."""
import datetime, re, sqlite3, sys, zoneinfo
store, printed = sys.argv[1:]
db = sqlite3.connect(store)
assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
london = zoneinfo.ZoneInfo("Europe/London")
last = db.execute("SELECT max(made_utc) FROM plan").fetchone()[0]
told = 0
for line in open(printed, encoding="utf-8"):
    found = re.match(r"(\d{4}-\d\d-\d\d), .*?(\d\d:\d\d) \(", line)
    if found:
        at = datetime.datetime.fromisoformat(f"{found[1]} {found[2]}").replace(tzinfo=london)
        told = int(at.timestamp())
assert last >= told, f"a plan of {told} was told, the store knows none after {last}"
at = datetime.datetime.fromtimestamp(last + 59, london)
print(at.strftime("%Y-%m-%dT%H:%M"))
END

random() { # N: $drawn becomes 0 … N-1, the next of the seed
    seed=$(((seed * 1103515245 + 12345) % 2147483648))
    drawn=$((seed / 65536 % $1))
}

# How long this machine takes from the start to the first plan, ms: a kill must fall on both sides.
cp -R "$work/state" "$work/pace"
begun=$(date +%s%3N)
start "$work/paced" --state-dir "$work/pace" --from 2026-03-15 --to 2026-06-13
while ! [ -s "$work/paced" ] && kill -0 "$daemon" 2>/dev/null; do
    sleep 0.01
done
span=$((3 * ($(date +%s%3N) - begun)))
[ "$span" -ge 330 ] || span=330
kill -9 "$daemon" 2>/dev/null
wait "$daemon" 2>/dev/null
daemon=
echo "# each is killed within $span ms"

faults=0
died=0
moved=0
from=2026-03-15
: >"$work/faults"
for round in $(seq "$kills"); do
    start "$work/told" --state-dir "$work/state" --from "$from" --to 2026-06-13
    random "$span"
    sleep "$(printf %d.%03d $(((20 + drawn) / 1000)) $(((20 + drawn) % 1000)))"
    kill -9 "$daemon" 2>/dev/null && died=$((died + 1))
    wait "$daemon" 2>/dev/null
    daemon=
    before=$from
    if ! from=$(/usr/bin/python3 "$work/look.py" "$work/state/thole.db" "$work/told" 2>&1); then
        echo "round $round: $from" >>"$work/faults"
        faults=$((faults + 1))
        break
    fi
    [ "$from" = "$before" ] || moved=$((moved + 1))
    if [ -e "$work/state/thole.ics" ] && ! /usr/bin/python3 "$THOLE_SOURCE_DIR/tests/calendar-reader.py" \
        "$work/state/thole.ics" Europe/London >/dev/null 2>>"$work/faults"; then
        faults=$((faults + 1))
    fi
    case $from in # the season is over: another begins
    2026-06-1[23]*)
        rm -rf "$work/state"
        plant "$work/state" || faults=$((faults + 1))
        from=2026-03-15
        ;;
    esac
done
echo "# killed $died times, $moved of them after new plans, the last at $from"
sed 's/^/# /' "$work/faults"
check "after each kill store and calendar are whole, and nothing told is lost" test "$faults" -eq 0
check "it was killed at work" test "$died" -gt $((kills / 2)) -a "$moved" -gt $((kills / 3))
rehearse --state-dir "$work/state" --from "$from" --to 2026-06-14 >"$work/out" 2>"$work/err"
check "it goes on to the end" test $? -eq 0
