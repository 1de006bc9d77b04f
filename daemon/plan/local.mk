# SPDX-License-Identifier: MIT

daemon_libcore_a_SOURCES += \
	%D%/advance.c \
	%D%/arena.h \
	%D%/board.c \
	%D%/board.h \
	%D%/decide.c \
	%D%/evaluate.c \
	%D%/marks.c \
	%D%/marks.h \
	%D%/outlook.c \
	%D%/plan.c \
	%D%/plan.h \
	%D%/search.c \
	%D%/season.c \
	%D%/snapshot.h \
	%D%/tracks.c \
	%D%/transfer.c \
	%D%/walk.c
