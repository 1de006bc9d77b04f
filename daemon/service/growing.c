/* SPDX-License-Identifier: MIT */
#include "service/growing.h"

#include <math.h>

#include "grow/growth.h"
#include "plan/sowing.h"
#include "service/foresee.h"
#include "service/wording-growth.h"

#define DAY_S 86400
#define AHEAD_MOST_D 60.0 /* no day further off is told; chosen */
#define NAGGED_LEAVES 3.0 /* so many past pricking out it is taken to stay as it is; chosen */

/* In so many days, from usual ones where it stands; 0 too far off to tell. */
static int64_t day_of(const Service *service, double days)
{
    return days <= AHEAD_MOST_D ? clock_now(service->clk) + (int64_t)(days * DAY_S) : 0;
}

/* From the compost in its pot to a stiff cover: a pot as deep as its volume is long (chosen). */
static double room_under(const Garden *garden, const Batch *batch)
{
    const Place *place = &garden->places[batch->place];
    const bool stiff = place->kind == PLACE_PROPAGATOR || (place->covered && !place->cover.porous);
    if (!stiff)
        return (double)NAN;
    const double pot_cm =
        batch->container >= 0 ? cbrt(garden->containers[batch->container].volume_ml) : 0.0;
    return fmax(0.0, 100.0 * place->height_m - pot_cm);
}

Growth growing_now(const Service *service, const Batch *batch)
{
    const Garden *garden = service->garden;
    const int64_t now_utc = clock_now(service->clk);
    const double hours = (double)(now_utc - service->current.as_of_utc) / 3600.0;
    Growth growth = batch->growth;
    double low_c, high_c;

    if (batch->place < 0 || batch->stage >= STAGE_PLANTED_OUT || hours <= 0.0)
        return growth;
    sowing_warmth(garden, batch->place, now_utc, &low_c, &high_c);
    growth_step(&garden->crops[batch->crop], (low_c + high_c) / 2.0, hours, &growth);
    return growth;
}

void growing_of(const Service *service, const Batch *batch, Growing *ret)
{
    const Garden *garden = service->garden;
    const Crop *crop = &garden->crops[batch->crop];
    double low_c, high_c;

    *ret = (Growing){.growth = growing_now(service, batch), .room_cm = (double)NAN};
    const Growth *now = &ret->growth;
    ret->height_cm = growth_height_cm(now);
    ret->chill_had_d = growth_chills(crop, now, batch->bought) ? now->chill_h / 24.0 : (double)NAN;
    ret->hardening_d = now->hardening_h / 24.0;
    if (!now->known || batch->place < 0 || batch->stage >= STAGE_PLANTED_OUT)
        return;
    sowing_warmth(garden, batch->place, clock_now(service->clk), &low_c, &high_c);
    ret->prick_out = crop->prick_out_leaves > 0 && batch->potted_utc == 0 && !batch->bought &&
                     batch->stage < STAGE_SETTLING &&
                     now->leaves < crop->prick_out_leaves + NAGGED_LEAVES;
    if (ret->prick_out)
        ret->prick_out_utc = day_of(
            service, growth_days_to_leaves(crop, now, crop->prick_out_leaves, low_c, high_c));
    ret->room_cm = room_under(garden, batch);
    if (isfinite(ret->room_cm))
        ret->touches_utc =
            day_of(service, growth_days_to_height(crop, now, ret->room_cm, low_c, high_c));
}

static void add(GPtrArray *texts, char *text)
{
    if (text != NULL)
        g_ptr_array_add(texts, text);
}

GPtrArray *growing_told(const Service *service, const Batch *batch)
{
    const WordingContext words = service_wording(service);
    GPtrArray *texts = g_ptr_array_new_with_free_func(g_free);
    Growing growing;
    Holding holding;

    growing_of(service, batch, &growing);
    add(texts, wording_growth_prick_out(&words, batch, &growing));
    add(texts, wording_growth_touches(&words, batch, &growing));
    add(texts, wording_growth_chill(&words, batch, &growing));
    add(texts, wording_growth_hardened(&words, batch, &growing));
    if (holding_due(service, batch, &holding))
        add(texts, wording_growth_outgrown(&words, batch, &holding));
    return texts;
}

char *growing_text(const Service *service, const Batch *batch)
{
    const WordingContext words = service_wording(service);
    Growing growing;

    growing_of(service, batch, &growing);
    return wording_growth(&words, batch, &growing);
}
