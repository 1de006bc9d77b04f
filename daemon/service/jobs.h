/* SPDX-License-Identifier: MIT */
/*
 * What becomes of the jobs of visits. When a visit begins its jobs are taken as under way; the
 * grower reports them done or missed. Routine jobs that nobody reports are taken as done; those
 * that guard a batch are asked again, and then taken as not known, until they are reported after
 * all.
 */
#pragma once

#include "service/service.h"

/*
 * Moves visits along to now: begins those due, asks again, closes those whose time to report is
 * over. Sets *ret_replan where the plan must be made anew, *ret_events where the calendar must be.
 */
gboolean jobs_pass_time(Service *service, gboolean *ret_replan, gboolean *ret_events,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* When that is next to be looked at; 0 never. */
int64_t jobs_next_utc(const Service *service);

/* The jobs of a visit that are open (element-type Job), or those of them that were asked for again.
 * The caller owns it. */
GArray *jobs_open(const OpenVisit *visit, gboolean only_asked);

/* From home to a visit, one way: nothing for who lives there, or is helped. */
int64_t jobs_way_s(const Service *service, const Visit *visit);

/*
 * When a guarding job of the visit is asked about if it was not reported: half an hour after the
 * visit's start, or half an hour before it is too late to go once more, if that is sooner.
 */
int64_t jobs_ask_utc(const Service *service, const OpenVisit *visit);

/* When the time to report is over: what guards is planned as not known from then on. */
int64_t jobs_close_utc(const Service *service, const OpenVisit *visit);

/* An open job by what the grower calls it, or NULL. */
OpenJob *jobs_find(const Service *service, int handle, OpenVisit **ret_visit);

/*
 * The grower's report; `at_utc` 0: at the visit's time, or in the half-hour of now, where it has
 * not begun. Asks for a new plan.
 */
gboolean jobs_report(Service *service, OpenVisit *visit, OpenJob *job, gboolean done,
                     int64_t at_utc, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The visit is at another time; if it had begun, it has not, and what it took for granted is taken
 * back. None of its jobs may have been reported, nor its time to report be over. */
gboolean jobs_put_off(Service *service, OpenVisit *visit, int64_t start_utc,
                      GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The open job that asks for exactly what was done at `at_utc`: a cover in a position, a batch
 * carried to a place (MOVE, also to another site) or planted there. It is the last one begun for
 * that cover or batch, else the next to come within 12 hours; NULL where that asks for something
 * else.
 */
OpenJob *jobs_asking(const Service *service, const Job *what, int64_t at_utc,
                     OpenVisit **ret_visit);

/* Where a batch stood at `utc`, by the record: it may have been carried there on the same visit. */
int jobs_place_then(const GArray *placements /* StorePlacement */, const Batch *batch, int64_t utc);

/* The grower watered what stands in a place, or one batch of it (-1: all), outside of any job. */
gboolean jobs_water(Service *service, int place, int batch, int64_t at_utc,
                    GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The grower set a cover outside of any job: so it stands from `at_utc` on. What is under it is
 * known again, unless the record has a later position of that cover.
 */
gboolean jobs_cover_set(Service *service, int place, int position, int64_t at_utc,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * After the batches were read again: open jobs point to them by index, which may be another now.
 * `ids_before` (element-type utf8) has their ids by their former index. Jobs of a batch that has
 * ended are withdrawn.
 */
gboolean jobs_follow_batches(Service *service, const GPtrArray *ids_before,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The start of the earliest visit with a job still open; `now_utc` where there is none. */
int64_t jobs_settled_utc(const Service *service, int64_t now_utc);
