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
EXTRA_DIST += %D%/environment.sh %D%/cmocka-tap.sh %D%/.clang-tidy

TEST_CFLAGS = $(AM_CFLAGS) $(CMOCKA_CFLAGS)

# One closing line. After a failed test check-local is not reached; then the recipe that sums up says it
# as its last word: the header is the one place where Automake lets us into that recipe.
COUNT_RESULTS = $(SHELL) $(top_srcdir)/.build-aux/count-results.sh $(TEST_LOGS:.log=.trs)
AM_TESTSUITE_SUMMARY_HEADER = ' for $(PACKAGE_STRING)'"$${std}"; \
	$$success || trap '$(COUNT_RESULTS)' EXIT; : 
check-local: check-TESTS
	@$(COUNT_RESULTS)

clean-local:
	-rm -rf %D%/home

# The rules of the house.
TESTS += %D%/lint.sh %D%/core-purity.sh
EXTRA_DIST += %D%/lint.sh %D%/core-purity.sh %D%/report.sh

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

check_PROGRAMS += %D%/test-json-text
TESTS += %D%/test-json-text
%C%_test_json_text_SOURCES = %D%/test-json-text.c
%C%_test_json_text_CFLAGS = $(TEST_CFLAGS) $(JSON_CFLAGS)
%C%_test_json_text_LDADD = daemon/base/libbase.a $(JSON_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS) -lm

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

check_PROGRAMS += %D%/test-emergence
TESTS += %D%/test-emergence
%C%_test_emergence_SOURCES = %D%/test-emergence.c
%C%_test_emergence_CFLAGS = $(TEST_CFLAGS)
%C%_test_emergence_LDADD = daemon/garden/libgarden.a daemon/libcore.a daemon/base/libbase.a \
	$(GLIB_LIBS) $(CMOCKA_LIBS) -lm

check_PROGRAMS += %D%/test-growth
TESTS += %D%/test-growth
%C%_test_growth_SOURCES = %D%/test-growth.c
%C%_test_growth_CFLAGS = $(TEST_CFLAGS)
%C%_test_growth_LDADD = daemon/garden/libgarden.a daemon/libcore.a daemon/base/libbase.a \
	$(GLIB_LIBS) $(CMOCKA_LIBS) -lm

check_PROGRAMS += %D%/test-sowing
TESTS += %D%/test-sowing
%C%_test_sowing_SOURCES = %D%/test-sowing.c
%C%_test_sowing_CFLAGS = $(TEST_CFLAGS)
%C%_test_sowing_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

check_PROGRAMS += %D%/test-odds %D%/test-odds-properties
TESTS += %D%/test-odds %D%/test-odds-properties
%C%_test_odds_SOURCES = %D%/test-odds.c %D%/odds-dense.h
%C%_test_odds_CFLAGS = $(TEST_CFLAGS)
%C%_test_odds_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm
%C%_test_odds_properties_SOURCES = %D%/test-odds-properties.c %D%/odds-dense.h
%C%_test_odds_properties_CFLAGS = $(TEST_CFLAGS)
%C%_test_odds_properties_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

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

# What a second solver (SUNDIALS) says to the same laws.
EXTRA_DIST += %D%/without-sundials.sh
if WITH_SUNDIALS
check_PROGRAMS += %D%/test-reference-properties
TESTS += %D%/test-reference-properties
REFERENCE_CHAIN = %D%/reference-chain.c %D%/reference-laws.c %D%/reference-chain.h
%C%_test_reference_properties_SOURCES = %D%/test-reference-properties.c %D%/reference-weather.h \
	$(REFERENCE_CHAIN)
%C%_test_reference_properties_CFLAGS = $(TEST_CFLAGS)
%C%_test_reference_properties_LDADD = daemon/garden/libgarden.a daemon/libcore.a daemon/base/libbase.a \
	$(GLIB_LIBS) $(CMOCKA_LIBS) $(SUNDIALS_LIBS) -lm
else
TESTS += %D%/without-sundials.sh
endif

check_PROGRAMS += %D%/test-night
TESTS += %D%/test-night
%C%_test_night_SOURCES = %D%/test-night.c
%C%_test_night_CFLAGS = $(TEST_CFLAGS)
%C%_test_night_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# The page of what was measured beside what the laws give: compared by the test, written by the target.
check_PROGRAMS += %D%/test-calibration
TESTS += %D%/test-calibration
%C%_test_calibration_SOURCES = %D%/test-calibration.c
%C%_test_calibration_CFLAGS = $(TEST_CFLAGS)
%C%_test_calibration_LDADD = daemon/garden/libgarden.a daemon/libcore.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm
.PHONY: calibration
calibration: %D%/test-calibration$(EXEEXT)
	THOLE_WRITE=1 THOLE_SOURCE_DIR='$(abs_top_srcdir)' ./%D%/test-calibration$(EXEEXT)

check_PROGRAMS += %D%/test-draw
TESTS += %D%/test-draw
%C%_test_draw_SOURCES = %D%/test-draw.c
%C%_test_draw_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_test_draw_CFLAGS = $(TEST_CFLAGS) $(JSON_CFLAGS) $(DRAW_CFLAGS)
%C%_test_draw_LDADD = ctl/libctl.a daemon/control/libwire.a daemon/base/libbase.a \
	$(DRAW_LIBS) $(QR_LIBS) $(SOUP_LIBS) $(JSON_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS) -lm

# The grower's file.
check_PROGRAMS += %D%/test-garden %D%/test-garden-errors %D%/test-init
TESTS += %D%/test-garden %D%/test-garden-errors %D%/test-init
%C%_test_garden_SOURCES = %D%/test-garden.c
%C%_test_garden_CFLAGS = $(TEST_CFLAGS)
%C%_test_garden_LDADD = daemon/garden/libgarden.a daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm
%C%_test_garden_errors_SOURCES = %D%/test-garden-errors.c
%C%_test_garden_errors_CFLAGS = $(TEST_CFLAGS)
%C%_test_garden_errors_LDADD = daemon/garden/libgarden.a daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm
%C%_test_init_SOURCES = %D%/test-init.c
%C%_test_init_CFLAGS = $(TEST_CFLAGS)
%C%_test_init_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
check_PROGRAMS += %D%/test-crops
TESTS += %D%/test-crops
%C%_test_crops_SOURCES = %D%/test-crops.c
%C%_test_crops_CFLAGS = $(TEST_CFLAGS)
%C%_test_crops_LDADD = daemon/garden/libgarden.a daemon/base/libbase.a $(GLIB_LIBS) \
	$(CMOCKA_LIBS) -lm

