/* SPDX-License-Identifier: MIT */
/* What is answered to growers who change visits, in the calendar or by hand. See wording.h. */
#pragma once

#include "service/wording.h"

/* Stands before the answers in an event's text; what is below it is not of the plan. */
#define WORDING_YOU_SAID "You said:"

typedef enum EditRefusal {
    EDIT_PAST,
    EDIT_FAR,
    EDIT_AWAY,
    EDIT_BEGUN,    /* and some of it is reported, or it is over */
    EDIT_OVER,     /* a visit that is not to be made, but has begun */
    EDIT_TOO_MANY, /* fixed ones on that day */
    EDIT_ALL_DAY,
    EDIT_REPEATS,
    EDIT_LONG,
    EDIT_EARLY,    /* done, before its day has come */
    EDIT_NO_VISIT, /* a question or an alert */
} EditRefusal;

/* "Not at the plot Thu 18:30: that is past." */
char *wording_edit_refused(const WordingContext *context, EditRefusal why, int site, int64_t utc);

/* The same because of another visit, that is fixed or under way. */
char *wording_edit_clash(const WordingContext *context, int site, int64_t utc, int other_site,
                         int64_t other_utc);

/* What a wish costs, beside a plan without it; 0, -1 and NAN: nothing is known of it. */
typedef struct EditCost {
    int64_t n;               /* of the wish */
    int stays;               /* a batch that would be carried, and stays in `place`; else -1: */
    int place, position;     /* the cover of that, which would be set otherwise, stays so */
    int64_t until_utc;       /* it stays so; 0: and nobody comes to set it */
    int jobs_more;           /* other jobs that would have been done in those hours */
    int batch;               /* whose odds of damage change most */
    double odds, odds_usual; /* of it, and without the wish */
    int64_t night_utc;       /* when */
} EditCost;

/* "No visit before Thu 19:00: the frame stays propped 10 cm. …"; never empty. */
char *wording_edit_cost(const WordingContext *context, const EditCost *cost);

/* What is said in a visit's text: the time is the grower's; the visit before it was left out. */
char *wording_edit_fixed(const char *cost);
char *wording_edit_dropped(const WordingContext *context, int site, int64_t start_utc,
                           const char *cost);

/* A wish in a list: "visit to the plot set to Thu 19:00", "no visit to …", "… offered". */
char *wording_edit_list(const WordingContext *context, int kind, int site, int64_t start_utc,
                        int64_t end_utc);

/* Answers. `what`: a reading in words, places. */
char *wording_edit_reading(const WordingContext *context, int site, const char *where,
                           const char *value, int64_t utc);
char *wording_edit_reported(int n_jobs, gboolean done);
char *wording_edit_watered(const WordingContext *context, const int *places, int n);
char *wording_edit_note(const char *text);
char *wording_edit_not_taken(const char *line, const char *why);
char *wording_edit_offered(const WordingContext *context, int site, int64_t from_utc,
                           int64_t to_utc);
char *wording_edit_late(const WordingContext *context, int site, int64_t utc);
char *wording_edit_lost(void);
