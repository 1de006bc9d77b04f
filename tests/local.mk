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

check_PROGRAMS += %D%/test-ramp %D%/test-ramp-spring
TESTS += %D%/test-ramp %D%/test-ramp-spring
%C%_test_ramp_SOURCES = %D%/test-ramp.c %D%/ramp-crops.h
%C%_test_ramp_CFLAGS = $(TEST_CFLAGS)
%C%_test_ramp_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm
%C%_test_ramp_spring_SOURCES = %D%/test-ramp-spring.c %D%/ramp-crops.h
%C%_test_ramp_spring_CFLAGS = $(TEST_CFLAGS)
%C%_test_ramp_spring_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

check_PROGRAMS += %D%/test-climate %D%/test-climate-chain %D%/test-climate-properties
TESTS += %D%/test-climate %D%/test-climate-chain %D%/test-climate-properties
%C%_test_climate_SOURCES = %D%/test-climate.c
%C%_test_climate_CFLAGS = $(TEST_CFLAGS)
%C%_test_climate_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm
%C%_test_climate_chain_SOURCES = %D%/test-climate-chain.c %D%/test-climate-covers.h
%C%_test_climate_chain_CFLAGS = $(TEST_CFLAGS)
%C%_test_climate_chain_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm
%C%_test_climate_properties_SOURCES = %D%/test-climate-properties.c %D%/test-climate-covers.h
%C%_test_climate_properties_CFLAGS = $(TEST_CFLAGS)
%C%_test_climate_properties_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# Calendar: what becomes of events, which visit continues which, and the file as others read it.
CALENDAR_TEST_LIBS = daemon/calendar/libcalendar.a daemon/base/libbase.a \
	$(JSON_LIBS) $(ICAL_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS)
EXTRA_DIST += %D%/calendar-reader.py
check_PROGRAMS += %D%/test-calendar %D%/test-calendar-file %D%/test-calendar-match
TESTS += %D%/test-calendar %D%/test-calendar-file %D%/test-calendar-match
%C%_test_calendar_SOURCES = %D%/test-calendar.c %D%/calendar-check.c %D%/calendar-check.h
%C%_test_calendar_CFLAGS = $(TEST_CFLAGS)
%C%_test_calendar_LDADD = $(CALENDAR_TEST_LIBS)
%C%_test_calendar_file_SOURCES = %D%/test-calendar-file.c %D%/calendar-check.c %D%/calendar-check.h
%C%_test_calendar_file_CFLAGS = $(TEST_CFLAGS) $(JSON_CFLAGS) $(ICAL_CFLAGS)
%C%_test_calendar_file_LDADD = $(CALENDAR_TEST_LIBS)
%C%_test_calendar_match_SOURCES = %D%/test-calendar-match.c %D%/calendar-check.c %D%/calendar-check.h
%C%_test_calendar_match_CFLAGS = $(TEST_CFLAGS)
%C%_test_calendar_match_LDADD = $(CALENDAR_TEST_LIBS)
