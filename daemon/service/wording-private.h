/* SPDX-License-Identifier: MIT */
/* The pieces that the sentences are put together from. Only for wording*.c. */
#pragma once

#include "service/wording-names.h"
#include "service/wording.h"

#include <stdbool.h>

/* NULL where the index is out of range. */
const Place *wording_place(const WordingContext *context, int place);
const Batch *wording_batch(const WordingContext *context, int batch);
const Crop *wording_crop(const WordingContext *context, const Batch *batch);

/* The site of a place, else of the batch's place; -1 unknown. */
int wording_site(const WordingContext *context, int place, int batch);

/* A name as the grower gave it, fit for one line. `size` is that of its array. */
char *wording_name(const char *name, size_t size);

/* "tomato" or "tomatoes", "kale plants", "French beans"; "plants" where unknown. */
char *wording_crop_words(const Crop *crop, bool plural);

/* "the 12 tomatoes (tomato-1)", for what is to be done. */
char *wording_batch_words(const WordingContext *context, int batch);

/* "the tomatoes", for what is said of them; with the name where another has the same crop. */
char *wording_plants_words(const WordingContext *context, int batch);

/* "in" the frame, "on" the sill, "under" the fleece. */
const char *wording_in(const Place *place);

/* Whether the words above are singular. */
bool wording_is_one(const WordingContext *context, int batch);

/* What a sheet is called: "the bed-fleece", "the fleece (sheet-2)"; short: "fleece". */
char *wording_sheet_words(const Place *place, bool short_form);

/* "early on Fri", "around noon on Fri": the part of the day; "then" for a missing time. */
char *wording_moment(const WordingContext *context, int site, int64_t utc);

/* "in the night to Fri". */
char *wording_night(const WordingContext *context, int site, int64_t utc);

/* "09:30"; "Thu 24 Apr". "" for a missing time. */
char *wording_clock(const WordingContext *context, int site, int64_t utc);
char *wording_date(const WordingContext *context, int site, int64_t utc);

/* The local day and minute of it; false for a missing time. */
bool wording_local(const WordingContext *context, int site, int64_t utc, int *ret_day,
                   int *ret_minute);

/* "−2" without its unit; a difference in the degrees shown, "2 °C". "" for NAN. */
char *wording_degrees(const Garden *garden, double c);
char *wording_difference(const Garden *garden, double k);

/* "12" of a number without sign, whole; "" for NAN. */
char *wording_whole(double value);

/* "odds of damage 5–10 %", "hardly any risk of damage"; "" for NAN. */
char *wording_odds_of(const char *what, double odds);

/* What a cover job comes to. */
typedef enum CoverAct {
    ACT_UNKNOWN,
    ACT_CLOSE,
    ACT_PROP,
    ACT_OPEN,
    ACT_OPEN_PART, /* doors or vents */
    ACT_SHEET_ON,
    ACT_SHEET_OFF,
} CoverAct;
CoverAct wording_cover_act(const Place *place, int position);

/* " by 19:30", with the day where it is not that of `from_utc`; "" without a deadline. */
char *wording_deadline(const WordingContext *context, int64_t from_utc, const Job *job);

/* Whether a cover is propped that was wider open before; and what it is: "light", "lid". */
bool wording_comes_down(const WordingContext *context, const Job *job);
const char *wording_pane(const Place *place);

/* Guards against birds, too; a move that only lays a fleece over a bed (`on`), or takes it off. */
bool wording_keeps_birds_off(const WordingContext *context, const Job *job);
bool wording_lays_sheet(const WordingContext *context, const Job *job, bool on);

/* Sentence without its deadline and full stop. */
char *wording_job_clause(const WordingContext *context, const Job *job);

/* For a summary: capitalised and verb first where `leads`, else short; names cut to `letters`. */
char *wording_job_brief(const WordingContext *context, const Job *job, bool leads, int letters);

/* How pressing a job is, greater is more. */
int wording_job_weight(const Job *job);

/* Lines of the description, each with its newline. The first: what to take, when to leave. */
void wording_add_luggage(const WordingContext *context, const Visit *visit, const Job *jobs,
                         int n_jobs, GString *text);
void wording_add_planting(const Job *jobs, int n_jobs, GString *text);
void wording_add_numbers(const WordingContext *context, const Job *jobs, int n_jobs, GString *text);
void wording_add_cautions(const WordingContext *context, const Job *jobs, int n, GString *text);