# The page of the crop data: compared by the test, written by the target.
check_PROGRAMS += %D%/test-crop-table
TESTS += %D%/test-crop-table
%C%_test_crop_table_SOURCES = %D%/test-crop-table.c
%C%_test_crop_table_CFLAGS = $(TEST_CFLAGS)
%C%_test_crop_table_LDADD = daemon/garden/libgarden.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm
.PHONY: crop-table
crop-table: %D%/test-crop-table$(EXEEXT)
	THOLE_WRITE=1 THOLE_SOURCE_DIR='$(abs_top_srcdir)' ./%D%/test-crop-table$(EXEEXT)

check_PROGRAMS += %D%/test-crop-data
TESTS += %D%/test-crop-data
%C%_test_crop_data_SOURCES = %D%/test-crop-data.c
%C%_test_crop_data_CFLAGS = $(TEST_CFLAGS)
%C%_test_crop_data_LDADD = daemon/garden/libgarden.a daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm

check_PROGRAMS += %D%/test-weather
TESTS += %D%/test-weather
%C%_test_weather_SOURCES = %D%/test-weather.c
%C%_test_weather_CFLAGS = $(TEST_CFLAGS)
%C%_test_weather_LDADD = daemon/weather/libweather.a daemon/libcore.a daemon/base/libbase.a \
	$(GLIB_LIBS) $(CMOCKA_LIBS) -lm

check_PROGRAMS += %D%/test-weather-source
TESTS += %D%/test-weather-source
%C%_test_weather_source_SOURCES = %D%/test-weather-source.c
%C%_test_weather_source_CFLAGS = $(TEST_CFLAGS)
%C%_test_weather_source_LDADD = daemon/weather/libweather.a daemon/libcore.a daemon/base/libbase.a \
	$(SOUP_LIBS) $(JSON_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS) -lm

check_PROGRAMS += %D%/test-met-norway %D%/test-met-norway-faults %D%/test-met-norway-http
TESTS += %D%/test-met-norway %D%/test-met-norway-faults %D%/test-met-norway-http
met_norway_fixture = %D%/met-norway-reply.c %D%/met-norway-reply.h
met_norway_libs = daemon/weather/libweather.a daemon/libcore.a daemon/base/libbase.a \
	$(SOUP_LIBS) $(JSON_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS) -lm
%C%_test_met_norway_SOURCES = %D%/test-met-norway.c $(met_norway_fixture)
%C%_test_met_norway_CFLAGS = $(TEST_CFLAGS) $(JSON_CFLAGS)
%C%_test_met_norway_LDADD = $(met_norway_libs)
%C%_test_met_norway_faults_SOURCES = %D%/test-met-norway-faults.c $(met_norway_fixture)
%C%_test_met_norway_faults_CFLAGS = $(TEST_CFLAGS) $(JSON_CFLAGS)
%C%_test_met_norway_faults_LDADD = $(met_norway_libs)
%C%_test_met_norway_http_SOURCES = %D%/test-met-norway-http.c $(met_norway_fixture)
%C%_test_met_norway_http_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_met_norway_http_LDADD = $(met_norway_libs)
# Services of forecasts, played by servers on loopback.
check_PROGRAMS += %D%/test-http
TESTS += %D%/test-http
%C%_test_http_SOURCES = %D%/test-http.c %D%/raw-server.c %D%/raw-server.h
%C%_test_http_CFLAGS = $(TEST_CFLAGS)
%C%_test_http_LDADD = daemon/weather/libweather.a daemon/libcore.a daemon/base/libbase.a \
	$(SOUP_LIBS) $(JSON_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS) -lm

check_PROGRAMS += %D%/test-open-meteo
TESTS += %D%/test-open-meteo
%C%_test_open_meteo_SOURCES = %D%/test-open-meteo.c %D%/open-meteo-reply.c \
	%D%/open-meteo-reply.h %D%/raw-server.c %D%/raw-server.h
%C%_test_open_meteo_CFLAGS = $(TEST_CFLAGS)
%C%_test_open_meteo_LDADD = $(%C%_test_http_LDADD)

TESTS += %D%/german.sh
EXTRA_DIST += %D%/german.sh

check_PROGRAMS += %D%/test-store %D%/test-store-plan %D%/test-store-faults
TESTS += %D%/test-store %D%/test-store-plan %D%/test-store-faults
store_fixture = %D%/store-fixture.c %D%/store-fixture.h
store_test_cflags = $(TEST_CFLAGS) $(SQLITE_CFLAGS) $(JSON_CFLAGS)
store_test_libs = daemon/store/libstore.a daemon/base/libbase.a $(JSON_LIBS) $(SQLITE_LIBS) \
	$(GLIB_LIBS) $(CMOCKA_LIBS) -lm
%C%_test_store_SOURCES = %D%/test-store.c $(store_fixture)
%C%_test_store_CFLAGS = $(store_test_cflags)
%C%_test_store_LDADD = $(store_test_libs)
%C%_test_store_plan_SOURCES = %D%/test-store-plan.c $(store_fixture)
%C%_test_store_plan_CFLAGS = $(store_test_cflags)
%C%_test_store_plan_LDADD = $(store_test_libs)
%C%_test_store_faults_SOURCES = %D%/test-store-faults.c $(store_fixture)
%C%_test_store_faults_CFLAGS = $(store_test_cflags)
%C%_test_store_faults_LDADD = $(store_test_libs)

# Calendars that a program writes are kept, where a folder is given, for calendar-readers.sh.
CALENDAR_KEEP = %D%/calendar-keep.c
CALENDAR_KEEP_LINK = $(AM_LDFLAGS) -Wl,--wrap=calendar_write -Wl,--wrap=calendar_write_every \
	-Wl,--wrap=calendar_object_write

# Calendar: what becomes of events, which visit continues which, and the file as others read it.
CALENDAR_TEST_LIBS = daemon/calendar/libcalendar.a daemon/base/libbase.a \
	$(JSON_LIBS) $(ICAL_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS)
EXTRA_DIST += %D%/calendar-reader.py
check_PROGRAMS += %D%/test-calendar %D%/test-calendar-file %D%/test-calendar-match
TESTS += %D%/test-calendar %D%/test-calendar-file %D%/test-calendar-match
%C%_test_calendar_SOURCES = %D%/test-calendar.c %D%/calendar-check.c %D%/calendar-check.h
%C%_test_calendar_CFLAGS = $(TEST_CFLAGS)
%C%_test_calendar_LDADD = $(CALENDAR_TEST_LIBS)
%C%_test_calendar_file_SOURCES = %D%/test-calendar-file.c %D%/calendar-check.c %D%/calendar-check.h \
	$(CALENDAR_KEEP)
