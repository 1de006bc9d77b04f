# SPDX-License-Identifier: MIT

# Programs and scripts speak TAP, so that a skipped test is seen as one.
TEST_EXTENSIONS = .sh
LOG_DRIVER = env AM_TAP_AWK='$(AWK)' $(SHELL) $(top_srcdir)/.build-aux/tap-driver.sh
LOG_COMPILER = $(SHELL) $(srcdir)/%D%/cmocka-tap.sh
SH_LOG_DRIVER = $(LOG_DRIVER)
SH_LOG_COMPILER = $(SHELL)
AM_TESTS_ENVIRONMENT = \
	THOLE_SOURCE_DIR='$(abs_top_srcdir)'; export THOLE_SOURCE_DIR; \
	THOLE_BUILD_DIR='$(abs_top_builddir)'; export THOLE_BUILD_DIR; \
	CC='$(CC)'; export CC; \
	. '$(abs_top_srcdir)/%D%/environment.sh';
EXTRA_DIST += %D%/environment.sh %D%/cmocka-tap.sh

TEST_CFLAGS = $(AM_CFLAGS) $(CMOCKA_CFLAGS)

# One closing line after all tests passed.
check-local: check-TESTS
	@$(SHELL) $(top_srcdir)/.build-aux/count-results.sh $(TEST_LOGS:.log=.trs)

clean-local:
	-rm -rf %D%/home

# The rules of the house.
TESTS += %D%/lint.sh %D%/core-purity.sh
EXTRA_DIST += %D%/lint.sh %D%/core-purity.sh

check_PROGRAMS += %D%/test-core-links
TESTS += %D%/test-core-links
%C%_test_core_links_SOURCES = %D%/test-core-links.c
%C%_test_core_links_CFLAGS = $(THOLE_CFLAGS)
%C%_test_core_links_LDFLAGS = $(AM_LDFLAGS) \
	-Wl,--whole-archive daemon/libcore.a -Wl,--no-whole-archive
%C%_test_core_links_LDADD = -lm
%C%_test_core_links_DEPENDENCIES = daemon/libcore.a

# One block per program, like this:
check_PROGRAMS += %D%/test-base
TESTS += %D%/test-base
%C%_test_base_SOURCES = %D%/test-base.c
%C%_test_base_CFLAGS = $(TEST_CFLAGS)
%C%_test_base_LDADD = daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS)

# Steps of the real time are played by wrapping the system calls.
check_PROGRAMS += %D%/test-clock
TESTS += %D%/test-clock
%C%_test_clock_SOURCES = %D%/test-clock.c
%C%_test_clock_CFLAGS = $(TEST_CFLAGS)
%C%_test_clock_LDFLAGS = $(AM_LDFLAGS) \
	-Wl,--wrap=clock_gettime -Wl,--wrap=timerfd_settime -Wl,--wrap=read
%C%_test_clock_LDADD = daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS)

# Its wait, its user and its group are played by wrapping the functions.
CONTROL_TEST_LIBS = daemon/control/libcontrol.a daemon/control/libwire.a \
	daemon/base/libbase.a $(SOUP_LIBS) $(JSON_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS)
check_PROGRAMS += %D%/test-control %D%/test-control-socket
TESTS += %D%/test-control %D%/test-control-socket
%C%_test_control_SOURCES = %D%/test-control.c %D%/control-client.c %D%/control-client.h
%C%_test_control_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_control_LDFLAGS = $(AM_LDFLAGS) -Wl,--wrap=g_socket_set_timeout
%C%_test_control_LDADD = $(CONTROL_TEST_LIBS)
%C%_test_control_socket_SOURCES = %D%/test-control-socket.c %D%/control-client.c %D%/control-client.h
%C%_test_control_socket_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_control_socket_LDFLAGS = $(AM_LDFLAGS) -Wl,--wrap=geteuid -Wl,--wrap=getgrnam
%C%_test_control_socket_LDADD = $(CONTROL_TEST_LIBS)

check_PROGRAMS += %D%/test-ctl
TESTS += %D%/test-ctl
%C%_test_ctl_SOURCES = %D%/test-ctl.c
%C%_test_ctl_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_test_ctl_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_ctl_LDADD = ctl/libctl.a $(CONTROL_TEST_LIBS)

# Each fixture of tholectl has the shape that docs/schema says.
TESTS += %D%/test-ctl-schema.sh
EXTRA_DIST += %D%/test-ctl-schema.sh $(wildcard $(srcdir)/%D%/ctl/*.json $(srcdir)/%D%/ctl/*.txt)
