# SPDX-License-Identifier: MIT

# bin_PROGRAMS += %D%/tholectl
# %C%_tholectl_SOURCES = %D%/main.c
# %C%_tholectl_CFLAGS = $(AM_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
# %C%_tholectl_LDADD = daemon/control/libwire.a $(SOUP_LIBS) $(JSON_LIBS) $(GLIB_LIBS)