%C%_test_calendar_file_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_calendar_file_CFLAGS = $(TEST_CFLAGS) $(JSON_CFLAGS) $(ICAL_CFLAGS)
%C%_test_calendar_file_LDADD = $(CALENDAR_TEST_LIBS)
%C%_test_calendar_match_SOURCES = %D%/test-calendar-match.c %D%/calendar-check.c %D%/calendar-check.h
%C%_test_calendar_match_CFLAGS = $(TEST_CFLAGS)
%C%_test_calendar_match_LDADD = $(CALENDAR_TEST_LIBS)
check_PROGRAMS += %D%/test-wording-crops
TESTS += %D%/test-wording-crops
%C%_test_wording_crops_SOURCES = %D%/test-wording-crops.c
%C%_test_wording_crops_CFLAGS = $(TEST_CFLAGS) $(JSON_CFLAGS)
%C%_test_wording_crops_LDADD = daemon/service/libservice.a daemon/garden/libgarden.a \
	daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm

check_PROGRAMS += %D%/test-wording
TESTS += %D%/test-wording
%C%_test_wording_SOURCES = %D%/test-wording.c %D%/wording-garden.c %D%/wording-garden.h
EXTRA_DIST += %D%/wording-rows.inc
%C%_test_wording_CFLAGS = $(TEST_CFLAGS)
%C%_test_wording_LDADD = daemon/service/libservice.a daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm

check_PROGRAMS += %D%/test-wording-stays
TESTS += %D%/test-wording-stays
%C%_test_wording_stays_SOURCES = %D%/test-wording-stays.c %D%/wording-garden.c %D%/wording-garden.h
%C%_test_wording_stays_CFLAGS = $(TEST_CFLAGS)
%C%_test_wording_stays_LDADD = daemon/service/libservice.a daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm

# Its wait, its user and its group are played by wrapping the functions.
CONTROL_TEST_LIBS = daemon/control/libcontrol.a daemon/control/libwire.a \
	daemon/base/libbase.a $(SOUP_LIBS) $(JSON_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS) -lm
check_PROGRAMS += %D%/test-control %D%/test-control-socket
TESTS += %D%/test-control %D%/test-control-socket
EXTRA_DIST += %D%/valgrind.supp %D%/leaks.supp
%C%_test_control_SOURCES = %D%/test-control.c %D%/control-client.c %D%/control-client.h
%C%_test_control_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_control_LDFLAGS = $(AM_LDFLAGS) -Wl,--wrap=g_socket_set_timeout
%C%_test_control_LDADD = $(CONTROL_TEST_LIBS)
%C%_test_control_socket_SOURCES = %D%/test-control-socket.c %D%/control-client.c %D%/control-client.h
%C%_test_control_socket_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_control_socket_LDFLAGS = $(AM_LDFLAGS) -Wl,--wrap=geteuid -Wl,--wrap=getgrnam
%C%_test_control_socket_LDADD = $(CONTROL_TEST_LIBS)

# Alarms on the desktop, decided without one.
check_PROGRAMS += %D%/test-notices
TESTS += %D%/test-notices
%C%_test_notices_SOURCES = %D%/test-notices.c
%C%_test_notices_CFLAGS = $(TEST_CFLAGS)
%C%_test_notices_LDADD = daemon/notify/libnotifier.a $(GLIB_LIBS) $(CMOCKA_LIBS)

check_PROGRAMS += %D%/test-garden-channels
TESTS += %D%/test-garden-channels
%C%_test_garden_channels_SOURCES = %D%/test-garden-channels.c
%C%_test_garden_channels_CFLAGS = $(TEST_CFLAGS)
%C%_test_garden_channels_LDADD = $(%C%_test_garden_errors_LDADD)

check_PROGRAMS += %D%/test-garden-outlets
TESTS += %D%/test-garden-outlets
%C%_test_garden_outlets_SOURCES = %D%/test-garden-outlets.c
%C%_test_garden_outlets_CFLAGS = $(TEST_CFLAGS)
%C%_test_garden_outlets_LDADD = $(%C%_test_garden_errors_LDADD)

check_PROGRAMS += %D%/test-store-outlets
TESTS += %D%/test-store-outlets
%C%_test_store_outlets_SOURCES = %D%/test-store-outlets.c $(store_fixture)
%C%_test_store_outlets_CFLAGS = $(store_test_cflags)
%C%_test_store_outlets_LDADD = $(store_test_libs)

check_PROGRAMS += %D%/test-wording-outlet
TESTS += %D%/test-wording-outlet
%C%_test_wording_outlet_SOURCES = %D%/test-wording-outlet.c %D%/wording-garden.c %D%/wording-garden.h
%C%_test_wording_outlet_CFLAGS = $(TEST_CFLAGS)
%C%_test_wording_outlet_LDADD = $(%C%_test_status_LDADD)

check_PROGRAMS += %D%/test-calendar-folder
TESTS += %D%/test-calendar-folder
%C%_test_calendar_folder_SOURCES = %D%/test-calendar-folder.c
%C%_test_calendar_folder_CFLAGS = $(TEST_CFLAGS)
%C%_test_calendar_folder_LDADD = $(%C%_test_calendar_object_LDADD)

check_PROGRAMS += %D%/test-store-told
TESTS += %D%/test-store-told
%C%_test_store_told_SOURCES = %D%/test-store-told.c $(store_fixture)
%C%_test_store_told_CFLAGS = $(store_test_cflags)
%C%_test_store_told_LDADD = daemon/notify/libnotifier.a daemon/base/libbase.a $(store_test_libs)

# Ways to reach a grower, against what is outside.
CHANNEL_SENT = %D%/channel-send.c %D%/channel-send.h
CHANNEL_LIBS = daemon/notify/libnotifier.a daemon/base/libbase.a $(MAIL_LIBS) $(SOUP_LIBS) $(JSON_LIBS) \
	$(GLIB_LIBS) $(CMOCKA_LIBS)
check_PROGRAMS += %D%/test-channels %D%/test-mail %D%/test-courier %D%/test-route \
	%D%/test-route-properties
