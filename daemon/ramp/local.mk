# SPDX-License-Identifier: MIT

daemon_libcore_a_SOURCES += %D%/ramp.c %D%/ramp.h
