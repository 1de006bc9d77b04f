/* SPDX-License-Identifier: MIT */
/*
 * A visit on a lock screen: the fullest of a few forms that fits. What may go, in this order: the
 * degrees, the second job, the ends of names. The first job, its deadline and the count of the
 * others stay.
 */
#include "service/wording-private.h"

#include <math.h>
#include <string.h>

#define NIGHT_S (20 * 3600) /* a low within it of the visit is "tonight", if it is at night */

/* ---- which job first ---- */

int wording_job_weight(const Job *job)
{
    static const int of_limit[] = {
        [LIMIT_DAMAGE] = 9,   [LIMIT_FROZEN] = 8,        [LIMIT_HEAT] = 7,   [LIMIT_CHECK] = 6,
        [LIMIT_CHILL] = 5,    [LIMIT_GUST] = 5,          [LIMIT_SCORCH] = 4, [LIMIT_HOLD] = 3,
        [LIMIT_SETTLING] = 3, [LIMIT_HELD_TOO_LONG] = 2, [LIMIT_WATER] = 4,  [LIMIT_DAMP] = 2,
        [LIMIT_DAYLIGHT] = 2,
    };
    const unsigned limit = (unsigned)job->reason.limit;
    const int weight = limit < G_N_ELEMENTS(of_limit) ? of_limit[limit] : 0;

    return weight + (job->deadline_utc > 0 ? 1 : 0) + (job->guard ? 20 : 0) +
           (job->urgent ? 40 : 0) + (job->kind == JOB_RESCUE && job->urgent ? 80 : 0) +
           (job->kind == JOB_LEAVE_SHUT ? 60 : 0);
}

/* Whether a goes before b; equal ones stay in walking order. */
static bool goes_before(const Job *a, const Job *b)
{
    const int first = wording_job_weight(a), second = wording_job_weight(b);

    if (first != second)
        return first > second;
    return a->deadline_utc > 0 && a->deadline_utc < b->deadline_utc;
}

/* The best job other than `but`, -1 none. */
static int most_pressing(const Job *jobs, int n_jobs, int but)
{
    int best = -1;

    for (int i = 0; i < n_jobs; i++) {
        if (i != but && (best < 0 || goes_before(&jobs[i], &jobs[best])))
            best = i;
    }
    return best;
}

/* ---- short clauses ---- */

static char *cut(const char *text, int letters)
{
    if (g_utf8_strlen(text, -1) <= letters)
        return g_strdup(text);
    g_autofree char *start = g_utf8_substring(text, 0, MAX(letters - 1, 1));

    return g_strconcat(g_strchomp(start), "…", NULL);
}

static char *brief_place(const WordingContext *context, int place, int letters)
{
    const Place *here = wording_place(context, place);
    g_autofree char *name =
        here != NULL ? wording_name(here->name, sizeof here->name) : g_strdup("");

    return cut(*name != '\0'  ? name
               : here != NULL ? wording_place_kind(here->kind)
                              : "its place",
               letters);
}

static char *brief_plants(const WordingContext *context, int batch, int letters)
{
    const Batch *plants = wording_batch(context, batch);
    g_autofree char *noun =
        wording_crop_words(wording_crop(context, plants), plants == NULL || plants->number != 1);

    return cut(noun, letters);
}

