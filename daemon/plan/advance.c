/* SPDX-License-Identifier: MIT */
/* What has passed: chains and batches are moved on, ramp days closed. */
#include "climate/water.h"
#include "grow/emergence.h"
#include "grow/growth.h"
#include "odds/cover-error.h"
#include "plan/marks.h"
#include "plan/plan.h"
#include "plan/sowing.h"
#include "ramp/ramp.h"

#include <math.h>

#define DAY_S 86400.0

typedef struct Moment {
    const PlanPast *past;
    Batch *batches;
    const OutdoorStep *outdoor;
    int64_t utc;
    uint8_t marks;
} Moment;

/* What a batch has used of its water after a half-hour: none indoors, where the grower waters as
 * she passes, nor in the ground. By when nothing is left it was cried out; it is taken as watered
 * then, as other jobs that nobody reports are taken as done. */
static double used_mm(const Garden *garden, const Batch *batch, const OutdoorStep *outdoor,
                      const PlaceStep *met, bool uncovered)
{
    if (batch->stage >= STAGE_PLANTED_OUT || garden->places[batch->place].indoors ||
        batch->container < 0)
        return 0.0;
    const Container *pot = &garden->containers[batch->container];
    const double rain = uncovered ? outdoor->precipitation_mm : 0.0,
                 used = batch->used_mm + water_loss_mm(outdoor, met, uncovered) - rain;
    return used >= water_held_mm(pot->volume_ml, pot->per_tray) ? 0.0 : fmax(0.0, used);
}

static double lowest(const RampState *ramp)
{
    double low_c = NAN;

    for (int i = 0; i < ramp->day_steps; i++)
        low_c = fmin(low_c, ramp->day_air_c[i]); /* fmin passes over NAN */
    return low_c;
}

/* Closes the ramp day; true where it was a check. */
static bool close_day(const Moment *m, int b, Batch *batch)
{
    const PlanPast *past = m->past;
    const Crop *crop = &past->garden->crops[batch->crop];
    const bool hardening = batch->stage == STAGE_HARDENING || batch->stage == STAGE_READY;
    PastDay ended = {.batch = b,
                     .end_utc = m->utc,
                     .low_c = lowest(&batch->ramp),
                     .allowed_c = ramp_allowed_low_c(crop, &batch->ramp),
                     .damage_c = ramp_damage_c(crop, &batch->ramp)};
    const RampDay day = ramp_close_day(crop, hardening, m->utc, &batch->ramp);

    ended.cold_c = day.cold_c;
    ended.exposed_h = day.exposed_h;
    ended.allowance_h = day.allowance_h;
    ended.hardened_to_c = batch->ramp.hardened_to_c;
    ended.check = day.check && batch->stage != STAGE_PLANTED_OUT;
    if (past->days != NULL && *past->n_days < past->days_size)
        past->days[(*past->n_days)++] = ended;
    return ended.check;
}

/* When a batch that is up came up: as it was told, else as a crop's weeks reckon; 0 not known. */
static int64_t emerged_utc(const Crop *crop, const Batch *batch)
{
    if (batch->emerged_utc != 0 || batch->bought)
        return batch->emerged_utc;
    const double days = emergence_days(crop, SOWING_RECKONED_C, SOWING_RECKONED_C);
    return batch->sown_utc + (int64_t)(days * DAY_S);
}

/* Leaves, height, and harmful cold. What was before the record begins is reckoned by usual days of
 * the place. */
static void grow(const Moment *m, double air_c, Batch *batch)
{
    const Crop *crop = &m->past->garden->crops[batch->crop];
    const int64_t up_utc = emerged_utc(crop, batch);
    if (batch->stage < STAGE_EMERGED || batch->stage >= STAGE_PLANTED_OUT || m->utc < up_utc)
        return;
    if (!batch->growth.known && up_utc != 0) {
        double low_c, high_c;
        sowing_warmth(m->past->garden, batch->place, up_utc, &low_c, &high_c);
        const Growth before = batch->growth;
        batch->growth = growth_begin(crop, low_c, high_c, (double)(m->utc - up_utc) / DAY_S);
        batch->growth.height_cm += before.height_cm; /* measured since */
        batch->growth.height_factor = before.height_factor;
        batch->growth.chill_h = before.chill_h;
        batch->growth.hardening_h = before.hardening_h;
    }
    const double hours = STEP_S / 3600.0;
    growth_step(crop, air_c, hours, &batch->growth);
    if (air_c < crop->chill_below_c && growth_chills(crop, &batch->growth, batch->bought))
        batch->growth.chill_h += hours;
    if (batch->stage == STAGE_HARDENING || batch->stage == STAGE_READY)
        batch->growth.hardening_h += hours;
}

/* One half-hour of one batch; true where a ramp day that ended was a check. */
static bool advance_batch(const Moment *m, const Chain *chain, const int *positions, int layer,
                          const PlaceStep *met, int b)
{
    Batch *batch = &m->batches[b];
    const Crop *crop = &m->past->garden->crops[batch->crop];
    const bool checked =
        (m->marks & MARK_CLOSES) && batch->ramp.day_steps > 0 && close_day(m, b, batch);
    bool daylight = m->marks & MARK_DAYLIGHT;
    RampStep step = {
        .air_c = met->air_c,
        .leaf_c = met->leaf_c,
        .exposure_weight =
            daylight ? chain_exposure_weight(chain, positions, layer, m->outdoor->cloud) : 0.0,
        .shelter = chain_shelter(chain, positions, layer),
        .night = m->marks & MARK_NIGHT};
    ramp_step(crop, &step, &batch->ramp);
    batch->used_mm = used_mm(m->past->garden, batch, m->outdoor, met,
                             chain_shelter(chain, positions, layer) == 0.0);
    grow(m, met->air_c, batch);
    return checked;
}

static void advance_chain(const Moment *m, int c, ChainState *state, bool *checked)
{
    const PlanPast *past = m->past;
    const Chain *chain = &past->chains[c];
    int positions[CHAIN_LAYERS_MAX];
    PlaceStep met[CHAIN_LAYERS_MAX];
    for (int l = 0; l < chain->n; l++)
        positions[l] = past->positions[chain->layers[l].place];
    ChainForcing forcing = {
        .now = m->outdoor,
        .next = m->outdoor + 1,
        .deep_c = past->outlook->deep_c,
        .solar_hour = marks_solar_hour(m->utc + STEP_S, past->garden->sites[past->site].longitude)};
    chain_step(chain, positions, &forcing, state, met);
    for (int l = 0; l < chain->n; l++)
        (void)cover_error_apply(past->cover_errors, chain, positions, l, &met[l]);
    for (int b = 0; b < past->n_batches; b++) {
        for (int l = 0; l < chain->n; l++) {
            if (chain->layers[l].place == m->batches[b].place &&
                advance_batch(m, chain, positions, l, &met[l], b))
                checked[b] = true;
        }
    }
}

void plan_advance(const PlanPast *past, ChainState *states, Batch *batches, bool *checked)
{
    const Garden *g = past->garden;
    for (int i = 0; i < past->n; i++) {
        int64_t utc = past->start_utc + (int64_t)i * STEP_S;
        Moment m = {.past = past,
                    .batches = batches,
                    .outdoor = &past->outlook->steps[i],
                    .utc = utc,
                    .marks = marks_at(past->outlook, g->sites[past->site].latitude, utc)};
        for (int c = 0; c < past->n_chains; c++) {
            if (g->places[past->chains[c].layers[0].place].site == past->site)
                advance_chain(&m, c, &states[c], checked);
        }
    }
}
