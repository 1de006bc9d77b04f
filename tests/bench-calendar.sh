#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Ten thousand events written, read and compared: by thole, by plain libical, by icalendar (Python) and by ical.js, on
# the same data. Not a test: the figures are for docs/calendar.md.

set -u
tests=$THOLE_SOURCE_DIR/tests
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
"$THOLE_BUILD_DIR/tests/bench-calendar" "$work" make || exit 1
NODE_PATH=$THOLE_BUILD_DIR/test-data/node_modules
export NODE_PATH

run() { # READER TASK
    case $1 in
    thole | libical) "$THOLE_BUILD_DIR/tests/bench-calendar" "$work" "$1" "$2" ;;
    icalendar) /usr/bin/python3 "$tests/bench-calendar.py" "$work" "$2" ;;
    ical.js) node "$tests/bench-calendar.js" "$work" "$2" ;;
    esac 2>/dev/null
}

echo "10,000 events: ms of processor time, times as much as thole, memory it took more"
printf '%-44s' ""
printf '%24s' thole libical icalendar ical.js
echo
while IFS=: read -r task words; do
    printf '%-44s' "$words"
    ours=
    for reader in thole libical icalendar ical.js; do
        run "$reader" "$task" >"$work/figures"
        read -r ms kb <"$work/figures" || ms=
        ours=${ours:-$ms}
        if [ -n "$ms" ]; then
            printf '%24s' "$(awk -v ms="$ms" -v ours="$ours" -v kb="$kb" 'BEGIN {
                printf "%.0f ms %.1fx %.1f MB", ms, ms / ours, kb / 1000 }')"
        else
            printf '%24s' -
        fi
    done
    echo
done <<'END_OF_TASKS'
write:one calendar written
objects:as many objects written
read:as many objects read into fields
diff:a plan compared with what was published
merge:as many objects of others merged
END_OF_TASKS
