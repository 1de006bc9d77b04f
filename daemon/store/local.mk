# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libstore.a
%C%_libstore_a_SOURCES =
%C%_libstore_a_CFLAGS = $(AM_CFLAGS) $(SQLITE_CFLAGS)
