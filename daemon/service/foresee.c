/* SPDX-License-Identifier: MIT */
#include "service/foresee.h"

#include <math.h>

#define DAY_S 86400
#define ASKED_S (7 * DAY_S) /* seed not reported is asked after for so long; chosen */
#define AT_LAST_S                                                                                  \
    (30 * DAY_S) /* and at most so long after 18 °C would have brought it up; chosen */

static double mean_c(const Garden *garden, int place, int64_t utc)
{
    double low_c, high_c;
    sowing_warmth(garden, place, utc, &low_c, &high_c);
    return (low_c + high_c) / 2.0;
}

/* The warmest place indoors that is no propagator, at `site` (-1: any); -1 none. */
static int warmest_room(const Garden *garden, int site, int64_t utc)
{
    int found = -1;
    for (int p = 0; p < garden->n_places; p++) {
        const Place *place = &garden->places[p];
        if (!place->indoors || place->kind == PLACE_PROPAGATOR ||
            (site >= 0 && place->site != site))
            continue;
        if (found < 0 || mean_c(garden, p, utc) > mean_c(garden, found, utc))
            found = p;
    }
    return found;
}

int foresee_seed_place(const Garden *garden, int64_t utc)
{
    for (int p = 0; p < garden->n_places; p++)
        if (garden->places[p].kind == PLACE_PROPAGATOR)
            return p;
    return warmest_room(garden, -1, utc);
}

int foresee_raised_place(const Garden *garden, int seed_place, int64_t utc)
{
    if (garden->places[seed_place].kind != PLACE_PROPAGATOR)
        return seed_place;
    const int room = warmest_room(garden, garden->places[seed_place].site, utc);
    return room >= 0 ? room : seed_place;
}

int foresee_destination(const Garden *garden)
{
    for (int p = 0; p < garden->n_places; p++)
        if (garden->places[p].kind == PLACE_BED)
            return p;
    return -1;
}

static Sowing sowing_of(const Service *service, const Batch *batch)
{
    const Garden *garden = service->garden;
    const int64_t now_utc = clock_now(service->clk);
    Sowing sowing = {
        .garden = garden,
        .crop = batch->crop,
        .container = batch->container,
        .seed_place = batch->place,
        .raised_place = foresee_raised_place(garden, batch->place, now_utc),
        .destination = batch->destination,
        .sown_utc = batch->sown_utc,
    };
    if (batch->stage == STAGE_SOWN)
        return sowing;
    sowing.emerged_utc = batch->emerged_utc;
    if (batch->emerged_utc != 0)
        return sowing;
    /* it is up, and nobody told when: reckoned as the crop's weeks are, so that they count from the
     * day of sowing, as the plan does */
    const Crop *crop = &garden->crops[batch->crop];
    const double days = emergence_days(crop, SOWING_RECKONED_C, SOWING_RECKONED_C);
    sowing.emerged_utc =
        MIN(now_utc, batch->sown_utc + (batch->bought ? 1 : (int64_t)(days * DAY_S)));
    sowing.emerged_utc = MAX(sowing.emerged_utc, batch->sown_utc + 1);
    return sowing;
}

void foresee_batch(const Service *service, const Batch *batch, SowingCourse *ret)
{
    Sowing sowing = sowing_of(service, batch);
    sowing.bought = batch->bought;
    sowing.not_before_utc = MAX(clock_now(service->clk), batch->settled_utc);
    if (batch->potted_utc != 0 || batch->stage > STAGE_EMERGED)
        sowing.pricked = TRUE;
    sowing.growth = batch->growth;
    sowing_course(&sowing, ret);
    if (batch->container >= 0 && batch->potted_utc != 0)
        ret->held_utc =
            batch->potted_utc +
            (int64_t)(7 * DAY_S * service->garden->containers[batch->container].hold_max_weeks);
}

int64_t foresee_taken_as_up(const Service *service, const Batch *batch)
{
    const Crop *crop = &service->garden->crops[batch->crop];
    const double days = emergence_days(crop, SOWING_RECKONED_C, SOWING_RECKONED_C);
    const int64_t last_utc = batch->sown_utc + (int64_t)(days * DAY_S) + AT_LAST_S;
    SowingCourse course;
    foresee_batch(service, batch, &course);
    return course.late_utc != 0 ? MIN(course.late_utc + ASKED_S, last_utc) : last_utc;
}

