# SPDX-License-Identifier: MIT
# shellcheck shell=sh
#
# The surroundings of every test, sourced with THOLE_SOURCE_DIR and THOLE_BUILD_DIR set: nothing of
# the user's own files, language or time zone reaches a test.

HOME=$THOLE_BUILD_DIR/tests/home
XDG_CONFIG_HOME=$HOME/config
XDG_DATA_HOME=$HOME/data
XDG_STATE_HOME=$HOME/state
XDG_CACHE_HOME=$HOME/cache
XDG_RUNTIME_DIR=$HOME/run
export HOME XDG_CONFIG_HOME XDG_DATA_HOME XDG_STATE_HOME XDG_CACHE_HOME XDG_RUNTIME_DIR
mkdir -p "$XDG_CONFIG_HOME" "$XDG_DATA_HOME" "$XDG_STATE_HOME" "$XDG_CACHE_HOME" \
    "$XDG_RUNTIME_DIR"
chmod 700 "$XDG_RUNTIME_DIR"

CMOCKA_MESSAGE_OUTPUT=TAP
G_DEBUG=fatal-warnings
LC_ALL=C.UTF-8
TZ=UTC
# With threads that are just ending LeakSanitizer's own tracer crashes, unless the last is off.
ASAN_OPTIONS=detect_leaks=1:abort_on_error=0:intercept_tls_get_addr=0
UBSAN_OPTIONS=print_stacktrace=1
VALGRIND_OPTS=--suppressions=$THOLE_SOURCE_DIR/tests/valgrind.supp
LSAN_OPTIONS=suppressions=$THOLE_SOURCE_DIR/tests/leaks.supp:print_suppressions=0
export CMOCKA_MESSAGE_OUTPUT G_DEBUG LC_ALL TZ ASAN_OPTIONS UBSAN_OPTIONS VALGRIND_OPTS LSAN_OPTIONS
unset http_proxy https_proxy all_proxy HTTP_PROXY HTTPS_PROXY ALL_PROXY
unset NO_COLOR COLUMNS DBUS_SESSION_BUS_ADDRESS NOTIFY_SOCKET LISTEN_PID LISTEN_FDS LISTEN_FDNAMES \
    WATCHDOG_PID WATCHDOG_USEC