static char *brief_cover(const WordingContext *context, const Job *job, bool leads, int letters)
{
    const Place *place = wording_place(context, job->place);
    const CoverAct act = wording_cover_act(place, job->position);
    g_autofree char *name = brief_place(context, job->place, letters);
    g_autofree char *position =
        act != ACT_UNKNOWN ? wording_name(place->cover.positions[job->position].name, NAME_SIZE)
                           : g_strdup("");
    g_autofree char *to = cut(position, letters);
    const char *taken_off = place != NULL && place->kind == PLACE_COLD_FRAME ? "light"
                            : place != NULL && place->kind == PLACE_BOX      ? "lid"
                                                                             : NULL;

    switch (act) {
    case ACT_CLOSE:
        return g_strdup_printf("%slose %s", leads ? "C" : "c", name);
    case ACT_PROP:
        /* NOLINTNEXTLINE(clang-analyzer-core.NullDereference): no place, no ACT_PROP */
        if (wording_comes_down(context, job) && place->cover.positions[job->from_position].open)
            return leads ? g_strdup_printf("Put %s on %s, %s", wording_pane(place), name, to)
                         : g_strdup_printf("%s on %s, %s", wording_pane(place), name, to);
        if (wording_comes_down(context, job))
            return g_strdup_printf("%sower %s to %s", leads ? "L" : "l", name, to);
        if (g_ascii_isdigit(*to))
            return g_strdup_printf("%srop %s %s", leads ? "P" : "p", name, to);
        return g_strdup_printf("%set %s to %s", leads ? "S" : "s", name, to);
    case ACT_OPEN:
        if (taken_off == NULL)
            return g_strdup_printf("%spen %s", leads ? "O" : "o", name);
        return leads ? g_strdup_printf("Take %s off %s", taken_off, name)
                     : g_strdup_printf("%s off %s", taken_off, name);
    case ACT_OPEN_PART: {
        g_autofree char *part = g_strndup(position, strlen(position) - strlen(" open"));
        g_autofree char *short_part = cut(part, letters);
        return leads ? g_strdup_printf("Open %s %s", name, short_part)
                     : g_strdup_printf("open %s %s", name, short_part);
    }
    case ACT_SHEET_ON:
    case ACT_SHEET_OFF: {
        g_autofree char *sheet = wording_sheet_words(place, true);
        g_autofree char *short_sheet = cut(sheet, letters);
        const char *side = act == ACT_SHEET_ON ? "on" : "off";
        return leads ? g_strdup_printf("%s %s %s", act == ACT_SHEET_ON ? "Lay" : "Take",
                                       short_sheet, side)
                     : g_strdup_printf("%s %s", short_sheet, side);
    }
    case ACT_UNKNOWN:
        break;
    }
    return g_strdup_printf("%see to %s", leads ? "S" : "s", name);
}

static char *brief_move(const WordingContext *context, const Job *job, bool leads, int letters)
{
    g_autofree char *plants = brief_plants(context, job->batch, letters);
    g_autofree char *place = brief_place(context, job->place, letters);
    const Place *to = wording_place(context, job->place),
                *from = wording_place(context, job->from_place);
    const bool in = to != NULL && to->indoors && (from == NULL || !from->indoors);
    const bool on = wording_lays_sheet(context, job, true);

    if (on || wording_lays_sheet(context, job, false)) {
        g_autofree char *sheet = wording_sheet_words(on ? to : from, true);
        g_autofree char *short_sheet = cut(sheet, letters);
        return leads ? g_strdup_printf("%s %s %s", on ? "Lay" : "Take", short_sheet,
                                       on ? "on" : "off")
                     : g_strdup_printf("%s %s", short_sheet, on ? "on" : "off");
    }
    if (!leads)
        return g_strdup_printf("%s to %s", plants, place);
    if (job->kind == JOB_TRANSFER)
        return g_strdup_printf("Carry %s to %s", plants, place);
    return in ? g_strdup_printf("Bring %s in to %s", plants, place)
              : g_strdup_printf("Move %s to %s", plants, place);
}

static bool go_together(const WordingContext *context, const Job *a, const Job *b)
{
    return a->kind == b->kind && (a->kind == JOB_MOVE || a->kind == JOB_TRANSFER) &&
           a->place == b->place && a->from_place == b->from_place &&
           !wording_lays_sheet(context, a, true) && !wording_lays_sheet(context, a, false);
}

