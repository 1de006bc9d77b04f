/* SPDX-License-Identifier: MIT */
#include "service/wording-edits.h"

#include <math.h>

#include "service/wording-private.h"
#include "store/store-wishes.h"

static char *visit_words(const WordingContext *context, int site, int64_t utc)
{
    g_autofree char *where = wording_site_words(context, site);
    g_autofree char *when = wording_when(context, site, utc);

    return g_strdup_printf("%s, %s", where, when);
}

static const char *why_not(EditRefusal why)
{
    switch (why) {
    case EDIT_PAST:
        return "that is past";
    case EDIT_FAR:
        return "visits are planned seven days ahead; say it again when it is nearer";
    case EDIT_AWAY:
        return "you are away then; \"tholectl away end\" takes that back";
    case EDIT_BEGUN:
        return "the visit is reported, or over; say with done or missed what became of it";
    case EDIT_OVER:
        return "it had begun; say with done or missed what became of it";
    case EDIT_TOO_MANY:
        return "three visits of that day are set already, and more are not planned";
    case EDIT_ALL_DAY:
        return "a whole day does not say at what time; give it one";
    case EDIT_REPEATS:
        return "an event that repeats is not taken; make one for each visit";
    case EDIT_LONG:
        return "more than two days do not say when; give hours";
    case EDIT_EARLY:
        return "that day has not come; what was done early, say with tholectl done";
    case EDIT_NO_VISIT:
        return "this is a reminder, not a visit: its time says how long there is";
    }
    return "";
}

char *wording_edit_refused(const WordingContext *context, EditRefusal why, int site, int64_t utc)
{
    g_autofree char *visit = visit_words(context, site, utc);

    return g_strdup_printf("Not taken (%s): %s.", visit, why_not(why));
}

char *wording_edit_clash(const WordingContext *context, int site, int64_t utc, int other_site,
                         int64_t other_utc)
{
    g_autofree char *visit = visit_words(context, site, utc);
    g_autofree char *other = visit_words(context, other_site, other_utc);

    return site == other_site
               ? g_strdup_printf("Not taken (%s): another visit stands there (%s).", visit, other)
               : g_strdup_printf("Not taken (%s): another visit stands too near (%s), the way "
                                 "between them counted.",
                                 visit, other);
}

/* ---- what it costs ---- */

/* "the frame stays propped 10 cm", "lettuce-1 stays in the frame"; NULL nothing is known. */
static char *stays_words(const WordingContext *context, const EditCost *cost)
{
    const Place *place = wording_place(context, cost->place);
    const Batch *batch = wording_batch(context, cost->stays);

    if (place != NULL && batch != NULL) {
        g_autofree char *where = wording_where(context, cost->place);
        return g_strdup_printf("%s stays %s", batch->name, where);
    }
    if (place == NULL || cost->position < 0 || cost->position >= place->cover.n_positions)
        return NULL;
    g_autofree char *what = wording_place_words(context, cost->place);
    const char *position = place->cover.positions[cost->position].name;
    return g_strdup_printf("%s stays %s%s", what, g_ascii_isdigit(*position) ? "propped " : "",
                           position);
}

static void add_stays(const WordingContext *context, const EditCost *cost, const char *stays,
                      GString *text)
{
    if (cost->until_utc != 0) {
        g_autofree char *until =
            wording_when(context, wording_site(context, cost->place, -1), cost->until_utc);
        g_string_append_printf(text, "No visit before %s: %s. ", until, stays);
    } else {
        g_string_append_printf(text, "Without that visit %s. ", stays);
    }
}

