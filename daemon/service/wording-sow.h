/* SPDX-License-Identifier: MIT */
/* What is said of a sowing that is thought of. Every text is the caller's. */
#pragma once

#include "plan/sowing.h"
#include "service/wording.h"

typedef struct WordingSowing {
    const WordingContext *context;
    const Sowing *sowing;
    const SowingCourse *course;
    int64_t out_utc; /* the day of planting that was asked for; 0: a day of sowing was */
} WordingSowing;

/* "Mon 16 Mar", with its year where it is another than this. "" for a missing time. */
char *wording_sow_day(const WordingContext *context, int site, int64_t utc);

/* "12 to 20 °C", "20 °C". */
char *wording_sow_warmth(const WordingContext *context, double low_c, double high_c);

/* "Tomato: sow by Mon 30 Mar in the propagator, to plant in the bed on Fri 15 May." */
char *wording_sow_headline(const WordingSowing *w);

/* What is to be known besides; NULL where there is nothing to say. */
char *wording_sow_fit(const WordingSowing *w);                   /* too cold, too hot */
char *wording_sow_past(const WordingSowing *w, int64_t fit_utc); /* that day is past; 0 never */
char *wording_sow_season(const WordingSowing *w, int64_t latest_utc); /* nights are not mild yet */
char *wording_sow_frost(const WordingSowing *w);                      /* a late frost */
char *wording_sow_held(const WordingSowing *w); /* the container is outgrown */

/* A place is over full on a day, with it; `who` stands there then. */
char *wording_sow_room(const WordingSowing *w, int place, int64_t day_utc, int trays,
                       const char *who);