TESTS += %D%/test-channels %D%/test-mail %D%/test-courier %D%/test-route %D%/test-route-properties
%C%_test_courier_SOURCES = %D%/test-courier.c
%C%_test_courier_CFLAGS = $(TEST_CFLAGS)
%C%_test_courier_LDADD = $(CHANNEL_LIBS)
%C%_test_route_SOURCES = %D%/test-route.c
%C%_test_route_CFLAGS = $(TEST_CFLAGS)
%C%_test_route_LDADD = daemon/notify/libnotifier.a daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS)
%C%_test_route_properties_SOURCES = %D%/test-route-properties.c
%C%_test_route_properties_CFLAGS = $(TEST_CFLAGS)
%C%_test_route_properties_LDADD = $(%C%_test_route_LDADD)
EXTRA_DIST += %D%/smtp-server.py %D%/webhook-check.py
%C%_test_channels_SOURCES = %D%/test-channels.c $(CHANNEL_SENT)
%C%_test_channels_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_channels_LDADD = $(CHANNEL_LIBS)
%C%_test_mail_SOURCES = %D%/test-mail.c %D%/raw-server.c %D%/raw-server.h $(CHANNEL_SENT)
%C%_test_mail_CFLAGS = $(TEST_CFLAGS) $(JSON_CFLAGS)
%C%_test_mail_LDADD = $(CHANNEL_LIBS)

check_PROGRAMS += %D%/test-ctl
TESTS += %D%/test-ctl
%C%_test_ctl_SOURCES = %D%/test-ctl.c
%C%_test_ctl_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_test_ctl_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_ctl_LDADD = ctl/libctl.a $(CONTROL_TEST_LIBS) $(DRAW_LIBS) $(QR_LIBS) -lm

