/* SPDX-License-Identifier: MIT */
/*
 * Every sentence that the grower reads about the plan, made from plain data. Nothing here asks for
 * the time or keeps anything; the same data give the same words. docs/wording.md says how the
 * sentences are built.
 *
 * Temperatures are shown in whole degrees and odds in bands only, so that a text changes when what
 * it means changes and not with every new forecast. Times are wall times of the site, 24 hours.
 *
 * All `char *` results are UTF-8, never NULL, and belong to the caller. Indices out of range and
 * missing numbers are left out of the sentence, never an error.
 */
#pragma once

#include "garden/types.h"
#include "plan/plan.h"

#include <glib.h>

#define WORDING_SUMMARY_MAX 45 /* characters: what a lock screen shows of a line */
#define WORDING_JOBS_MAX 5     /* jobs written out in a description */

typedef struct WordingContext {
    const Garden *garden;
    const Batch *batches;
    int n_batches;
    GTimeZone *const *zones; /* per site; (nullable) reads as UTC, so does a NULL entry */
    int64_t now_utc;
} WordingContext;

/* One job as one imperative sentence that is true whatever was before it: "Prop the frame 10 cm by
 * Thu 18:30." On its visit (nullable) the day is said only where it is another: "by 18:30". */
char *wording_job(const WordingContext *context, const Job *job);
char *wording_visit_job(const WordingContext *context, const Visit *visit, const Job *job);

/* Why, in one sentence. The plain one is not about a job: what is ahead, or holds a batch back. */
char *wording_reason(const WordingContext *context, const Job *job);
char *wording_reason_plain(const WordingContext *context, const Reason *reason, int site);

/*
 * A visit in at most WORDING_SUMMARY_MAX characters, verb first, the most important job first, the
 * deadline where there is one. `jobs` are the visit's own, `n_jobs` of them; first_job of the visit
 * is not used. `visit` is nullable here and below: a job that no visit can do. With no job at all
 * it says so.
 */
char *wording_summary(const WordingContext *context, const Visit *visit, const Job *jobs,
                      int n_jobs);

/*
 * The visit at length, one item a line and not wrapped (a phone does that): what to take along, at
 * most WORDING_JOBS_MAX jobs in walking order with a reason each, then numbers and cautions.
 * `weather_note` (nullable) is said among the numbers.
 */
char *wording_description(const WordingContext *context, const Visit *visit, const Job *jobs,
                          int n_jobs, const char *weather_note);

/* What to take along to a visit: "bed-fleece, a trowel and water"; "" for nothing. */
char *wording_take_along(const WordingContext *context, const Visit *visit, const Job *jobs,
                         int n_jobs);

/*
 * What the jobs come to, for comparing: changes exactly when what is to be done changes (kinds,
 * batches by id, places, positions, the deadline to the half hour). Not for reading.
 */
char *wording_substance(const WordingContext *context, const Visit *visit, const Job *jobs,
                        int n_jobs);

/* What a reminder says, in one line: the summary, and where and when to be there. */
char *wording_alarm(const WordingContext *context, const Visit *visit, const Job *jobs, int n_jobs);

/* A batch in one line: stage, what it bears, tonight, and when it may be ready. */
char *wording_outlook(const WordingContext *context, const Batch *batch,
                      const BatchOutlook *outlook);

/* What holds a batch back, one sentence with its numbers. */
char *wording_bound(const WordingContext *context, const Batch *batch, const BatchOutlook *outlook);

/* "Thu 18:30"; "Thu 24 Apr 18:30" when more than 6 days from now. "" for a missing time. */
char *wording_when(const WordingContext *context, int site, int64_t utc);

/* "−2 °C", or °F where the garden shows it; "" for NAN. `garden` NULL: °C. */
char *wording_temperature(const Garden *garden, double c);

/* Odds in bands: "practically none" (under 1 %), "1–5 %" … "over 75 %"; "" for NAN. The band that a
 * text was made with (-1: none) is kept until the odds are a tenth of the edge past its edge. Band
 * -1 for NAN. */
const char *wording_odds(double odds);
int wording_odds_band(double odds, int previous_band);
const char *wording_odds_words(int band);

/* What of the weather is an estimate, by its EST_ bits: "Not in the forecast, so estimated:
 * sunshine (from the cloud)."; NULL where the source told all. Normals and warnings are told
 * elsewhere. */
char *wording_estimates(uint32_t estimated);

/* The trade's word for each. */
const char *wording_stage(Stage stage);
const char *wording_limit(LimitKind limit);
const char *wording_place_kind(PlaceKind kind);