/* "Carry leeks and cabbages to sill": two that go the same way. */
static char *brief_moves(const WordingContext *context, const Job *a, const Job *b, int letters)
{
    g_autofree char *first = brief_plants(context, a->batch, letters);
    g_autofree char *second = brief_plants(context, b->batch, letters);
    g_autofree char *place = brief_place(context, a->place, letters);

    return g_strdup_printf("%s %s and %s to %s", a->kind == JOB_TRANSFER ? "Carry" : "Move", first,
                           second, place);
}

static char *brief_leave(const WordingContext *context, const Job *job, bool leads, int letters)
{
    g_autofree char *place = brief_place(context, job->place, letters);
    const Place *here = wording_place(context, job->place);
    g_autofree char *thawed =
        wording_clock(context, wording_site(context, job->place, job->batch), job->reason.at_utc);
    const bool open_air = here == NULL || (!here->covered && here->parent < 0);
    const char *how = open_air                                     ? "alone"
                      : wording_cover_act(here, 0) == ACT_SHEET_ON ? "on"
                                                                   : "shut";

    return g_strdup_printf("%seave %s %s%s%s", leads ? "L" : "l", place, how,
                           *thawed != '\0' ? " until " : "", thawed);
}

static char *brief_water(const WordingContext *context, const Job *job, bool leads, int letters)
{
    g_autofree char *what = job->batch >= 0 ? brief_plants(context, job->batch, letters)
                                            : brief_place(context, job->place, letters);

    return g_strdup_printf("%sater %s", leads ? "W" : "w", what);
}

char *wording_job_brief(const WordingContext *context, const Job *job, bool leads, int letters)
{
    g_autofree char *plants = brief_plants(context, job->batch, letters);

    switch (job->kind) {
    case JOB_SET_COVER:
        return brief_cover(context, job, leads, letters);
    case JOB_MOVE:
    case JOB_TRANSFER:
        return brief_move(context, job, leads, letters);
    case JOB_PLANT_OUT:
        return g_strdup_printf("%slant out %s", leads ? "P" : "p", plants);
    case JOB_LEAVE_SHUT:
        return brief_leave(context, job, leads, letters);
    case JOB_RESCUE:
        if (!job->urgent)
            return g_strdup_printf("%say fleece over %s", leads ? "L" : "l", plants);
        if (job->reason.limit == LIMIT_HEAT)
            return g_strdup_printf("%sool %s", leads ? "C" : "c", plants);
        if (job->reason.limit == LIMIT_WATER)
            return g_strdup_printf("%sater %s", leads ? "W" : "w", plants);
        return g_strdup_printf("%save %s", leads ? "S" : "s", plants);
    case JOB_CHOOSE:
        if (job->reason.limit == LIMIT_DESTINATION)
            return g_strdup_printf("%say where to plant %s", leads ? "S" : "s", plants);
        return g_strdup_printf("%shoose: plant out or pot on %s", leads ? "C" : "c", plants);
    case JOB_WATER:
        return brief_water(context, job, leads, letters);
    case JOB_PROTECT: {
        g_autofree char *place = brief_place(context, job->place, letters);
        return g_strdup_printf("%suard %s", leads ? "G" : "g", place);
    }
    }
    return g_strdup_printf("%see to %s", leads ? "S" : "s", plants);
}

/* ---- around them ---- */

/* " (−2° tonight)": what the leaves come to without the job, in the night after the visit; ""
 * otherwise. */
static char *degrees_words(const WordingContext *context, const Visit *visit, const Job *job)
{
    const Reason *r = &job->reason;
    const int site = wording_site(context, r->place, r->batch);
    const int64_t last_utc = job->deadline_utc > 0 ? job->deadline_utc : context->now_utc;
    const int64_t start_utc = visit != NULL ? visit->start_utc : last_utc;
    const double value = isnan(r->otherwise_c) ? r->predicted_c : r->otherwise_c;
    int day, minute;

    if (r->limit != LIMIT_DAMAGE || isnan(value) ||
        !wording_local(context, site, r->at_utc, &day, &minute) ||
        (minute >= 9 * 60 && minute < 18 * 60) || r->at_utc < start_utc ||
        r->at_utc > start_utc + NIGHT_S)
        return g_strdup("");
    g_autofree char *degrees = wording_degrees(context->garden, value);

    return g_strdup_printf(" (%s° tonight)", degrees);
}

