#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The feed as a grower has it: the real tholed through TLS, with a certificate made for the day, the
# address and its QR code as tholectl prints them, read by zbarimg, and curl in the phone's place.

set -u
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"
echo "1..20"
ctl() { "$tholectl" --socket "$work/socket" "$@" >"$work/out" 2>"$work/err"; }
wait_for() { # Up to 20 s, until the command succeeds.
    tries=0
    until "$@"; do
        tries=$((tries + 1))
        [ "$tries" -lt 200 ] || return 1
        sleep 0.1
    done
}
# What the address answers: status and headers in $work/head, the body in $work/body.
phone() {
    curl -s --max-time 20 --cacert "$work/cert.pem" -D "$work/head" -o "$work/body" "$@"
}
status() { grep -q "^HTTP/1.1 $1 " "$work/head"; }
header() { sed -n "s/^$1: \([^\r]*\)\r*$/\1/p" "$work/head"; }
address() { grep '/calendar/[0-9a-f]*\.ics$' "$work/out"; }
scanned() {
    /usr/bin/python3 "$THOLE_SOURCE_DIR/tests/qr-image.py" <"$work/out" >"$work/qr.pgm" &&
        zbarimg -q --raw "$work/qr.pgm" >"$work/scanned" && [ "$(cat "$work/scanned")" = "$1" ]
}
no_secret_logged() { ! grep -q -e "$(basename "$1" .ics)" "$work/log"; }

write_garden
openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 -subj /CN=127.0.0.1 \
    -addext subjectAltName=IP:127.0.0.1 -keyout "$work/key.pem" -out "$work/cert.pem" 2>/dev/null
cp "$work/thole.conf" "$work/plain.conf"
printf '\n[feed]\nlisten=127.0.0.1:0\ncertificate=cert.pem\nkey=key.pem\n' >>"$work/thole.conf"
cp "$work/thole.conf" "$work/feed.conf"

chmod 640 "$work/key.pem"
"$tholed" --config "$work/thole.conf" --crops "$THOLE_SOURCE_DIR/daemon/garden/crops.conf" \
    --state-dir "$work/state" --calendar "$work/state/thole.ics" --socket "$work/socket" 2>"$work/err"
check "a key that others can read is refused" grep -q "accepted is mode 0600" "$work/err"
chmod 600 "$work/key.pem"
"$tholed" --config "$work/thole.conf" --crops "$THOLE_SOURCE_DIR/daemon/garden/crops.conf" \
    --state-dir "$work/state" --calendar "$work/state/thole.ics" --socket "$work/socket" 2>"$work/log" &
daemon=$!
check "it answers" wait_for ctl today
ctl batch add cabbage 24 sill
check "tholectl prints the address" ctl calendar
url=$(address)
check "which is one of TLS" test "${url#https://127.0.0.1:}" != "$url"
check "and says which phones drop alarms" grep -q "Remove Alarms" "$work/out"
check "no QR code where there is no terminal" sh -c "! grep -q '▀' '$work/out'"
ctl calendar --qr
check "asked for, it is read as the address" scanned "$url"
ctl calendar --json
check "--json has the address too" grep -q "\"address\":\"$url\"" "$work/out"

phone "$url"
check "a phone is given the calendar" grep -q BEGIN:VCALENDAR "$work/body"
check "which is the file" cmp "$work/body" "$work/state/thole.ics"
tag=$(header ETag)
phone -H "If-None-Match: $tag" "$url"
check "but once" status 304
phone --compressed "$url"
check "packed, too" grep -q '^Content-Encoding: gzip' "$work/head"
check "and whole" grep -q END:VCALENDAR "$work/body"
phone "${url%/calendar/*}/"
check "a stranger is told nothing" status 404
check "not even a word" test ! -s "$work/body"

check "the address is renewed" ctl calendar renew
new=$(address)
phone "$url"
check "the old one is dead at once" status 404
phone "$new"
check "the new one serves" status 200
check "no address was logged" no_secret_logged "$url"

cp "$work/plain.conf" "$work/thole.conf"
kill -HUP "$daemon"
no_feed() { ! phone "$new"; }
check "without [feed] nothing listens" wait_for no_feed
