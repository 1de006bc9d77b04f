# SPDX-License-Identifier: MIT

daemon_libcore_a_SOURCES += \
	%D%/air.c \
	%D%/air.h \
	%D%/chain-build.c \
	%D%/chain-heaters.c \
	%D%/chain-heaters.h \
	%D%/chain-internal.h \
	%D%/chain-laws.h \
	%D%/chain-share.c \
	%D%/chain-stand.h \
	%D%/chain-system.c \
	%D%/chain.c \
	%D%/chain.h \
	%D%/leaf.c \
	%D%/night.c \
	%D%/night.h \
	%D%/leaf.h \
	%D%/water.c \
	%D%/water.h \
	%D%/sun.c \
	%D%/sun.h