# Each fixture of tholectl has the shape that docs/schema says.
TESTS += %D%/test-ctl-schema.sh
EXTRA_DIST += %D%/test-ctl-schema.sh $(wildcard $(srcdir)/%D%/ctl/*.json $(srcdir)/%D%/ctl/*.txt)

# The main job on open data, which .ci/setup fetches.
check_PROGRAMS += %D%/test-hindcast-seattle
TESTS += %D%/test-hindcast-seattle
%C%_test_hindcast_seattle_SOURCES = %D%/test-hindcast-seattle.c \
	%D%/test-hindcast-ground.c %D%/test-hindcast-ground.h \
	%D%/test-hindcast-world.c %D%/test-hindcast-world.h \
	%D%/test-hindcast-weather.c %D%/test-hindcast-weather.h
%C%_test_hindcast_seattle_CFLAGS = $(TEST_CFLAGS)
%C%_test_hindcast_seattle_LDADD = daemon/weather/libweather.a daemon/garden/libgarden.a \
	daemon/libcore.a daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm
if WITH_SUNDIALS
check_PROGRAMS += %D%/test-hindcast-odds
TESTS += %D%/test-hindcast-odds
HINDCAST_HIDDEN = %D%/test-hindcast-hidden.c %D%/test-hindcast-hidden.h \
	%D%/test-hindcast-weather.c %D%/test-hindcast-weather.h $(REFERENCE_CHAIN)
%C%_test_hindcast_odds_SOURCES = %D%/test-hindcast-odds.c \
	%D%/test-hindcast-season.c %D%/test-hindcast-season.h \
	%D%/test-hindcast-reliability.c %D%/test-hindcast-reliability.h $(HINDCAST_HIDDEN)
%C%_test_hindcast_odds_CFLAGS = $(TEST_CFLAGS)
%C%_test_hindcast_odds_LDADD = $(%C%_test_hindcast_seattle_LDADD) $(SUNDIALS_LIBS)
check_PROGRAMS += %D%/test-hindcast-frosts
TESTS += %D%/test-hindcast-frosts
%C%_test_hindcast_frosts_SOURCES = %D%/test-hindcast-frosts.c \
	%D%/test-hindcast-ground.c %D%/test-hindcast-ground.h \
	%D%/test-hindcast-world.c %D%/test-hindcast-world.h $(HINDCAST_HIDDEN)
%C%_test_hindcast_frosts_CFLAGS = $(TEST_CFLAGS)
%C%_test_hindcast_frosts_LDADD = $(%C%_test_hindcast_odds_LDADD)
check_PROGRAMS += %D%/test-hindcast-losses
TESTS += %D%/test-hindcast-losses
%C%_test_hindcast_losses_SOURCES = %D%/test-hindcast-losses.c \
	%D%/test-hindcast-ground.c %D%/test-hindcast-ground.h \
	%D%/test-hindcast-world.c %D%/test-hindcast-world.h $(HINDCAST_HIDDEN)
%C%_test_hindcast_losses_CFLAGS = $(TEST_CFLAGS)
%C%_test_hindcast_losses_LDADD = $(%C%_test_hindcast_odds_LDADD)
check_PROGRAMS += %D%/test-hindcast-steady
TESTS += %D%/test-hindcast-steady
%C%_test_hindcast_steady_SOURCES = %D%/test-hindcast-steady.c \
	%D%/test-hindcast-ground.c %D%/test-hindcast-ground.h \
	%D%/test-hindcast-world.c %D%/test-hindcast-world.h $(HINDCAST_HIDDEN)
%C%_test_hindcast_steady_CFLAGS = $(TEST_CFLAGS)
%C%_test_hindcast_steady_LDADD = $(%C%_test_hindcast_odds_LDADD)
check_PROGRAMS += %D%/test-hindcast-matrix
TESTS += %D%/test-hindcast-matrix
%C%_test_hindcast_matrix_SOURCES = %D%/test-hindcast-matrix.c \
	%D%/test-hindcast-ground.c %D%/test-hindcast-ground.h \
	%D%/test-hindcast-world.c %D%/test-hindcast-world.h $(HINDCAST_HIDDEN)
%C%_test_hindcast_matrix_CFLAGS = $(TEST_CFLAGS)
%C%_test_hindcast_matrix_LDADD = $(%C%_test_hindcast_odds_LDADD)
check_PROGRAMS += %D%/test-hindcast-ready
TESTS += %D%/test-hindcast-ready
%C%_test_hindcast_ready_SOURCES = %D%/test-hindcast-ready.c \
	%D%/test-hindcast-ground.c %D%/test-hindcast-ground.h \
	%D%/test-hindcast-world.c %D%/test-hindcast-world.h $(HINDCAST_HIDDEN)
%C%_test_hindcast_ready_CFLAGS = $(TEST_CFLAGS)
%C%_test_hindcast_ready_LDADD = $(%C%_test_hindcast_odds_LDADD)
endif

EXTRA_DIST += docs/hindcast.md docs/hindcast-reliability.svg
# The whole service, asked over its socket; every reply is held to its schema.
check_PROGRAMS += %D%/test-api
TESTS += %D%/test-api
%C%_test_api_SOURCES = %D%/test-api.c %D%/api-calendar.c %D%/api-calendar.h \
	%D%/api-garden.c %D%/api-garden.h \
	%D%/control-client.c %D%/control-client.h $(CALENDAR_KEEP)
%C%_test_api_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_api_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_api_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
EXTRA_DIST += %D%/check-replies.py

# What the grower tells without a number is the report of the job that asked for it.
check_PROGRAMS += %D%/test-api-told
TESTS += %D%/test-api-told
%C%_test_api_told_SOURCES = %D%/test-api-told.c %D%/api-garden.c %D%/api-garden.h \
	%D%/control-client.c %D%/control-client.h $(CALENDAR_KEEP)
%C%_test_api_told_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_api_told_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_api_told_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
check_PROGRAMS += %D%/test-planning
TESTS += %D%/test-planning
%C%_test_planning_SOURCES = %D%/test-planning.c %D%/api-garden.c %D%/api-garden.h \
	%D%/control-client.c %D%/control-client.h $(CALENDAR_KEEP)
%C%_test_planning_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_planning_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_planning_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)

# Those who work in a garden: minutes, absences and helpers, room.
check_PROGRAMS += %D%/test-people
TESTS += %D%/test-people
%C%_test_people_SOURCES = %D%/test-people.c %D%/api-garden.c %D%/api-garden.h \
	%D%/control-client.c %D%/control-client.h $(CALENDAR_KEEP)
%C%_test_people_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_people_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_people_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)

# What is told without being asked: waits, and what else there is.
check_PROGRAMS += %D%/test-advice
TESTS += %D%/test-advice
%C%_test_advice_SOURCES = %D%/test-advice.c %D%/api-garden.c %D%/api-garden.h \
	%D%/control-client.c %D%/control-client.h $(CALENDAR_KEEP)
%C%_test_advice_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_advice_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_advice_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)

# What would differ if something were otherwise; asking changes nothing.
check_PROGRAMS += %D%/test-what-if
TESTS += %D%/test-what-if
%C%_test_what_if_SOURCES = %D%/test-what-if.c %D%/api-garden.c %D%/api-garden.h \
	%D%/control-client.c %D%/control-client.h $(CALENDAR_KEEP)
%C%_test_what_if_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_what_if_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_what_if_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)

# A batch day by day, as it was and as it is planned.
check_PROGRAMS += %D%/test-days
TESTS += %D%/test-days
%C%_test_days_SOURCES = %D%/test-days.c %D%/api-garden.c %D%/api-garden.h \
	%D%/control-client.c %D%/control-client.h $(CALENDAR_KEEP)
%C%_test_days_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_days_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_days_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)

# The plan: rows of situations, properties over random gardens, and how long one takes.
plan_fixture = %D%/plan-garden.c %D%/plan-garden.h %D%/test-plan-walk.c %D%/test-plan-walk.h
check_PROGRAMS += %D%/test-plan %D%/test-plan-properties %D%/test-plan-search
TESTS += %D%/test-plan %D%/test-plan-properties %D%/test-plan-search
%C%_test_plan_search_SOURCES = %D%/test-plan-search.c %D%/plan-garden.c %D%/plan-garden.h
%C%_test_plan_search_CFLAGS = $(TEST_CFLAGS)
%C%_test_plan_search_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm
%C%_test_plan_SOURCES = %D%/test-plan.c $(plan_fixture)
%C%_test_plan_CFLAGS = $(TEST_CFLAGS)
%C%_test_plan_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm
%C%_test_plan_properties_SOURCES = %D%/test-plan-properties.c $(plan_fixture)
%C%_test_plan_properties_CFLAGS = $(TEST_CFLAGS)
%C%_test_plan_properties_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# Cold that spoils the harvest: counted, and kept from going on.
check_PROGRAMS += %D%/test-chill
TESTS += %D%/test-chill
%C%_test_chill_SOURCES = %D%/test-chill.c $(plan_fixture)
%C%_test_chill_CFLAGS = $(TEST_CFLAGS)
%C%_test_chill_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# The exact search of a window beside everything that could be done in it.
check_PROGRAMS += %D%/test-plan-exact
TESTS += %D%/test-plan-exact
%C%_test_plan_exact_SOURCES = %D%/test-plan-exact.c %D%/plan-garden.c %D%/plan-garden.h
%C%_test_plan_exact_CFLAGS = $(TEST_CFLAGS)
%C%_test_plan_exact_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# The exact search beside an integer programme (GLPK).
EXTRA_DIST += %D%/without-glpk.sh
if WITH_GLPK
check_PROGRAMS += %D%/test-plan-solver
TESTS += %D%/test-plan-solver
%C%_test_plan_solver_SOURCES = %D%/test-plan-solver.c %D%/plan-garden.c %D%/plan-garden.h
%C%_test_plan_solver_CFLAGS = $(TEST_CFLAGS)
%C%_test_plan_solver_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lglpk -lm
else
TESTS += %D%/without-glpk.sh
endif

# What readings have taught, in the plan.
check_PROGRAMS += %D%/test-plan-errors
TESTS += %D%/test-plan-errors
%C%_test_plan_errors_SOURCES = %D%/test-plan-errors.c %D%/plan-garden.c %D%/plan-garden.h %D%/odds-dense.h
%C%_test_plan_errors_CFLAGS = $(TEST_CFLAGS)
%C%_test_plan_errors_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# Covers shut too long over plants.
check_PROGRAMS += %D%/test-damp
TESTS += %D%/test-damp
%C%_test_damp_SOURCES = %D%/test-damp.c %D%/plan-garden.c %D%/plan-garden.h
%C%_test_damp_CFLAGS = $(TEST_CFLAGS)
%C%_test_damp_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# Seedlings that are up come out of the propagator.
check_PROGRAMS += %D%/test-daylight
TESTS += %D%/test-daylight
%C%_test_daylight_SOURCES = %D%/test-daylight.c %D%/plan-garden.c %D%/plan-garden.h
%C%_test_daylight_CFLAGS = $(TEST_CFLAGS)
%C%_test_daylight_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# Why a batch that is fit to go on stays.
check_PROGRAMS += %D%/test-plan-stays
TESTS += %D%/test-plan-stays
%C%_test_plan_stays_SOURCES = %D%/test-plan-stays.c %D%/plan-garden.c %D%/plan-garden.h
%C%_test_plan_stays_CFLAGS = $(TEST_CFLAGS)
%C%_test_plan_stays_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# Planting day.
check_PROGRAMS += %D%/test-planting
TESTS += %D%/test-planting
%C%_test_planting_SOURCES = %D%/test-planting.c %D%/plan-garden.c %D%/plan-garden.h
%C%_test_planting_CFLAGS = $(TEST_CFLAGS)
%C%_test_planting_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# What a plan does for several batches and those who carry them.
check_PROGRAMS += %D%/test-people-plan
TESTS += %D%/test-people-plan
%C%_test_people_plan_SOURCES = %D%/test-people-plan.c %D%/plan-garden.c %D%/plan-garden.h
%C%_test_people_plan_CFLAGS = $(TEST_CFLAGS)
%C%_test_people_plan_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# The order in which the jobs of a visit are walked.
check_PROGRAMS += %D%/test-stops
TESTS += %D%/test-stops
%C%_test_stops_SOURCES = %D%/test-stops.c
%C%_test_stops_CFLAGS = $(TEST_CFLAGS)
%C%_test_stops_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# What trays lose, and when to water.
check_PROGRAMS += %D%/test-water
TESTS += %D%/test-water
%C%_test_water_SOURCES = %D%/test-water.c %D%/plan-garden.c %D%/plan-garden.h
%C%_test_water_CFLAGS = $(TEST_CFLAGS)
%C%_test_water_LDADD = daemon/libcore.a $(CMOCKA_LIBS) -lm

# Every crop of the data through the ramp and the planner.
check_PROGRAMS += %D%/test-crop-properties
TESTS += %D%/test-crop-properties
%C%_test_crop_properties_SOURCES = %D%/test-crop-properties.c $(plan_fixture)
%C%_test_crop_properties_CFLAGS = $(TEST_CFLAGS)
%C%_test_crop_properties_LDADD = daemon/garden/libgarden.a daemon/libcore.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm

noinst_PROGRAMS += %D%/bench-plan
%C%_bench_plan_SOURCES = %D%/bench-plan.c %D%/plan-garden.c %D%/plan-garden.h
%C%_bench_plan_CFLAGS = $(TEST_CFLAGS)
%C%_bench_plan_LDADD = daemon/libcore.a -lm
BENCHES = %D%/bench-plan$(EXEEXT)

noinst_PROGRAMS += %D%/bench-nursery
%C%_bench_nursery_SOURCES = %D%/bench-nursery.c %D%/nursery.c %D%/nursery.h %D%/plan-garden.c \
	%D%/plan-garden.h
%C%_bench_nursery_CFLAGS = $(TEST_CFLAGS)
%C%_bench_nursery_LDADD = daemon/libcore.a -lm
BENCHES += %D%/bench-nursery$(EXEEXT)
noinst_PROGRAMS += %D%/bench-exact
%C%_bench_exact_SOURCES = %D%/bench-exact.c %D%/plan-garden.c %D%/plan-garden.h
%C%_bench_exact_CFLAGS = $(TEST_CFLAGS)
%C%_bench_exact_LDADD = daemon/libcore.a -lm
BENCHES += %D%/bench-exact$(EXEEXT)
if WITH_SUNDIALS
noinst_PROGRAMS += %D%/bench-chain
%C%_bench_chain_SOURCES = %D%/bench-chain.c %D%/reference-weather.h $(REFERENCE_CHAIN)
%C%_bench_chain_CFLAGS = $(TEST_CFLAGS)
%C%_bench_chain_LDADD = $(%C%_test_reference_properties_LDADD)
BENCHES += %D%/bench-chain$(EXEEXT)
endif
.PHONY: bench
bench: $(BENCHES)
	$(AM_V_at)for bench in $(BENCHES); do ./$$bench || exit 1; done

# The whole service on the virtual clock.
SERVICE_TEST_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS) $(SQLITE_CFLAGS)
SERVICE_WORLD = %D%/service-world.c %D%/service-world.h %D%/calendar-check.c %D%/calendar-check.h \
	$(CALENDAR_KEEP)
check_PROGRAMS += %D%/test-service %D%/test-service-input %D%/test-service-life \
	%D%/test-service-season
TESTS += %D%/test-service %D%/test-service-input %D%/test-service-life \
	%D%/test-service-season
%C%_test_service_SOURCES = %D%/test-service.c $(SERVICE_WORLD)
%C%_test_service_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_service_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_service_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
%C%_test_service_input_SOURCES = %D%/test-service-input.c $(SERVICE_WORLD)
%C%_test_service_input_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_service_input_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_service_input_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
%C%_test_service_season_SOURCES = %D%/test-service-season.c $(SERVICE_WORLD)
%C%_test_service_season_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_service_season_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_service_season_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
%C%_test_service_life_SOURCES = %D%/test-service-life.c $(SERVICE_WORLD)
%C%_test_service_life_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_service_life_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_service_life_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
check_PROGRAMS += %D%/test-second-opinion
TESTS += %D%/test-second-opinion
%C%_test_second_opinion_SOURCES = %D%/test-second-opinion.c $(SERVICE_WORLD)
%C%_test_second_opinion_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_second_opinion_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_second_opinion_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
check_PROGRAMS += %D%/test-service-water
TESTS += %D%/test-service-water
%C%_test_service_water_SOURCES = %D%/test-service-water.c $(SERVICE_WORLD)
%C%_test_service_water_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_service_water_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_service_water_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
check_PROGRAMS += %D%/test-service-planting
TESTS += %D%/test-service-planting
%C%_test_service_planting_SOURCES = %D%/test-service-planting.c $(SERVICE_WORLD)
%C%_test_service_planting_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_service_planting_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_service_planting_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
check_PROGRAMS += %D%/test-service-learning
TESTS += %D%/test-service-learning
%C%_test_service_learning_SOURCES = %D%/test-service-learning.c $(SERVICE_WORLD)
%C%_test_service_learning_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_service_learning_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_service_learning_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
check_PROGRAMS += %D%/test-outlets
TESTS += %D%/test-outlets
%C%_test_outlets_SOURCES = %D%/test-outlets.c %D%/outlets-garden.c %D%/outlets-garden.h $(SERVICE_WORLD)
%C%_test_outlets_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_outlets_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_outlets_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)

check_PROGRAMS += %D%/test-outlets-server
TESTS += %D%/test-outlets-server
%C%_test_outlets_server_SOURCES = %D%/test-outlets-server.c %D%/outlets-garden.c %D%/outlets-garden.h \
	%D%/calendar-server.c %D%/calendar-server.h $(SERVICE_WORLD)
%C%_test_outlets_server_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_outlets_server_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_outlets_server_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)

check_PROGRAMS += %D%/test-service-met-norway
TESTS += %D%/test-service-met-norway
%C%_test_service_met_norway_SOURCES = %D%/test-service-met-norway.c $(SERVICE_WORLD) \
	$(met_norway_fixture)
%C%_test_service_met_norway_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_service_met_norway_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_service_met_norway_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
check_PROGRAMS += %D%/test-sources
TESTS += %D%/test-sources
%C%_test_sources_SOURCES = %D%/test-sources.c %D%/open-meteo-reply.c %D%/open-meteo-reply.h \
	%D%/raw-server.c %D%/raw-server.h $(SERVICE_WORLD)
%C%_test_sources_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_sources_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_sources_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
# Alarms on a desktop: a session bus of the test's own, and a server that is a mock.
DESKTOP_WORLD = $(SERVICE_WORLD) %D%/desktop-bus.c %D%/desktop-bus.h
check_PROGRAMS += %D%/test-desktop %D%/test-desktop-faults
TESTS += %D%/test-desktop %D%/test-desktop-faults
%C%_test_desktop_SOURCES = %D%/test-desktop.c $(DESKTOP_WORLD)
%C%_test_desktop_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_desktop_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_desktop_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
%C%_test_desktop_faults_SOURCES = %D%/test-desktop-faults.c $(DESKTOP_WORLD)
%C%_test_desktop_faults_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_desktop_faults_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_desktop_faults_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)

# News that goes out by channels, to real receivers.
POST_WORLD = %D%/post-box.c %D%/post-box.h %D%/control-client.c %D%/control-client.h \
	$(SERVICE_WORLD)
check_PROGRAMS += %D%/test-post %D%/test-post-ways
TESTS += %D%/test-post %D%/test-post-ways
%C%_test_post_ways_SOURCES = %D%/test-post-ways.c $(POST_WORLD) %D%/desktop-bus.c %D%/desktop-bus.h
%C%_test_post_ways_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_post_ways_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_post_ways_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
%C%_test_post_SOURCES = %D%/test-post.c $(POST_WORLD) %D%/feed-client.c %D%/feed-client.h
%C%_test_post_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_post_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_post_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)

# The same with a real server, on a display of its own.
check_PROGRAMS += %D%/test-desktop-dunst
TESTS += %D%/test-desktop-dunst
%C%_test_desktop_dunst_SOURCES = %D%/test-desktop-dunst.c $(DESKTOP_WORLD)
%C%_test_desktop_dunst_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_desktop_dunst_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_desktop_dunst_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)

TESTS += %D%/desktop.sh
EXTRA_DIST += %D%/desktop.sh

TESTS += %D%/season.sh
EXTRA_DIST += %D%/season.sh

TESTS += %D%/rehearsal.sh %D%/kill.sh %D%/serve.sh %D%/readings.sh %D%/demo.sh
EXTRA_DIST += %D%/rehearsal.sh %D%/kill.sh %D%/serve.sh %D%/readings.sh %D%/demo.sh %D%/rehearsal-garden.sh

# A new grower at a terminal.
TESTS += %D%/init-dialogue.sh
EXTRA_DIST += %D%/init-dialogue.sh %D%/init-dialogue.py
# The rules of the standards, that each is found broken, and kept by what is merged.
check_PROGRAMS += %D%/calendar-merge
%C%_calendar_merge_SOURCES = %D%/calendar-merge.c
%C%_calendar_merge_CFLAGS = $(AM_CFLAGS) $(ICAL_CFLAGS)
%C%_calendar_merge_LDADD = daemon/calendar/libcalendar.a daemon/base/libbase.a $(ICAL_LIBS) $(GLIB_LIBS)
TESTS += %D%/calendar-rfc.sh
EXTRA_DIST += %D%/calendar-rfc.sh %D%/calendar-rfc.py %D%/calendar-rfc-samples.py

# What was published, read by five libraries. tholed-kept is tholed, but it keeps its calendars.
check_PROGRAMS += %D%/tholed-kept %D%/calendar-libical
TESTS += %D%/calendar-readers.sh
EXTRA_DIST += %D%/calendar-readers.sh %D%/calendar-compare.py %D%/calendar-vobject.py \
	%D%/calendar-reader.js
%C%_tholed_kept_SOURCES = $(daemon_tholed_SOURCES) $(CALENDAR_KEEP)
%C%_tholed_kept_CPPFLAGS = $(daemon_tholed_CPPFLAGS)
%C%_tholed_kept_CFLAGS = $(daemon_tholed_CFLAGS)
%C%_tholed_kept_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_tholed_kept_LDADD = $(DAEMON_LIBS)
%C%_calendar_libical_SOURCES = %D%/calendar-libical.c
%C%_calendar_libical_CFLAGS = $(AM_CFLAGS) $(JSON_CFLAGS) $(ICAL_CFLAGS)
%C%_calendar_libical_LDADD = $(JSON_LIBS) $(ICAL_LIBS) $(GLIB_LIBS)

# make bench: what it costs. Nothing of it is a test.
EXTRA_PROGRAMS += %D%/bench-replan
EXTRA_DIST += %D%/bench-service.sh
%C%_bench_replan_SOURCES = %D%/bench-replan.c $(SERVICE_WORLD)
%C%_bench_replan_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_bench_replan_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_bench_replan_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
EXTRA_PROGRAMS += %D%/bench-control
%C%_bench_control_SOURCES = %D%/bench-control.c $(SERVICE_WORLD)
%C%_bench_control_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_bench_control_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_bench_control_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
bench: bench-service
bench-service: daemon/tholed ctl/tholectl %D%/bench-replan %D%/bench-control
	@$(AM_TESTS_ENVIRONMENT) $(SHELL) $(srcdir)/%D%/bench-service.sh
EXTRA_PROGRAMS += %D%/bench-calendar
EXTRA_DIST += %D%/bench-calendar.sh %D%/bench-calendar.py %D%/bench-calendar.js
%C%_bench_calendar_SOURCES = %D%/bench-calendar.c
%C%_bench_calendar_CFLAGS = $(AM_CFLAGS) $(JSON_CFLAGS) $(ICAL_CFLAGS)
%C%_bench_calendar_LDADD = daemon/calendar/libcalendar.a daemon/base/libbase.a \
	$(JSON_LIBS) $(ICAL_LIBS) $(GLIB_LIBS)
bench: bench-calendar
bench-calendar: %D%/bench-calendar$(EXEEXT)
	@$(AM_TESTS_ENVIRONMENT) $(SHELL) $(srcdir)/%D%/bench-calendar.sh
.PHONY: bench bench-service bench-calendar

check_PROGRAMS += %D%/test-status
TESTS += %D%/test-status
%C%_test_status_SOURCES = %D%/test-status.c %D%/wording-garden.c %D%/wording-garden.h
%C%_test_status_CFLAGS = $(TEST_CFLAGS)
%C%_test_status_LDADD = daemon/service/libservice.a daemon/base/libbase.a $(GLIB_LIBS) $(CMOCKA_LIBS) -lm

# Supervision, and the units: what systemd would hear and give.
if WITH_SYSTEMD
check_PROGRAMS += %D%/test-supervisor
TESTS += %D%/test-supervisor %D%/supervised.sh %D%/units.sh \
	%D%/sandbox.sh
endif
%C%_test_supervisor_SOURCES = %D%/test-supervisor.c
%C%_test_supervisor_CFLAGS = $(TEST_CFLAGS)
%C%_test_supervisor_LDADD = daemon/base/libbase.a $(SYSTEMD_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS)
EXTRA_DIST += %D%/supervised.sh %D%/supervised.py %D%/units.sh \
	%D%/sandbox.sh %D%/sandbox.py
# The manuals and completions beside the programs; an installation, and its end.
TESTS += %D%/test-manuals.sh %D%/test-completion.sh %D%/test-install.sh
EXTRA_DIST += %D%/test-manuals.sh %D%/test-completion.sh %D%/test-install.sh

# The calendar server.
check_PROGRAMS += %D%/test-caldav-properties
TESTS += %D%/test-caldav-properties
%C%_test_caldav_properties_SOURCES = %D%/test-caldav-properties.c
%C%_test_caldav_properties_CFLAGS = $(TEST_CFLAGS)
%C%_test_caldav_properties_LDADD = daemon/caldav/libcaldav.a daemon/calendar/libcalendar.a \
	daemon/base/libbase.a $(ICAL_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS)

check_PROGRAMS += %D%/caldav-drive
%C%_caldav_drive_SOURCES = %D%/caldav-drive.c
%C%_caldav_drive_CFLAGS = $(TEST_CFLAGS)
%C%_caldav_drive_LDADD = daemon/caldav/libcaldav.a daemon/calendar/libcalendar.a \
	daemon/base/libbase.a $(SOUP_LIBS) $(XML_LIBS) $(ICAL_LIBS) $(GLIB_LIBS)
TESTS += %D%/caldav-servers.sh
TESTS += %D%/caldav-season.sh
EXTRA_DIST += %D%/caldav-servers.sh %D%/caldav-servers.py %D%/caldav-season.sh %D%/caldav-season.py

check_PROGRAMS += %D%/test-caldav
TESTS += %D%/test-caldav
%C%_test_caldav_SOURCES = %D%/test-caldav.c %D%/bad-server.c %D%/bad-server.h
%C%_test_caldav_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS)
%C%_test_caldav_LDADD = daemon/caldav/libcaldav.a daemon/calendar/libcalendar.a \
	daemon/base/libbase.a $(SOUP_LIBS) $(XML_LIBS) $(ICAL_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS)

check_PROGRAMS += %D%/test-calendar-object
TESTS += %D%/test-calendar-object
%C%_test_calendar_object_SOURCES = %D%/test-calendar-object.c $(CALENDAR_KEEP)
%C%_test_calendar_object_CFLAGS = $(TEST_CFLAGS) $(JSON_CFLAGS)
%C%_test_calendar_object_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_calendar_object_LDADD = $(CALENDAR_TEST_LIBS)

# The feed: a client over loopback. The time of a connection is played by wrapping the function.
FEED_CLIENT = %D%/feed-client.c %D%/feed-client.h %D%/control-client.c %D%/control-client.h
FEED_TEST_LIBS = daemon/feed/libfeed.a daemon/garden/libgarden.a daemon/libcore.a \
	daemon/base/libbase.a $(SOUP_LIBS) $(JSON_LIBS) $(GLIB_LIBS) $(CMOCKA_LIBS) -lm
check_PROGRAMS += %D%/test-feed %D%/test-feed-tls
TESTS += %D%/test-feed %D%/test-feed-tls
%C%_test_feed_SOURCES = %D%/test-feed.c $(FEED_CLIENT)
%C%_test_feed_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_feed_LDFLAGS = $(AM_LDFLAGS) -Wl,--wrap=g_socket_set_timeout
%C%_test_feed_LDADD = $(FEED_TEST_LIBS)
%C%_test_feed_tls_SOURCES = %D%/test-feed-tls.c $(FEED_CLIENT)
%C%_test_feed_tls_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_feed_tls_LDFLAGS = $(AM_LDFLAGS) -Wl,--wrap=g_socket_set_timeout
%C%_test_feed_tls_LDADD = $(FEED_TEST_LIBS)
check_PROGRAMS += %D%/test-service-feed
TESTS += %D%/test-service-feed
%C%_test_service_feed_SOURCES = %D%/test-service-feed.c $(SERVICE_WORLD) $(FEED_CLIENT)
%C%_test_service_feed_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_service_feed_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_service_feed_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)
TESTS += %D%/feed.sh
EXTRA_DIST += %D%/feed.sh %D%/qr-image.py
check_PROGRAMS += %D%/test-garden-feed
TESTS += %D%/test-garden-feed
%C%_test_garden_feed_SOURCES = %D%/test-garden-feed.c $(FEED_CLIENT)
%C%_test_garden_feed_CFLAGS = $(TEST_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_test_garden_feed_LDADD = $(FEED_TEST_LIBS)
check_PROGRAMS += %D%/test-edits
TESTS += %D%/test-edits
%C%_test_edits_SOURCES = %D%/test-edits.c $(SERVICE_WORLD)
%C%_test_edits_CFLAGS = $(SERVICE_TEST_CFLAGS)
%C%_test_edits_LDFLAGS = $(CALENDAR_KEEP_LINK)
%C%_test_edits_LDADD = $(DAEMON_LIBS) $(CMOCKA_LIBS)

check_PROGRAMS += %D%/test-wording-edits
TESTS += %D%/test-wording-edits
%C%_test_wording_edits_SOURCES = %D%/test-wording-edits.c %D%/wording-garden.c %D%/wording-garden.h
%C%_test_wording_edits_CFLAGS = $(TEST_CFLAGS)
%C%_test_wording_edits_LDADD = $(%C%_test_status_LDADD)
