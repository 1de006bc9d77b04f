# SPDX-License-Identifier: MIT

# The pure core: climate, odds, ramp, grow and plan together. C11 and libm, no GLib, no config.h; its
# folders append their sources.
noinst_LIBRARIES += daemon/libcore.a
daemon_libcore_a_SOURCES =
daemon_libcore_a_CPPFLAGS = -I$(top_srcdir)/daemon
daemon_libcore_a_CFLAGS = $(THOLE_CFLAGS) $(CORE_CFLAGS)

# All the parts of the daemon, in link order.
DAEMON_LIBS = \
	daemon/service/libservice.a \
	daemon/control/libcontrol.a \
	daemon/control/libwire.a \
	daemon/store/libstore.a \
	daemon/feed/libfeed.a \
	daemon/caldav/libcaldav.a \
	daemon/calendar/libcalendar.a \
	daemon/notify/libnotifier.a \
	daemon/weather/libweather.a \
	daemon/garden/libgarden.a \
	daemon/libcore.a \
	daemon/base/libbase.a \
	$(SOUP_LIBS) $(JSON_LIBS) $(SQLITE_LIBS) $(ICAL_LIBS) $(XML_LIBS) $(NOTIFY_LIBS) $(MAIL_LIBS) $(SYSTEMD_LIBS) \
	$(GLIB_LIBS) -lm

bin_PROGRAMS += daemon/tholed
daemon_tholed_SOURCES = daemon/main.c daemon/options.c daemon/options.h daemon/serve.c daemon/serve.h
daemon_tholed_CPPFLAGS = $(AM_CPPFLAGS) -DPKGDATADIR=\"$(pkgdatadir)\"
daemon_tholed_CFLAGS = $(AM_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
daemon_tholed_LDADD = $(DAEMON_LIBS)
