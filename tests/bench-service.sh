#!/bin/sh
# SPDX-License-Identifier: MIT
#
# What the service costs: the memory of an idle tholed with the demo's garden and batches, a new plan for 10 and for
# 200 batches, ninety days rehearsed, how soon requests are answered while
# a nursery is planned. Not a test: the figures are for docs/service.md.

set -u
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"
write_garden
write_season 2026
plant "$work/state" || exit 1
start "$work/out" --state-dir "$work/state" --socket "$work/socket" --from 2026-04-15 --to 2026-04-15 --quiet --stay
until grep -q '^Serving' "$work/out"; do sleep 0.05; done
kb=$(awk '$1 == "VmRSS:" { print $2 }' "/proc/$daemon/status")
own=$(awk '$1 == "RssAnon:" { print $2 }' "/proc/$daemon/status")
kill "$daemon"
wait "$daemon"
daemon=
ms() { echo $((($(date +%s%N) - begun) / 1000000)); }
begun=$(date +%s%N)
rehearse --from 2026-03-15 --to 2026-06-13 --quiet >"$work/out" 2>&1
empty=$(ms)
begun=$(date +%s%N)
rehearse --state-dir "$work/state" --from 2026-04-15 --to 2026-07-14 --quiet >"$work/out" 2>&1
season=$(ms)
printf '%-52s %8s kB\n' "resident memory, demo garden, four batches" "$kb" "of that its own" "$own"
printf '%-52s %8s ms\n' "ninety days rehearsed, no batch" "$empty" \
    "ninety days rehearsed, four batches, durable store" "$season"
"$THOLE_BUILD_DIR/tests/bench-replan"
"$THOLE_BUILD_DIR/tests/bench-control"
