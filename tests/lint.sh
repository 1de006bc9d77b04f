#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The rules of the house that a compiler does not check. Without an argument, a TAP test of the whole
# tree and of the rules themselves; with a folder, prints the offenders in it: RULE FILE:LINE: WHAT.

set -u
LC_ALL=C
export LC_ALL

# All sources, relative to the tree's top.
sources() {
    find daemon ctl tests units docs .ci .build-aux configure.ac Makefile.am \
        -type f \( -name '*.[ch]' -o -name '*.am' -o -name '*.mk' -o -name '*.ac' -o -name '*.m4' \
        -o -name '*.sh' -o -path '.ci/*' \) 2>/dev/null |
        grep -v -e '\.build-aux/tap-driver\.sh' | sort
}

c_sources() {
    sources | grep '\.[ch]$'
}

# Every source names its licence in one of its first two lines.
rule_licence() {
    for file in $(sources); do
        sed -n 1,2p "$file" | grep -q 'SPDX-License-Identifier: MIT' ||
            echo "licence $file:1: no SPDX line"
    done
}

# Which headers a folder may include. Ours are written relative to daemon/, and ctl/ to the top.
rule_layers() {
    c_sources | xargs awk '
    function allow(folder, pattern) { allowed[folder] = pattern }
    function owner(header, pattern) { owners[header] = pattern }
    BEGIN {
        core = "garden/types[.]h|<(math|stddef|stdint|stdbool|string|float|assert|stdatomic)[.]h>"
        allow("daemon/base", "base/")
        allow("daemon/garden", "(base|garden)/")
        allow("daemon/climate", "climate/")
        allow("daemon/ramp", "ramp/")
        allow("daemon/odds", "(odds|climate)/")
        allow("daemon/grow", "grow/")
        allow("daemon/plan", "(plan|odds|ramp|climate|grow)/")
        allow("daemon/weather", "(base|garden|climate|weather)/")
        allow("daemon/calendar", "(base|garden|calendar)/")
        allow("daemon/caldav", "(base|garden|calendar|caldav)/")
        allow("daemon/feed", "(base|garden|feed)/")
        allow("daemon/notify", "(base|garden|notify)/")
        allow("daemon/store", "(base|garden|store)/")
        allow("daemon/control", "(base|garden|control)/")
        allow("daemon/service",
              "(base|garden|climate|odds|ramp|grow|plan|weather|calendar|caldav|feed|notify|store|control|service)/")
        allow("daemon", allowed["daemon/service"] "|(options|serve)[.]h")
        allow("ctl", "ctl/|control/wire[.]h")
        allow("ctl/draw", allowed["ctl"])
        owner("sqlite3[.]h", "daemon/store|tests")
        owner("libical/", "daemon/calendar|tests")
        owner("libnotify/", "daemon/notify|tests")
        owner("libsoup/", "daemon/control|daemon/weather|daemon/notify|daemon/caldav|daemon/feed|ctl|tests")
        owner("qrencode[.]h", "ctl|tests")
        owner("libxml/", "daemon/caldav|tests")
        owner("json-glib/", "daemon/(control|weather|notify|store|service)|ctl|tests")
        owner("(curl|gmime)/", "daemon/notify|tests")
        owner("systemd/", "daemon/base|tests")
        owner("cairo|pango", "ctl/draw|tests")
    }
    /^[ \t]*#[ \t]*include/ {
        match($0, /[<"][^>"]*[>"]/)
        written = substr($0, RSTART, RLENGTH)
        name = substr(written, 2, RLENGTH - 2)
        folder = FILENAME
        sub(/\/[^\/]*$/, "", folder)
        problem = ""
        if (folder ~ /^daemon\/(climate|odds|ramp|grow|plan)$/) {
            if (written !~ ("^\"?(" core ")\"?$") && written !~ ("^\"" allowed[folder]))
                problem = "not for the pure core"
        } else if (written ~ /^"/ && folder in allowed && name !~ ("^(" allowed[folder] ")"))
            problem = "not for " folder
        if (name ~ /^systemd\// && folder == "daemon/base" && FILENAME !~ /\/supervisor[.]c$/)
            problem = "belongs to supervisor.c"
        for (header in owners)
            if (name ~ ("^" header) && folder !~ ("^(" owners[header] ")(/|$)"))
                problem = "belongs to " owners[header]
        if (problem != "")
            print "layers " FILENAME ":" FNR ": " written " is " problem
    }'
}

# One clock: nothing else asks for the time or waits for it. A client may bound its own wait, and
# the watchdog has the one other timer.
rule_clock() {
    for file in $(c_sources | grep -v -e '^tests/' -e '^daemon/base/clock-system\.c$'); do
        words='g_get_real_time|g_date_time_new_now(_utc|_local)?|clock_gettime|gettimeofday'
        words="$words|timerfd_[a-z]+|u?sleep|nanosleep|g_usleep|alarm|setitimer|timer_create|time"
        case $file in
        ctl/*) ;;
        daemon/base/supervisor.c)
            words="$words|g_timeout_add[a-z_]*|g_timeout_source_new_seconds"
            grep -n 'g_timeout_source_new *(' "$file" | sed "1d; s|^\([0-9]*\):[ ]*|clock $file:\1: |"
            ;;
        *) words="$words|g_timeout_(add|source_new)[a-z_]*" ;;
        esac
        grep -nE "(^|[^A-Za-z0-9_\"])($words)[ ]*\(" "$file" |
            grep -vE '^[0-9]+:[ ]*(/?\*)' |
            sed "s|^\([0-9]*\):[ ]*|clock $file:\1: |"
    done
}

# Sizes: a file, a header, a function (from a brace in the first column to the next).
rule_sizes() {
    c_sources | xargs awk '
    function too_long(file, lines, most, what) {
        if (lines > most)
            print "sizes " file ": " what " has " lines " lines, allowed are " most
    }
    function close_file() {
        if (file == "")
            return
        if (file ~ /\.c$/)
            too_long(file, lines, file ~ /^tests\// ? 800 : file == "daemon/main.c" ? 100 : 600, "it")
        else
            too_long(file, lines, file == "daemon/garden/types.h" ? 400 : 100, "it")
    }
    FNR == 1 { close_file(); file = FILENAME; start = 0 }
    { lines = FNR }
    /^\{/ { start = FNR }
    /^\}/ {
        if (start && file !~ /^tests\//)
            too_long(file ":" start, FNR - start + 1, 80, "the function")
        start = 0
    }
    END { close_file() }'
}

# Nothing is left for later. (The words are split so that this file passes.)
rule_words() {
    sources | xargs grep -nwiE 'TO''DO|FIX''ME|X''XX|place''holder' |
        sed 's|^\([^:]*:[0-9]*\):[ ]*|words \1: |'
}

if [ $# -eq 1 ]; then
    cd "$1" || exit 1
    for rule in licence layers clock sizes words; do
        rule_$rule
    done
    exit 0
fi

# ---- the test ----

. "$THOLE_SOURCE_DIR/tests/report.sh"

self=$THOLE_SOURCE_DIR/tests/lint.sh
bad=$(mktemp -d) || exit 1
trap 'rm -rf "$bad"' EXIT

# A tree that breaks each rule, and what must be found in it: no more and no less.
spdx='/* SPDX-License-Identifier: MIT */'
mkdir -p "$bad/daemon/base" "$bad/daemon/garden" "$bad/daemon/climate" "$bad/daemon/ramp" \
    "$bad/daemon/plan" "$bad/daemon/store" "$bad/daemon/weather" "$bad/ctl" "$bad/tests"
echo 'int licence;' >"$bad/daemon/base/no-licence.h"
printf '%s\n' "$spdx" '#include "garden/types.h"' >"$bad/daemon/base/upwards.c"
printf '%s\n' "$spdx" '#include "store/store.h"' '#include "garden/types.h"' '#include "base/log.h"' \
    >"$bad/daemon/garden/sideways.c"
printf '%s\n' "$spdx" '#include <glib.h>' '#include <math.h>' '#include "garden/types.h"' \
    '#include "climate/sun.h"' '#include <stdlib.h>' '#include "garden/crop.h"' \
    >"$bad/daemon/climate/impure.c"
printf '%s\n' "$spdx" '#include "climate/sun.h"' '#include "ramp/ramp.h"' \
    >"$bad/daemon/ramp/sideways.c"
printf '%s\n' "$spdx" '#include "climate/sun.h"' '#include "base/clock.h"' \
    >"$bad/daemon/plan/impure.c"
printf '%s\n' "$spdx" '#include <libical/ical.h>' '#include <sqlite3.h>' >"$bad/daemon/store/ical.c"
printf '%s\n' "$spdx" '#include <sqlite3.h>' '#include <libnotify/notify.h>' \
    '#include <libsoup/soup.h>' >"$bad/daemon/weather/store.c"
printf '%s\n' "$spdx" '#include "base/log.h"' '#include "control/wire.h"' '#include "ctl/verb.h"' \
    'int f(void) { return g_timeout_add(1, f, 0); }' 'int g(void) { return sleep (1); }' \
    >"$bad/ctl/inside.c"
printf '%s\n' "$spdx" 'long f(void) { return time(NULL); }' '/* time (as it is) */' \
    'int alarm_time(int at_time) { return at_time; }' 'int g(void) { return g_timeout_add(1); }' \
    'long h(void) { return g_get_real_time(); }' >"$bad/daemon/base/clocks.c"
printf '%s\n' "$spdx" '#include <systemd/sd-daemon.h>' 'int f(void) { return g_timeout_source_new(1); }' \
    'int g(void) { return g_timeout_source_new(2); }' 'int h(void) { return g_timeout_add(1); }' \
    >"$bad/daemon/base/supervisor.c"
printf '%s\n' "$spdx" '#include <systemd/sd-daemon.h>' >"$bad/daemon/base/told.c"
printf '%s\n' "$spdx" '#include <systemd/sd-daemon.h>' >"$bad/daemon/weather/told.c"
{ echo "$spdx"; yes '//' | sed 600q; } >"$bad/daemon/base/long.c"
{ echo "$spdx"; yes '//' | sed 599q; } >"$bad/daemon/base/long-enough.c"
{ echo "$spdx"; yes '//' | sed 100q; } >"$bad/daemon/base/long.h"
{ echo "$spdx"; echo 'int f(void)'; echo '{'; yes ';' | sed 79q; echo '}'; } \
    >"$bad/daemon/base/function.c"
{ echo "$spdx"; echo 'int f(void)'; echo '{'; yes ';' | sed 78q; echo '}'; } \
    >"$bad/daemon/base/function-enough.c"
printf '%s\n' "$spdx" '/* to''do: later */' >"$bad/tests/later.c"

expected='clock ctl/inside.c:6
clock daemon/base/clocks.c:2
clock daemon/base/clocks.c:5
clock daemon/base/clocks.c:6
clock daemon/base/supervisor.c:4
clock daemon/base/supervisor.c:5
layers ctl/inside.c:2
layers daemon/base/told.c:2
layers daemon/base/upwards.c:2
layers daemon/climate/impure.c:2
layers daemon/climate/impure.c:6
layers daemon/climate/impure.c:7
layers daemon/garden/sideways.c:2
layers daemon/plan/impure.c:3
layers daemon/ramp/sideways.c:2
layers daemon/store/ical.c:2
layers daemon/weather/store.c:2
layers daemon/weather/store.c:3
layers daemon/weather/told.c:2
licence daemon/base/no-licence.h:1
sizes daemon/base/function.c:3
sizes daemon/base/long.c
sizes daemon/base/long.h
words tests/later.c:2'

echo 1..6
found=$(sh "$self" "$bad" | sed 's/: .*//' | sort)
if [ "$found" = "$expected" ]; then
    report 'the rules find what breaks them, and only that' ''
else
    report 'the rules find what breaks them, and only that' "expected:
$expected
found:
$found"
fi
cd "$THOLE_SOURCE_DIR" || exit 1
report 'every source names its licence' "$(rule_licence)"
report 'each folder includes only what it may' "$(rule_layers)"
report 'there is one clock' "$(rule_clock)"
report 'files and functions are short' "$(rule_sizes)"
report 'nothing is left for later' "$(rule_words)"
