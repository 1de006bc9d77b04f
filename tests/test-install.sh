#!/bin/sh
# SPDX-License-Identifier: MIT
#
# An installation into another root has all that belongs to it, names that root nowhere, runs, and
# leaves no file behind when it is removed.

set -u
. "$THOLE_SOURCE_DIR/tests/report.sh"
root=$(mktemp -d) || exit 1
trap 'rm -rf "$root"' EXIT
unset MAKEFLAGS MFLAGS MAKELEVEL TESTS

# The folders that this build was configured for, and others may be by now.
variable() { # NAME
    printf 'show:\n\t@echo $(%s)\n' "$1" | make -s -C "$THOLE_BUILD_DIR" -f Makefile -f - show 2>/dev/null
}
into_root() { # GOAL
    make -C "$THOLE_BUILD_DIR" DESTDIR="$root" "$1" >"$root.log" 2>&1 || {
        sed 's/^/# /' "$root.log"
        echo "Bail out! make $1 failed"
        exit 1
    }
    rm -f "$root.log"
}
files() { (cd "$root" && find . ! -type d | sed 's|^\.||' | sort); }

bindir=$(variable bindir) mandir=$(variable mandir) pkgdatadir=$(variable pkgdatadir)
docdir=$(variable docdir) units=$(variable systemduserunitdir)
unit=${units:+$units/tholed.service} # there may be no systemd
bash=$(variable bashcompletiondir) zsh=$(variable zshcompletiondir)

echo 1..6
into_root install
files >"$root.before"
missing=
for file in "$bindir/tholed" "$bindir/tholectl" "$pkgdatadir/crops.conf" $unit \
    "$mandir/man1/tholectl.1" "$mandir/man5/thole.conf.5" "$mandir/man7/thole.7" \
    "$mandir/man8/tholed.8" "$bash/tholectl" "$zsh/_tholectl" "$docdir/README.md" \
    "$docdir/docs/ramp.md" "$docdir/docs/schema/today.json"; do
    [ -s "$root$file" ] || missing="$missing$file
"
done
report 'everything is where it belongs' "$missing"
report 'nothing stands outside the prefix' "$(grep -v "^$(variable prefix)/" "$root.before")"
report 'no file names the root it was put into' "$(grep -rlF "$root" "$root")"
report 'what the manuals name is there' "$(
    for page in "$root$mandir"/man?/*; do
        sed -n "s|^\.Pa \($docdir[^ ]*\).*|\1|p; s|^\.Pa \($pkgdatadir[^ ]*\).*|\1|p" "$page"
    done | sort -u | while read -r path; do
        [ -e "$root$path" ] || echo "$path"
    done
)"
report 'it runs' "$(
    for program in tholed tholectl; do
        "$root$bindir/$program" --version >/dev/null 2>&1 || echo "$program --version fails"
    done
    "$root$bindir/tholectl" init --lat 53 --lon -2 --own sill --when 07:00-08:00 --batch '' \
        --config "$root.conf" 2>&1 >/dev/null
    rm -f "$root.conf"
)"
into_root uninstall
report 'its end leaves no file' "$(files)"
rm -f "$root.before"
