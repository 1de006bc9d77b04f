# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libservice.a
%C%_libservice_a_CFLAGS = $(AM_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_libservice_a_SOURCES = \
	%D%/advice.c %D%/advice.h \
	%D%/planner.c %D%/planner.h %D%/service-private.h \
	%D%/site-weather.c \
	%D%/api.c %D%/api.h %D%/api-groups.h \
	%D%/api-batch-change.c %D%/api-batch-change.h \
	%D%/api-batch-new.c \
	%D%/api-batches.c \
	%D%/api-change.c %D%/api-change.h \
	%D%/api-channels.c %D%/api-channels.h \
	%D%/api-check.c \
	%D%/api-cover.c \
	%D%/api-course.c \
	%D%/api-day.c %D%/api-day.h \
	%D%/api-feed.c %D%/api-feed.h \
	%D%/api-garden.c \
	%D%/api-input.c %D%/api-input.h \
	%D%/api-jobs.c \
	%D%/api-json.c %D%/api-json.h \
	%D%/api-learned.c %D%/api-learned.h \
	%D%/api-nights.c \
	%D%/api-outlets.c %D%/api-outlets.h \
	%D%/api-nights.h \
	%D%/api-ramp.c %D%/api-ramp.h \
	%D%/api-records.c \
	%D%/api-report.c %D%/api-report.h \
	%D%/api-season.c \
	%D%/api-sow.c \
	%D%/absence.c %D%/absence.h \
	%D%/wording-advice.c %D%/wording-advice.h \
	%D%/edits.c %D%/edits.h \
	%D%/edit-told.c %D%/edit-told.h \
	%D%/edit-cost.c %D%/edit-cost.h \
	%D%/wishes.c %D%/wishes.h \
	%D%/wording-edits.c %D%/wording-edits.h \
	%D%/wording-people.c %D%/wording-people.h \
	%D%/waiting.c %D%/waiting.h \
	%D%/visit-minutes.c %D%/visit-minutes.h \
	%D%/api-test-alarm.c \
	%D%/api-today.c \
	%D%/api-sources.c %D%/api-sources.h \
	%D%/api-visits.c \
	%D%/api-water.c \
	%D%/api-what-if.c \
	%D%/api-why.c \
	%D%/ahead.c %D%/ahead.h \
	%D%/beside.c %D%/beside.h \
	%D%/making.c %D%/making.h \
	%D%/what-if.c %D%/what-if.h \
	%D%/wording-what-if.c %D%/wording-what-if.h \
	%D%/init-config.c %D%/init-config.h \
	%D%/desktop.c %D%/desktop.h \
	%D%/desktop-wanted.c %D%/desktop-wanted.h \
	%D%/established.c %D%/established.h \
	%D%/event-text.c %D%/event-text.h \
	%D%/done-link.c %D%/done-link.h \
	%D%/feed-outlet.c %D%/feed-outlet.h \
	%D%/foresee.c %D%/foresee.h \
	%D%/growing.c %D%/growing.h \
	%D%/holding.c %D%/holding.h \
	%D%/wording-growth.c %D%/wording-growth.h \
	%D%/forecasts.c %D%/forecasts.h \
	%D%/jobs.c %D%/jobs.h \
	%D%/outlets.c %D%/outlets.h %D%/outlet-private.h \
	%D%/outlet-edits.c %D%/outlet-files.c %D%/outlet-server.c \
	%D%/wording-outlet.c %D%/wording-outlet.h \
	%D%/learned.c %D%/learned.h \
	%D%/this-night.c %D%/this-night.h \
	%D%/open-visit.h %D%/site-weather.h \
	%D%/post.c %D%/post.h \
	%D%/post-wanted.c %D%/post-wanted.h \
	%D%/wording-news.c %D%/wording-news.h \
	%D%/predictions.c %D%/predictions.h \
	%D%/publish.c %D%/publish.h \
	%D%/ramp-days.c %D%/ramp-days.h \
	%D%/reading.c %D%/reading.h \
	%D%/rehearse.c %D%/rehearse.h \
	%D%/second-opinion.c %D%/second-opinion.h \
	%D%/service.c %D%/service.h %D%/service-options.h \
	%D%/situation.c %D%/situation.h \
	%D%/sources.c %D%/sources.h \
	%D%/state.c %D%/state.h \
	%D%/status.c %D%/status.h \
	%D%/wording.h %D%/wording-names.h \
	%D%/wording-private.h \
	%D%/wording-extras.c \
	%D%/wording-feed.c %D%/wording-feed.h \
	%D%/wording-job.c \
	%D%/wording-notice.c %D%/wording-notice.h \
	%D%/wording-names.c \
	%D%/wording-outlook.c \
	%D%/wording-reading.c %D%/wording-reading.h \
	%D%/wording-reason.c \
	%D%/wording-season.c %D%/wording-season.h \
	%D%/wording-sow.c %D%/wording-sow.h \
	%D%/wording-stays.c %D%/wording-stays.h \
	%D%/wording-status.c %D%/wording-status.h \
	%D%/wording-summary.c \
	%D%/wording-terms.c \
	%D%/wording-visit.c
