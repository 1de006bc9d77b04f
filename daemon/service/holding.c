/* SPDX-License-Identifier: MIT */
#include "service/holding.h"

#include <math.h>

#include "odds/odds.h"
#include "plan/sowing.h"
#include "ramp/ramp.h"
#include "service/api-json.h"

#define DAY_S INT64_C(86400)
#define FLEECE_K 1.0 /* the least of 1 to 5 °C, Snyder & de Melo-Abreu 2005, FAO vol. 1 */

static int64_t hold_s(const Garden *garden, int container)
{
    return (int64_t)(7.0 * DAY_S * garden->containers[container].hold_max_weeks);
}

/* The smallest container that is larger than this one; -1 none. */
static int next_container(const Garden *garden, int container)
{
    int next = -1;
    for (int i = 0; i < garden->n_containers; i++) {
        if (garden->containers[i].volume_ml <= garden->containers[container].volume_ml)
            continue;
        if (next < 0 || garden->containers[i].volume_ml < garden->containers[next].volume_ml)
            next = i;
    }
    return next;
}

/* Odds that any night that is planned passes what it bears now, there. */
static void plant_now(const Service *service, const Batch *batch, Holding *ret)
{
    const Garden *garden = service->garden;
    const Place *place = &garden->places[ret->destination];
    const double damage_c = ramp_damage_c(&garden->crops[batch->crop], &batch->ramp);
    double unharmed = 1.0;

    ret->fleece = !place->covered;
    for (int i = 0; i < service->plan.n_predictions; i++) {
        const PlacePrediction *p = &service->plan.predictions[i];
        if (p->place != ret->destination || !isfinite(p->low_c))
            continue;
        const double low_c = p->low_c + (ret->fleece ? FLEECE_K : 0.0);
        unharmed *= 1.0 - odds_of_margin(odds_margin(low_c, p->low_spread_k, damage_c));
        ret->nights++;
    }
    if (ret->nights > 0)
        ret->planted_odds = 1.0 - unharmed;
}

/* 0 it holds it, or nothing is known of it. */
static int64_t outgrown_utc(const Garden *garden, const Batch *batch)
{
    if (batch->container < 0 || batch->place < 0 || batch->stage == STAGE_SOWN ||
        batch->stage >= STAGE_PLANTED_OUT)
        return 0;
    const int64_t from_utc = batch->potted_utc != 0 ? batch->potted_utc : batch->sown_utc;
    return from_utc + hold_s(garden, batch->container);
}

void holding_of(const Service *service, const Batch *batch, Holding *ret)
{
    const Garden *garden = service->garden;
    const int64_t now_utc = clock_now(service->clk);

    *ret = (Holding){.destination = batch->destination,
                     .container = -1,
                     .planted_odds = (double)NAN,
                     .potted_odds = (double)NAN};
    ret->outgrown_utc = outgrown_utc(garden, batch);
    if (ret->outgrown_utc == 0)
        return;
    if (batch->destination >= 0)
        plant_now(service, batch, ret);
    ret->container = next_container(garden, batch->container);
    if (ret->container < 0)
        return;
    ret->potted_utc = now_utc + hold_s(garden, ret->container);
    const int place = batch->destination >= 0 ? batch->destination : batch->place;
    const Site *site = &garden->sites[garden->places[place].site];
    if (site->last_frost_month > 0)
        ret->potted_odds = sowing_frost_odds(site, ret->potted_utc);
}

gboolean holding_is_due(const Service *service, const Batch *batch, const Holding *holding)
{
    const int64_t now_utc = clock_now(service->clk);
    int index = -1;
    if (holding->outgrown_utc == 0 || now_utc < holding->outgrown_utc - HOLDING_AHEAD_D * DAY_S ||
        now_utc > holding->outgrown_utc + HOLDING_PAST_D * DAY_S ||
        state_find_batch(&service->current, batch->id, &index) == NULL)
        return FALSE;
    const BatchOutlook *outlook = api_outlook(service, index);
    return outlook == NULL || outlook->ready_utc == 0 || outlook->not_before ||
           outlook->ready_utc > holding->outgrown_utc;
}

gboolean holding_due(const Service *service, const Batch *batch, Holding *ret)
{
    const Holding when = {.outgrown_utc = outgrown_utc(service->garden, batch)};

    if (!holding_is_due(service, batch, &when))
        return FALSE;
    holding_of(service, batch, ret);
    return TRUE;
}
