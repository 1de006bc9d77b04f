#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The units as systemd reads them, without a systemd that runs, and how exposed each service is.

set -u
. "$THOLE_SOURCE_DIR/tests/report.sh"
# The most that is accepted, of 100 (systemd-analyze security --threshold): what each has today, as
# shown below, and 1 for a systemd that counts otherwise. Lower is better; chosen.
threshold() { # user|system
    case $1 in
    user) echo 22 ;;
    system) echo 13 ;;
    esac
}

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# As built, but for programs that are not installed yet.
lay_out() { # user|system
    mkdir -p "$work/$1"
    for unit in "$THOLE_SOURCE_DIR/units/$1"/*; do
        sed -e "s|@bindir@|$THOLE_BUILD_DIR/daemon|" -e "s|@docdir@|$work|" "$unit" \
            >"$work/$1/$(basename "$unit" .in)"
    done
}

echo 1..7
for kind in user system; do
    lay_out $kind
    # A warning is on standard error, whatever the status.
    report "systemd-analyze verify is content with the $kind units" \
        "$(systemd-analyze "--$kind" verify --man=no "$work/$kind"/tholed.service \
            "$work/$kind"/tholed.socket 2>&1 || echo "status $?")"
    said=$(systemd-analyze "--$kind" security --offline=true --no-pager \
        --threshold="$(threshold $kind)" "$work/$kind/tholed.service" 2>&1)
    status=$?
    echo "# $kind/$(echo "$said" | sed -n 's/^→ //p')"
    report "the $kind service is exposed no more than $(threshold $kind) of 100" \
        "$([ "$status" = 0 ] || echo "$said" | grep -v '^✓')"
done

# verify finds unknown words, and says nothing of a value that only looks right.
printf '[Service]\nExecStart=/bin/true\nProtectSytem=strict\n' >"$work/typo.service"
report 'verify would see a misspelt line' \
    "$(systemd-analyze verify --man=no "$work/typo.service" 2>&1 | grep -q ProtectSytem ||
        echo 'it was content')"

# Before systemd 254 a user unit is sandboxed only within a user namespace.
report 'the user unit has PrivateUsers=yes' \
    "$(grep -qx 'PrivateUsers=yes' "$work/user/tholed.service" || echo 'it has not')"

report 'sysusers.d makes the user and the group that the system units name' \
    "$(mkdir -p "$work/root/etc"
    systemd-sysusers --root="$work/root" "$THOLE_SOURCE_DIR/units/sysusers.d/thole.conf" 2>&1 |
        grep -v '^Creating'
    for what in User Group SocketGroup; do
        name=$(sed -n "s/^$what=//p" "$work/system/tholed.service" "$work/system/tholed.socket")
        database=group
        [ "$what" != User ] || database=passwd
        grep -q "^$name:" "$work/root/etc/$database" || echo "no $what=$name"
    done)"
