# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libweather.a
%C%_libweather_a_SOURCES =
%C%_libweather_a_CFLAGS = $(AM_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
