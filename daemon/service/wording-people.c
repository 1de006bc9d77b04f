/* SPDX-License-Identifier: MIT */
#include "service/wording-people.h"

#include <string.h>

#include "service/wording-private.h"

/* "home", "to the plot". */
static char *to_site(const WordingContext *context, int site)
{
    g_autofree char *where = wording_site_words(context, site);

    return g_str_equal(where, "home") ? g_strdup("home") : g_strdup_printf("to %s", where);
}

char *wording_helper_hours(const WordingContext *context, const char *helper, int site,
                           int from_min, int to_min)
{
    g_autofree char *name = wording_name(helper, strlen(helper) + 1);
    g_autofree char *where = to_site(context, site);

    return g_strdup_printf("; %s comes %s from %02d:%02d to %02d:%02d", name, where, from_min / 60,
                           from_min % 60, to_min / 60, to_min % 60);
}

/* Whether a job can be asked of somebody who only does as told. */
static bool is_for_helper(const Job *job)
{
    return job->kind != JOB_CHOOSE && (job->kind != JOB_RESCUE || job->urgent);
}

char *wording_helper(const WordingContext *context, const char *helper, const Visit *visit,
                     const Job *jobs, int n_jobs)
{
    g_autofree char *name = wording_name(helper, strlen(helper) + 1);
    g_autofree char *when = wording_when(context, visit->site, visit->start_utc);
    GString *text = g_string_new(NULL);
    int told = 0;

    g_string_append_printf(text, "For %s, %s: please ", name, when);
    for (int i = 0; i < n_jobs; i++) {
        if (!is_for_helper(&jobs[i]))
            continue;
        g_autofree char *clause = wording_job_clause(context, &jobs[i]);
        g_autofree char *deadline = jobs[i].kind == JOB_RESCUE
                                        ? g_strdup("")
                                        : wording_deadline(context, visit->start_utc, &jobs[i]);
        clause[0] = g_ascii_tolower(clause[0]);
        g_string_append_printf(text, "%s%s%s", told > 0 ? "; then " : "", clause, deadline);
        told++;
    }
    if (told == 0)
        g_string_append(text, "look at the plants, nothing is to be done");
    g_string_append_c(text, '.');
    return g_string_free(text, FALSE);
}

char *wording_last_visit(const WordingContext *context, int site, int64_t again_utc)
{
    g_autofree char *again = wording_when(context, site, again_utc);

    return *again != '\0'
               ? g_strdup_printf("After this visit nobody comes until %s: leave all as said.",
                                 again)
               : g_strdup("After this visit nobody comes in the days ahead: leave all as said.");
}

char *wording_last_before(const WordingContext *context, int site, int64_t visit_utc,
                          int64_t again_utc)
{
    g_autofree char *where = to_site(context, site);
    g_autofree char *when = wording_when(context, site, visit_utc);
    g_autofree char *again = wording_when(context, site, again_utc);

    return *again != '\0' ? g_strdup_printf("Last visit %s: %s; what it leaves stands until %s.",
                                            where, when, again)
                          : g_strdup_printf("Last visit %s: %s.", where, when);
}

/* " (early, leek-2)" of those that stand in a place; "" nobody. */
static char *who_is_there(const WordingContext *context, int place)
{
    GString *names = g_string_new(NULL);

    for (int i = 0; i < context->n_batches; i++) {
        const Batch *batch = &context->batches[i];
        g_autofree char *name = wording_name(batch->name, sizeof batch->name);
        if (batch->place == place && batch->stage < STAGE_PLANTED_OUT)
            g_string_append_printf(names, "%s%s", names->len > 0 ? ", " : " (", name);
    }
    if (names->len > 0)
        g_string_append_c(names, ')');
    return g_string_free(names, FALSE);
}

char *wording_waiting(const WordingContext *context, const Reason *reason, int64_t since_utc)
{
    const Batch *batch = wording_batch(context, reason->batch);
    const Place *place = wording_place(context, reason->place);
    if (batch == NULL || place == NULL)
        return g_strdup("");
    g_autofree char *name = wording_name(batch->name, sizeof batch->name);
    g_autofree char *where = wording_place_words(context, reason->place);
    g_autofree char *there = who_is_there(context, reason->place);
    g_autofree char *since = wording_date(context, place->site, since_utc);
    g_autofree char *out = wording_when(context, place->site, reason->at_utc);
    g_autofree char *needed = wording_whole(reason->limit_c);
    g_autofree char *free =
        reason->predicted_c > 0.0 ? wording_whole(reason->predicted_c) : g_strdup("none");

    return g_strdup_printf(
        "%s waits for room%s%s: it fills %s %s, and of %d in %s%s %s %s free. %s%s.", name,
        *since != '\0' ? " since " : "", since, needed, reason->limit_c == 1.0 ? "tray" : "trays",
        place->trays, where, there, free, reason->predicted_c > 1.0 ? "are" : "is",
        *out != '\0' ? "As planned it goes out on " : "No place is free for it in the days ahead",
        out);
}
