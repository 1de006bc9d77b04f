# SPDX-License-Identifier: MIT

daemon_libcore_a_SOURCES += %D%/emergence.c %D%/emergence.h %D%/growth.c %D%/growth.h
