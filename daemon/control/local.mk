# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libcontrol.a
%C%_libcontrol_a_SOURCES =
%C%_libcontrol_a_CFLAGS = $(AM_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)

# The wire format: all that tholectl shares with the daemon.
noinst_LIBRARIES += %D%/libwire.a
%C%_libwire_a_SOURCES =
%C%_libwire_a_CFLAGS = $(AM_CFLAGS) $(JSON_CFLAGS)
