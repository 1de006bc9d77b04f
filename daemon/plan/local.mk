# SPDX-License-Identifier: MIT

daemon_libcore_a_SOURCES += \
	%D%/advance.c %D%/advance.h \
	%D%/alarm.c \
	%D%/arena.h \
	%D%/board.c \
	%D%/board.h \
	%D%/damp.c \
	%D%/daylight.c \
	%D%/decide.c \
	%D%/destinations.c \
	%D%/errors.c \
	%D%/errors.h \
	%D%/evaluate.c \
	%D%/evaluate.h \
	%D%/exact-table.c \
	%D%/exact-table.h \
	%D%/exact.c \
	%D%/exact.h \
	%D%/former.c \
	%D%/improve.c \
	%D%/integers.h \
	%D%/marks.c \
	%D%/marks.h \
	%D%/move-on.c \
	%D%/outlook.c \
	%D%/outlook.h \
	%D%/plan.c \
	%D%/plan.h \
	%D%/proof.h \
	%D%/prune.c \
	%D%/reason.c \
	%D%/schedule.c \
	%D%/schedule.h \
	%D%/search.c \
	%D%/search.h \
	%D%/season.c \
	%D%/season.h \
	%D%/snapshot.h \
	%D%/sowing.c \
	%D%/sowing.h \
	%D%/stops.c \
	%D%/stops.h \
	%D%/tracks.c \
	%D%/tracks.h \
	%D%/transfer.c \
	%D%/trips.c \
	%D%/trips.h \
	%D%/waiting.c \
	%D%/walk.c \
	%D%/walk.h \
	%D%/water.c \
	%D%/window.h \
	%D%/windows.c
