# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libcalendar.a
%C%_libcalendar_a_SOURCES =
%C%_libcalendar_a_CFLAGS = $(AM_CFLAGS) $(ICAL_CFLAGS)