void foresee_add_heat(GArray *spans, const Garden *garden, const Sowing *sowing,
                      const SowingCourse *course, int batch, int trays, int64_t from_utc)
{
    /* what stands there today has not moved yet, whatever was foretold */
    const int64_t up_utc =
        course->emerged_utc != 0 ? MAX(course->emerged_utc, from_utc + DAY_S) : INT64_MAX;
    const int64_t leave_utc = course->leave_utc != 0 ? course->leave_utc : INT64_MAX;
    const gboolean moves = sowing->raised_place != sowing->seed_place;
    const HeatSpan seed = {batch, sowing->seed_place, trays, from_utc,
                           moves ? up_utc : MAX(leave_utc, from_utc + DAY_S)};
    const HeatSpan raised = {batch, sowing->raised_place, trays, up_utc, leave_utc};

    if (garden->places[seed.place].indoors)
        g_array_append_val(spans, seed);
    if (moves && garden->places[raised.place].indoors && raised.to_utc > raised.from_utc)
        g_array_append_val(spans, raised);
}

GArray *foresee_heat(const Service *service)
{
    const GArray *batches = service->current.batches;
    const int64_t now_utc = clock_now(service->clk);
    GArray *spans = g_array_new(FALSE, FALSE, sizeof(HeatSpan));

    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        if (batch->stage >= STAGE_PLANTED_OUT || !service->garden->places[batch->place].indoors)
            continue;
        SowingCourse course;
        foresee_batch(service, batch, &course);
        Sowing sowing = sowing_of(service, batch);
        if (batch->stage != STAGE_SOWN) /* it stands where it stands */
            sowing.seed_place = sowing.raised_place = batch->place;
        foresee_add_heat(spans, service->garden, &sowing, &course, (int)i, batch->trays, now_utc);
    }
    return spans;
}

static int trays_at(const GArray *spans, int place, int64_t utc)
{
    int trays = 0;
    for (guint i = 0; i < spans->len; i++) {
        const HeatSpan *span = &g_array_index(spans, HeatSpan, i);
        if (span->place == place && span->from_utc <= utc && utc < span->to_utc)
            trays += span->trays;
    }
    return trays;
}

int foresee_most_trays(const GArray *spans, int place, int64_t from_utc, int64_t to_utc,
                       int64_t *ret_day_utc)
{
    int most = -1;
    for (int64_t utc = from_utc; utc < to_utc || most < 0; utc += DAY_S) {
        const int trays = trays_at(spans, place, utc);
        if (trays <= most)
            continue;
        most = trays;
        if (ret_day_utc != NULL)
            *ret_day_utc = utc;
    }
    return most;
}

char *foresee_who(const Service *service, const GArray *spans, int place, int64_t utc)
{
    g_autoptr(GString) who = g_string_new(NULL);
    for (guint i = 0; i < spans->len; i++) {
        const HeatSpan *span = &g_array_index(spans, HeatSpan, i);
        if (span->place != place || span->batch < 0 || span->from_utc > utc || utc >= span->to_utc)
            continue;
        const Batch *batch = &g_array_index(service->current.batches, Batch, span->batch);
        g_string_append_printf(who, "%s%s (%d)", who->len > 0 ? ", " : "", batch->name,
                               span->trays);
    }
    return g_string_free(g_steal_pointer(&who), FALSE);
}

int foresee_room_for(const Service *service, const GArray *spans, const HeatSpan *span,
                     int64_t day_utc)
{
    const Garden *garden = service->garden;
    const Batch *batch = &g_array_index(service->current.batches, Batch, span->batch);
    for (int p = 0; p < garden->n_places; p++) {
        const Place *place = &garden->places[p];
        double low_c, high_c;
        if (p == span->place || !place->indoors || place->kind == PLACE_PROPAGATOR)
            continue;
        sowing_warmth(garden, p, day_utc, &low_c, &high_c);
        if (low_c < garden->crops[batch->crop].floor_soft_c)
            continue;
        const int64_t to_utc = MIN(span->to_utc, day_utc + 26 * INT64_C(7) * DAY_S);
        if (place->trays < 0 ||
            foresee_most_trays(spans, p, day_utc, to_utc, NULL) + span->trays <= place->trays)
            return p;
    }
    return -1;
}