char *wording_edit_cost(const WordingContext *context, const EditCost *cost)
{
    GString *text = g_string_new(NULL);
    const Batch *batch = wording_batch(context, cost->batch);
    g_autofree char *stays = stays_words(context, cost);
    const int more = cost->jobs_more;

    if (stays != NULL)
        add_stays(context, cost, stays, text);
    if (more > 0)
        g_string_append_printf(text, "%d %s%s would have been done then. ", more,
                               stays != NULL ? "other " : "", more == 1 ? "job" : "jobs");
    if (batch != NULL &&
        wording_odds_band(cost->odds, -1) != wording_odds_band(cost->odds_usual, -1)) {
        g_autofree char *night =
            wording_night(context, wording_site(context, -1, cost->batch), cost->night_utc);
        g_string_append_printf(text, "%s is %s for it: odds of damage %s %s, instead of %s.",
                               batch->name,
                               cost->odds > cost->odds_usual ? "at more risk" : "safer",
                               wording_odds(cost->odds), night, wording_odds(cost->odds_usual));
    } else {
        g_string_append(text, "No batch is at more risk for it.");
    }
    return g_string_free(text, FALSE);
}

char *wording_edit_fixed(const char *cost)
{
    return g_strdup_printf("You set this time. %s", cost);
}

char *wording_edit_dropped(const WordingContext *context, int site, int64_t start_utc,
                           const char *cost)
{
    g_autofree char *when = wording_when(context, site, start_utc);

    return g_strdup_printf("You left out the visit of %s. %s", when, cost);
}

char *wording_edit_list(const WordingContext *context, int kind, int site, int64_t start_utc,
                        int64_t end_utc)
{
    g_autofree char *visit = visit_words(context, site, start_utc);
    g_autofree char *until = wording_when(context, site, end_utc);

    switch ((StoreWishKind)kind) {
    case STORE_WISH_FIXED:
        return g_strdup_printf("set by you: %s", visit);
    case STORE_WISH_DROPPED:
        return g_strdup_printf("left out: %s", visit);
    case STORE_WISH_OFFERED:
        return g_strdup_printf("offered: %s to %s", visit, until);
    }
    return g_strdup("");
}

/* ---- answers ---- */

char *wording_edit_reading(const WordingContext *context, int site, const char *where,
                           const char *value, int64_t utc)
{
    g_autofree char *when = wording_when(context, site, utc);

    return g_strdup_printf("Taken: %s %s at %s.", where, value, when);
}

char *wording_edit_reported(int n_jobs, gboolean done)
{
    if (n_jobs == 0)
        return g_strdup(done ? "Taken: done; no job was open."
                             : "Taken: not done; no job was open.");
    return g_strdup_printf("Taken: %d %s %s.", n_jobs, n_jobs == 1 ? "job" : "jobs",
                           done ? "done" : "not done");
}

char *wording_edit_watered(const WordingContext *context, const int *places, int n)
{
    GString *text = g_string_new("Taken: watered");

    for (int i = 0; i < n; i++) {
        g_autofree char *where = wording_where(context, places[i]);
        g_string_append_printf(text, "%s %s", i == 0 ? "" : i + 1 < n ? "," : " and", where);
    }
    g_string_append_c(text, '.');
    if (n == 0)
        g_string_assign(text, "Taken: watered; no batch stands there.");
    return g_string_free(text, FALSE);
}

char *wording_edit_note(const char *text)
{
    return g_strdup_printf("Kept as a note: %s", text);
}

char *wording_edit_not_taken(const char *line, const char *why)
{
    return g_strdup_printf("Not taken (%s): %s.", line, why);
}

char *wording_edit_offered(const WordingContext *context, int site, int64_t from_utc,
                           int64_t to_utc)
{
    g_autofree char *visit = visit_words(context, site, from_utc);
    g_autofree char *until = wording_clock(context, site, to_utc);

    return g_strdup_printf("Taken: you can be there (%s to %s).", visit, until);
}

char *wording_edit_late(const WordingContext *context, int site, int64_t utc)
{
    g_autofree char *visit = visit_words(context, site, utc);

    return g_strdup_printf("Deleted after it began (%s): its jobs are still asked for.", visit);
}

char *wording_edit_lost(void)
{
    return g_strdup("All our events were gone from a calendar at once. That is taken as a loss, "
                    "not as your word: they are put again.");
}