/* One form; NULL where it is too long. */
static char *form(const char *first, const char *second, const char *deadline, const char *degrees,
                  int others)
{
    g_autofree char *more = others > 0 ? g_strdup_printf(" +%d", others) : g_strdup("");
    g_autofree char *text =
        g_strconcat(first, second != NULL ? ", " : "", second != NULL ? second : "", deadline,
                    degrees, more, NULL);

    return g_utf8_strlen(text, -1) <= WORDING_SUMMARY_MAX ? g_steal_pointer(&text) : NULL;
}

char *wording_summary(const WordingContext *context, const Visit *visit, const Job *jobs,
                      int n_jobs)
{
    static const int letters[] = {NAME_SIZE, 16, 12, 9, 6};
    const int first = most_pressing(jobs, n_jobs, -1);

    if (first < 0)
        return g_strdup("Nothing to do");
    const int64_t start_utc = visit != NULL ? visit->start_utc : context->now_utc;
    const int second = most_pressing(jobs, n_jobs, first);
    const bool second_sooner =
        second >= 0 && jobs[second].deadline_utc > 0 &&
        (jobs[first].deadline_utc <= 0 || jobs[second].deadline_utc < jobs[first].deadline_utc);
    g_autofree char *own = wording_deadline(context, start_utc, &jobs[first]);
    g_autofree char *sooner =
        wording_deadline(context, start_utc, &jobs[second_sooner ? second : first]);
    g_autofree char *degrees = degrees_words(context, visit, &jobs[first]);
    char *text = NULL;

    for (gsize i = 0; i < G_N_ELEMENTS(letters) && text == NULL; i++) {
        g_autofree char *lead = wording_job_brief(context, &jobs[first], true, letters[i]);
        if (second >= 0 && go_together(context, &jobs[first], &jobs[second])) {
            g_autofree char *both = brief_moves(context, &jobs[first], &jobs[second], letters[i]);
            text = form(both, NULL, sooner, degrees, n_jobs - 2);
            if (text == NULL)
                text = form(both, NULL, sooner, "", n_jobs - 2);
        } else if (second >= 0) {
            g_autofree char *more = wording_job_brief(context, &jobs[second], false, letters[i]);
            text = form(lead, more, sooner, degrees, n_jobs - 2);
            if (text == NULL)
                text = form(lead, more, sooner, "", n_jobs - 2);
        }
        if (text == NULL)
            text = form(lead, NULL, own, degrees, n_jobs - 1);
        if (text == NULL)
            text = form(lead, NULL, own, "", n_jobs - 1);
    }
    if (text != NULL)
        return text;
    g_autofree char *shortest =
        wording_job_brief(context, &jobs[first], true, letters[G_N_ELEMENTS(letters) - 1]);

    return cut(shortest, WORDING_SUMMARY_MAX);
}

char *wording_alarm(const WordingContext *context, const Visit *visit, const Job *jobs, int n_jobs)
{
    g_autofree char *summary = wording_summary(context, visit, jobs, n_jobs);
    const int site = visit != NULL ? visit->site : -1;
    g_autofree char *when =
        visit != NULL ? wording_clock(context, site, visit->start_utc) : g_strdup("");
    const bool known = site >= 0 && site < context->garden->n_sites;
    g_autofree char *name =
        known ? wording_name(context->garden->sites[site].name, NAME_SIZE) : g_strdup("");
    const bool has_name = *name != '\0', has_time = *when != '\0';

    return g_strdup_printf("%s%s%s%s%s", summary, has_name || has_time ? ": " : "", name,
                           has_name && has_time ? ", " : "", when);
}
