#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The real tholed through an invented season: how long it takes, what stands in the calendar, and what is said of
# options that cannot be.

set -u
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"
read_calendar() { /usr/bin/python3 "$THOLE_SOURCE_DIR/tests/calendar-reader.py" "$1" Europe/London; }

seed=${THOLE_TEST_SEED:-2026}
echo "# season of seed $seed (THOLE_TEST_SEED changes it)"
write_garden
write_season "$seed"

check "four batches are told" plant "$work/state"
cp -r "$work/state" "$work/other"

# ---- ninety days ----

begun=$(date +%s%N)
rehearse --state-dir "$work/state" --from 2026-03-15 --to 2026-06-13 >"$work/season.txt" 2>"$work/err"
status=$?
took_ms=$((($(date +%s%N) - begun) / 1000000))
echo "# ninety days of four batches: $took_ms ms"
check "ninety days are lived through" test "$status" -eq 0
check "within half a minute" test "$took_ms" -lt 30000
check "nothing was warned of" test ! -s "$work/err"
check "each midnight is told at most once" sh -c \
    "! grep -o '^2026-.*(midnight[^)]*)' '$work/season.txt' | sort | uniq -d | grep ."
check "an independent reader takes the calendar" read_calendar "$work/state/thole.ics"
check "batches were planted out" grep -qi 'plant out' "$work/season.txt"

# ---- every file ever written, across the change of the clock ----

cat >"$work/watch.py" <<'END'
import json, pathlib, subprocess, sys
seen, gone = {}, set()
folder = pathlib.Path(sys.argv[1])
files = sorted(folder.glob("*.ics"))
assert len(files) >= 20, len(files)
for file in files:
    events = json.loads(subprocess.check_output(
        ["/usr/bin/python3", sys.argv[2], str(file), "Europe/London"]))["events"]
    uids = [event["uid"] for event in events]
    assert len(uids) == len(set(uids)), f"{file}: a UID twice"
    assert not gone & set(uids), f"{file}: a UID came back"
    for event in events:
        assert event["sequence"] >= seen.get(event["uid"], 0), f"{file}: SEQUENCE fell"
        seen[event["uid"]] = event["sequence"]
        minutes = int(event["start_local"][11:13]) * 60 + int(event["start_local"][14:16])
        asked = event["summary"].startswith("Done?") or "nobody" in event["description"].lower()
        inside = event["location"] == "plot" and 540 <= minutes <= 1170 or \
            event["location"] == "home" and (420 <= minutes <= 510 or 1050 <= minutes <= 1320)
        urgent = any(alarm["at"] == event["start"] for alarm in event["alarms"]) and not event["alarms"][1:]
        assert inside or asked or urgent or event["status"] == "CANCELLED", f"{file}: {event}"
    gone |= set(seen) - set(uids)
print(len(files), "files,", len(seen), "events")
END
mkdir "$work/files"
status=0
for day in 22 23 24 25 26 27 28 29 30 31; do
    for time in 05:00 12:00 18:45; do
        rehearse --state-dir "$work/other" --from "${last:-2026-03-15}" --to "2026-03-${day}T$time" --quiet \
            2>>"$work/err" || status=1
        last=2026-03-${day}T$time
        cp "$work/other/thole.ics" "$work/files/$day-$time.ics"
    done
done
check "it is taken up where it was left, thirty times" test "$status" -eq 0
check "no UID twice, none back, no SEQUENCE falls, all at the grower's hours" \
    /usr/bin/python3 "$work/watch.py" "$work/files" "$THOLE_SOURCE_DIR/tests/calendar-reader.py"

# ---- options ----

once() { rehearse --from 2026-03-15 --to 2026-04-05 "$@" 2>"$work/err"; }
once >"$work/plain" && once >"$work/again"
check "twice the same" cmp "$work/plain" "$work/again"
once --seed 7 >"$work/seven" && once --seed 7 >"$work/seven-again" && once --seed 8 >"$work/eight"
check "the same of one seed" cmp "$work/seven" "$work/seven-again"
cp -r "$work/other" "$work/third"
rehearse --state-dir "$work/other" --from 2026-03-31T18:45 --to 2026-04-20 --seed 1 >"$work/one" 2>"$work/err"
rehearse --state-dir "$work/third" --from 2026-03-31T18:45 --to 2026-04-20 --seed 2 >"$work/two" 2>"$work/err"
check "of two seeds not" sh -c "! cmp -s '$work/one' '$work/two'"

refused() { # STATUS SAYS OPTIONS...
    want=$1 says=$2
    shift 2
    "$tholed" --config "$work/thole.conf" --crops "$THOLE_SOURCE_DIR/daemon/garden/crops.conf" "$@" \
        >"$work/out" 2>"$work/err"
    status=$?
    if [ "$status" -eq "$want" ] && grep -qF -- "$says" "$work/err" && [ "$(wc -l <"$work/err")" -eq 1 ]; then
        ok "refused: $says"
    else
        not_ok "refused: $says (status $status)"
    fi
}
season=$work/season.csv
refused 1 "--to 2026-03-01 lies before --from 2026-03-15" --rehearse "$season" --from 2026-03-15 --to 2026-03-01
refused 1 "--from 2026-02-30: no such time" --rehearse "$season" --from 2026-02-30 --to 2026-03-01
refused 1 "--to 2026-03-20T25:00: no such time" --rehearse "$season" --from 2026-03-15 --to 2026-03-20T25:00
refused 1 "--miss tuesday: no such day" --rehearse "$season" --from 2026-03-15 --to 2026-03-20 --miss tuesday
refused 1 "$work/none.csv" --rehearse "$work/none.csv" --from 2026-03-15 --to 2026-03-20
refused 2 "--rehearse needs --from DATE and --to DATE" --rehearse "$season" --from 2026-03-15
refused 2 "are for --rehearse FORECAST.csv" --from 2026-03-15
refused 2 "no arguments are taken" 2026-03-15
refused 2 "--colour" --colour
refused 2 "seven" --rehearse "$season" --from 2026-03-15 --to 2026-03-20 --seed seven
{ echo "site,time,temperature_c" && echo "moon,2026-03-15T00:00:00Z,-20"; } >"$work/moon.csv"
refused 1 "site=moon: the garden has no such site; accepted home, plot" \
    --rehearse "$work/moon.csv" --from 2026-03-15 --to 2026-03-16
{ echo "time,temperature_c" && echo "2026-03-15T00:00:00Z,mild"; } >"$work/mild.csv"
refused 1 "mild.csv:2: temperature_c=mild" --rehearse "$work/mild.csv" --from 2026-03-15 --to 2026-03-16
sed 's/latitude=53.12/latitude=153.12/' "$work/thole.conf" >"$work/bad.conf"
refused 1 ": [site plot] latitude" --config "$work/bad.conf" --rehearse "$season" --from 2026-03-15 --to 2026-03-16

# ---- days without the grower ----

cp -r "$work/third" "$work/fourth"
rehearse --state-dir "$work/third" --from 2026-04-20 --to 2026-05-04 >"$work/kept" 2>"$work/err"
misses=$(seq -f '--miss=2026-04-%02g' 20 30)
# shellcheck disable=SC2086
rehearse --state-dir "$work/fourth" --from 2026-04-20 --to 2026-05-04 $misses >"$work/missed" 2>"$work/err"
check "days missed are told as such" grep -q 'job missed' "$work/missed"
check "and not where none was" sh -c "! grep -q 'job missed' '$work/kept'"

echo "1..$number"
