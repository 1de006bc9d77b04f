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

check_PROGRAMS += %D%/test-wording
TESTS += %D%/test-wording
%C%_test_wording_SOURCES = %D%/test-wording.c
%C%_test_wording_CFLAGS = $(TEST_CFLAGS)
%C%_test_wording_LDADD = daemon/service/libservice.a daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm
