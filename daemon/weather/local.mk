# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libweather.a
%C%_libweather_a_SOURCES = \
	%D%/complete.c \
	%D%/coordinate.c %D%/coordinate.h \
	%D%/csv.c %D%/csv.h \
	%D%/csv-line.c %D%/csv-line.h \
	%D%/fields.c %D%/fields.h \
	%D%/forecast.c %D%/forecast.h \
	%D%/http.c %D%/http.h \
	%D%/memory.c %D%/memory.h \
	%D%/met-norway.c %D%/met-norway-hours.c \
	%D%/met-norway-parse.c %D%/met-norway-parse.h \
	%D%/normals.c %D%/normals.h \
	%D%/open-meteo.c %D%/open-meteo-parse.c %D%/open-meteo.h \
	%D%/reply.c %D%/reply.h \
	%D%/series.c %D%/series.h \
	%D%/source.c %D%/source.h %D%/source-backend.h \
	%D%/source-file.c \
	%D%/warning.c %D%/warning.h
%C%_libweather_a_CFLAGS = $(AM_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)

EXTRA_DIST += docs/weather.md
