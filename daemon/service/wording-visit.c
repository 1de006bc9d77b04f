/* SPDX-License-Identifier: MIT */
/* A visit at length: the jobs, each with its reason, between what to take along and the numbers and
 * cautions. */
#include "service/wording-notice.h"
#include "service/wording-private.h"

#include <string.h>

#define DEADLINE_GRAIN_S                                                                           \
    1800 /* the planning grid: finer than that a deadline does not move a job */

/* Marks the most pressing jobs that are written out. The result is the caller's. */
static bool *choose_jobs(const Job *jobs, int n_jobs)
{
    bool *shown = g_new0(bool, MAX(n_jobs, 1));

    for (int round = 0; round < MIN(n_jobs, WORDING_JOBS_MAX); round++) {
        int best = -1;
        for (int i = 0; i < n_jobs; i++) {
            if (!shown[i] &&
                (best < 0 || wording_job_weight(&jobs[i]) > wording_job_weight(&jobs[best])))
                best = i;
        }
        shown[best] = true;
    }
    return shown;
}

static void add_jobs(const WordingContext *context, const Visit *visit, const Job *jobs, int n_jobs,
                     GString *text)
{
    g_autofree bool *shown = choose_jobs(jobs, n_jobs);
    int n_shown = 0;

    for (int i = 0; i < n_jobs; i++) {
        if (!shown[i])
            continue;
        g_autofree char *job = wording_visit_job(context, visit, &jobs[i]);
        g_autofree char *reason = wording_reason(context, &jobs[i]);
        n_shown++;
        /* No numbers: "tholectl done 2" means others. */
        g_string_append_printf(text, "%s%s %s\n", n_jobs > 1 ? "- " : "", job, reason);
    }
    if (n_jobs > n_shown)
        g_string_append_printf(text, "And %d more: \"tholectl today\" lists them.\n",
                               n_jobs - n_shown);
    if (n_jobs <= 0)
        g_string_append(text, "Nothing needs doing: you need not go.\n");
}

char *wording_description(const WordingContext *context, const Visit *visit, const Job *jobs,
                          int n_jobs, const char *weather_note)
{
    GString *text = g_string_new(NULL);

    wording_add_luggage(context, visit, jobs, n_jobs, text);
    add_jobs(context, visit, jobs, n_jobs, text);
    wording_add_planting(jobs, n_jobs, text);
    wording_add_numbers(context, jobs, n_jobs, text);
    if (weather_note != NULL) {
        g_autofree char *note = wording_name(weather_note, strlen(weather_note));
        if (*note != '\0')
            g_string_append_printf(text, "Weather: %s%s\n", note,
                                   g_str_has_suffix(note, ".") ? "" : ".");
    }
    wording_add_cautions(context, jobs, n_jobs, text);
    if (text->len > 0 && text->str[text->len - 1] == '\n')
        g_string_truncate(text, text->len - 1);
    return g_string_free(text, FALSE);
}

char *wording_notice(const WordingContext *context, const Visit *visit, const Job *jobs, int n_jobs)
{
    g_autofree char *summary = wording_summary(context, visit, jobs, n_jobs);
    g_autofree char *alarm = wording_alarm(context, visit, jobs, n_jobs);
    const char *where = alarm + strlen(summary);
    GString *text = g_string_new(NULL);

    if (g_str_has_prefix(where, ": "))
        g_string_append_printf(text, "%s\n", where + strlen(": "));
    wording_add_luggage(context, visit, jobs, n_jobs, text);
    add_jobs(context, visit, jobs, n_jobs, text);
    g_string_truncate(text, text->len - 1);
    return g_string_free(text, FALSE);
}

/* ---- for comparing ---- */

static char *place_key(const WordingContext *context, int place)
{
    const Place *here = wording_place(context, place);

    return here != NULL ? wording_name(here->name, sizeof here->name) : g_strdup("-");
}

/* By name rather than number: numbers shift when the grower's file changes. */
static char *job_key(const WordingContext *context, const Job *job)
{
    const Batch *batch = wording_batch(context, job->batch);
    const Place *place = wording_place(context, job->place);
    g_autofree char *id = batch != NULL ? wording_name(batch->id, sizeof batch->id) : g_strdup("-");
    g_autofree char *from = place_key(context, job->from_place);
    g_autofree char *to = place_key(context, job->place);
    const bool positioned = wording_cover_act(place, job->position) != ACT_UNKNOWN;
    g_autofree char *position =
        positioned ? wording_name(place->cover.positions[job->position].name, NAME_SIZE)
                   : g_strdup("-");

    return g_strdup_printf(
        "%d\t%s\t%s\t%s\t%s\t%" G_GINT64_FORMAT, (int)job->kind, id, from, to, position,
        job->deadline_utc > 0 ? job->deadline_utc / DEADLINE_GRAIN_S * DEADLINE_GRAIN_S : 0);
}

static int compare_keys(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

char *wording_substance(const WordingContext *context, const Visit *visit, const Job *jobs,
                        int n_jobs)
{
    g_autoptr(GPtrArray) keys = g_ptr_array_new_with_free_func(g_free);
    const bool sited = visit != NULL && visit->site >= 0 && visit->site < context->garden->n_sites;
    g_autofree char *site =
        sited ? wording_name(context->garden->sites[visit->site].name, NAME_SIZE) : g_strdup("-");

    for (int i = 0; i < n_jobs; i++)
        g_ptr_array_add(keys, job_key(context, &jobs[i]));
    g_ptr_array_sort(keys, compare_keys);
    g_ptr_array_insert(keys, 0, g_steal_pointer(&site));
    g_ptr_array_add(keys, NULL);
    return g_strjoinv("\n", (char **)keys->pdata);
}
