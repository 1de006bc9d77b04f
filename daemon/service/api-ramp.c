/* SPDX-License-Identifier: MIT */
#include "service/api-ramp.h"

#include <math.h>

#include "base/local-time.h"
#include "service/ahead.h"
#include "service/api-day.h"
#include "service/api-json.h"
#include "service/planner.h"
#include "service/ramp-days.h"
#include "store/store-batches.h"

#define NIGHT_S (4 * 3600) /* before its ramp day ends, a batch stands where it had its night */

/* A day that was or will be, told alike. */
typedef struct Told {
    AheadDay day;
    gboolean planned;
} Told;

static JsonObject *day_object(const Service *s, const Batch *batch, const Told *told)
{
    const AheadDay *day = &told->day;
    const gboolean ramps =
        batch->stage < STAGE_PLANTED_OUT || (!told->planned && day->end_utc <= batch->planted_utc);
    JsonObject *object = json_object_new();

    api_take_text(object, "date", local_day_format(day->day));
    api_take_text(object, "when", api_day_short(day->day));
    json_object_set_boolean_member(object, "planned", told->planned);
    api_set_text(object, "place", api_place_name(s, day->place));
    api_set_number(object, "low_c", day->low_c);
    api_set_number(object, "cold_c", day->cold_c);
    api_set_number(object, "spread_k", day->spread_k);
    api_set_number(object, "leaf_low_c", day->leaf_low_c);
    api_set_number(object, "exposed_h", fmax(day->exposed_h, 0.0));
    api_set_number(object, "allowed_h", day->allowance_h);
    api_set_number(object, "allowed_low_c", ramps ? day->allowed_c : NAN);
    api_set_number(object, "hardened_to_c", ramps ? day->hardened_to_c : NAN);
    api_set_number(object, "damage_c", day->damage_c);
    api_set_odds(object, "damage_odds", day->damage_odds);
    api_set_text(object, "odds",
                 isfinite(day->damage_odds) ? wording_odds(day->damage_odds) : NULL);
    json_object_set_boolean_member(object, "check", day->check);
    json_object_set_boolean_member(object, "estimated", day->estimated);
    return object;
}

static int place_at(const GArray *placements, int64_t utc)
{
    int place = -1;

    for (guint i = 0; i < placements->len; i++) {
        const StorePlacement *p = &g_array_index(placements, StorePlacement, i);
        if (p->from_utc <= utc)
            place = p->place;
    }
    return place;
}

/* It ends in the morning after the night, so the day that it is of is the one before. */
static Told told_of(const Service *s, const PastDay *past, int place)
{
    const int site = api_site_of(s, place);

    return (Told){.day = {.day = api_day(s, site, past->end_utc) - 1,
                          .end_utc = past->end_utc,
                          .closed = true,
                          .place = place,
                          .low_c = past->low_c,
                          .cold_c = past->cold_c,
                          .spread_k = NAN,
                          .leaf_low_c = NAN,
                          .exposed_h = past->exposed_h,
                          .allowance_h = past->allowance_h,
                          .allowed_c = past->allowed_c,
                          .hardened_to_c = past->hardened_to_c,
                          .damage_c = past->damage_c,
                          .damage_odds = NAN,
                          .check = past->check}};
}

JsonArray *api_ramp_days(const Service *s, const Batch *batch, int index, GError **error)
{
    g_autoptr(GArray) past = NULL, placements = NULL;

    if (!ramp_days_load(s, batch, &past, error) ||
        !store_load_placements(s->store, s->garden, batch->id, 0, &placements, error))
        return NULL;
    g_autoptr(GPtrArray) ahead = planner_ahead(s);
    const GArray *days = ahead->pdata[index];
    JsonArray *array = json_array_new();
    for (guint i = 0; i < past->len; i++) {
        const PastDay *day = &g_array_index(past, PastDay, i);
        const Told told = told_of(s, day, place_at(placements, day->end_utc - NIGHT_S));
        if (told.day.place >= 0) /* else it was told in the morning */
            json_array_add_object_element(array, day_object(s, batch, &told));
    }
    for (guint i = 0; i < days->len; i++) {
        const Told told = {.day = g_array_index(days, AheadDay, i), .planned = TRUE};
        if (told.day.closed) /* of the last one the night is not known */
            json_array_add_object_element(array, day_object(s, batch, &told));
    }
    return array;
}
