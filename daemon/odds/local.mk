# SPDX-License-Identifier: MIT

daemon_libcore_a_SOURCES += \
	%D%/cover-error.c \
	%D%/cover-error.h \
	%D%/cover-filter.c \
	%D%/cover-filter.h \
	%D%/forecast-error.c \
	%D%/forecast-error.h \
	%D%/odds.c \
	%D%/odds.h \
	%D%/tonight.c \
	%D%/tonight.h \
	%D%/verdict.c \
	%D%/verdict.h
