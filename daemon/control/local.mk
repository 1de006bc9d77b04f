# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libcontrol.a
%C%_libcontrol_a_SOURCES = \
	%D%/control.c %D%/control.h \
	%D%/control-held.c %D%/control-held.h \
	%D%/control-owed.c %D%/control-owed.h \
	%D%/control-reply.c %D%/control-reply.h \
	%D%/control-request.c %D%/control-request.h \
	%D%/control-socket.c %D%/control-socket.h
%C%_libcontrol_a_CFLAGS = $(AM_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)

# The wire format: all that tholectl shares with the daemon.
noinst_LIBRARIES += %D%/libwire.a
%C%_libwire_a_SOURCES = %D%/wire.c %D%/wire.h
%C%_libwire_a_CFLAGS = $(AM_CFLAGS)
