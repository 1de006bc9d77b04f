# SPDX-License-Identifier: MIT
# shellcheck shell=sh
#
# Sourced by the tests that rehearse: an invented garden with four batches, and an invented season.

tholed=$THOLE_BUILD_DIR/daemon/tholed
# Where all calendars are kept (calendar-readers.sh), by one that is the same but for that.
[ -z "${THOLE_TEST_CALENDARS:-}" ] || tholed=$THOLE_BUILD_DIR/tests/tholed-kept
tholectl=$THOLE_BUILD_DIR/ctl/tholectl
work=$(mktemp -d)
daemon=
number=0

finish() {
    [ -z "$daemon" ] || { kill "$daemon" 2>/dev/null; wait "$daemon" 2>/dev/null; }
    rm -rf "$work"
}
trap finish EXIT

ok() { number=$((number + 1)); echo "ok $number - $1"; }
not_ok() {
    number=$((number + 1))
    echo "not ok $number - $1"
    sed 's/^/# /' "$work/out" "$work/err" 2>/dev/null | head -20
}
check() { # SENTENCE COMMAND...
    sentence=$1
    shift
    if "$@" >"$work/check" 2>&1; then ok "$sentence"; else
        not_ok "$sentence"
        sed 's/^/# /' "$work/check" | head -20
    fi
}

# The demo's garden, by the clocks of London whatever the machine's are.
write_garden() {
    sed '/^zone=/d; s|^longitude=.*|&\nzone=Europe/London|' "$THOLE_SOURCE_DIR/docs/demo/thole.conf" >"$work/thole.conf"
}

# Hours from 1 March for 110 days: a season that warms, days that differ, some nights of frost. The
# numbers follow from the seed.
write_season() { # SEED
    awk -v seed="$1" 'BEGIN {
        srand(seed)
        print "time,temperature_c,cloud_pct,wind_ms"
        for (day = 0; day < 110; day++) {
            shift = 0.7 * shift + 3 * (rand() - 0.5)
            low = 1 + day * 0.08 + shift; high = low + 5 + 6 * rand(); cloud = int(100 * rand())
            wind = 1 + 4 * rand()
            for (hour = 0; hour < 24; hour++) {
                t = low + (high - low) * (1 - cos((hour - 4) * 3.14159265 / 12)) / 2
                month = day < 31 ? 3 : day < 61 ? 4 : day < 92 ? 5 : 6
                first = day < 31 ? 0 : day < 61 ? 31 : day < 92 ? 61 : 92
                printf "2026-%02d-%02dT%02d:00:00Z,%.1f,%d,%.1f\n", month, day - first + 1, hour, t, cloud, wind
            }
        }
    }' >"$work/season.csv"
}

rehearse() { # OPTIONS...
    "$tholed" --config "$work/thole.conf" --crops "$THOLE_SOURCE_DIR/daemon/garden/crops.conf" \
        --rehearse "$work/season.csv" "$@"
}

# The same behind us, its words in the file OUT; $daemon is the program itself, not a shell.
start() { # OUT OPTIONS...
    out=$1
    shift
    : >"$out"
    "$tholed" --config "$work/thole.conf" --crops "$THOLE_SOURCE_DIR/daemon/garden/crops.conf" \
        --rehearse "$work/season.csv" "$@" >"$out" 2>>"$work/err" &
    daemon=$!
}

# Four batches in the store of FOLDER, on 15 March.
plant() { # FOLDER [FRAME BED], where those have other names
    start "$work/out" --state-dir "$1" --socket "$work/socket" --from 2026-03-15 --to 2026-03-15 --quiet --stay
    until grep -q '^Serving' "$work/out"; do
        kill -0 "$daemon" 2>/dev/null || return 1
        sleep 0.05
    done
    for batch in "leek 60 ${2:-frame}" "cabbage 24 sill" "lettuce 24 box" "tomato 12 sill"; do
        # shellcheck disable=SC2086
        "$tholectl" --socket "$work/socket" batch add $batch --sown 2026-01-28 --destination "${3:-bed}" \
            >>"$work/out" 2>>"$work/err" || return 1
    done
    kill "$daemon"
    wait "$daemon"
    daemon=
}
