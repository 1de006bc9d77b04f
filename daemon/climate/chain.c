/* SPDX-License-Identifier: MIT */
/*
 * One half-hour of a chain. Cover and air store nothing and are eliminated exactly; the floors go
 * by the trapezoidal rule: with m the middle of a sub-step, (K + 2C/dt) m = heat(m) + 2C/dt ·
 * start, and the end is 2m − start. Sub-steps are short enough for that never to overshoot.
 * Conductances are held over the half-hour: wind by its mean, radiative ones by temperatures
 * foreseen for its middle. At its end air and covers are found twice, the second time with the wind
 * of the end and radiative conductances from the first: where weather leaps, covers do too.
 */
#include "climate/chain-heaters.h"

#include <math.h>

#define OPENER_SWEEPS 12  /* chosen: openers nested in one another take turns */
#define OPENER_STEPS 20   /* chosen: four or five are usual */
#define OPENER_CLOSE 1e-4 /* of the travel, 0.001 K of its law; chosen */

/* Mean outdoors over the step. */
typedef struct Outdoors {
    double wind_ms, radiation_wm2, air_c, sky_c;
} Outdoors;

static void step_indoors(const Chain *chain, double solar_hour, ChainState *state, PlaceStep *steps)
{
    const double pi = 3.14159265358979323846;
    const double rise_h = LAW_INDOOR_HIGH_H - LAW_INDOOR_LOW_H;
    const double since_low_h = fmod(solar_hour - LAW_INDOOR_LOW_H + 48, 24);
    /* two half cosines, up to the high and down to the next low */
    const double angle =
        since_low_h < rise_h ? since_low_h / rise_h : 1 + (since_low_h - rise_h) / (24 - rise_h);
    const double share = 0.5 - 0.5 * cos(pi * angle);
    const double room_c =
        chain->indoor_night_c + (chain->indoor_day_c - chain->indoor_night_c) * share;

    for (int i = 0; i < chain->n; i++) {
        const ChainLayer *layer = &chain->layers[i];
        /* a heater whose power is known lifts so much above the room, and no more */
        const double lift_k = chain->lift_k > 0 ? chain->lift_k : INFINITY;
        const double air_c = isnan(layer->set_point_c)
                                 ? room_c
                                 : fmax(room_c, fmin(layer->set_point_c, room_c + lift_k));

        state->surface_c[i] = state->water_c[i] = state->deep_c[i] = state->cover_c[i] = air_c;
        steps[i] = (PlaceStep){.air_c = air_c, .leaf_c = air_c, .surface_c = air_c};
    }
}

/* Air and covers at once, with the floors of `state`; `system` is factored. */
static void settle(const Chain *chain, const Standing *standing, System *system, const Drive *drive,
                   const ChainState *state, double air_c, double sky_c, double *ret_nodes)
{
    Heaters heaters;
    double watts[HEATERS_MAX];

    chain_factor(system, standing, drive, 0);
    chain_drive_heat(drive, chain->n, air_c, sky_c, ret_nodes);
    for (int i = 0; i < chain->n; i++) {
        ret_nodes[NODES * i + NODE_LOWER] = state->deep_c[i];
        ret_nodes[NODES * i + NODE_UPPER] = state->surface_c[i];
    }
    chain_solve(system, ret_nodes);
    chain_heaters(chain, standing, system, &heaters);
    chain_hold_set_points(&heaters, chain->n, ret_nodes, watts);
}

static double air_under(const double *nodes, int lid, double out_c)
{
    return lid < 0 ? out_c : nodes[NODES * lid + NODE_AIR];
}

/* What barrels warm by in a half-hour, K. */
static double water_gain_k(const ChainLayer *layer, double air_c, double water_c)
{
    return layer->water_lm2 > 0 ? STEP_S * LAW_WATER_WLK / LAW_WATER_J_LK * (air_c - water_c) : 0;
}

/* A cover that is off has the temperature of the air that it will be put back into. */
static void keep_covers(const Chain *chain, const Standing *standing, const double *nodes,
                        double out_c, ChainState *state)
{
    for (int i = 0; i < chain->n; i++)
        state->cover_c[i] = standing[i].present ? nodes[NODES * i + NODE_COVER]
                                                : air_under(nodes, standing[i].lid, out_c);
}

/* Air and covers at once, with the openers so far open. */
static void settle_open(const Chain *chain, const int *positions, const Outdoors *mean,
                        double deep_c, const ChainState *state, const double *opening,
                        Standing *ret_standing, double *ret_nodes)
{
    System system;
    Drive drive;

    chain_stand(chain, positions, opening, mean->wind_ms, mean->radiation_wm2, ret_standing);
    chain_assemble(chain, ret_standing, state, mean->sky_c, deep_c, &system, &drive);
    settle(chain, ret_standing, &system, &drive, state, mean->air_c, mean->sky_c, ret_nodes);
}

/* How far the law of opener `i` asks for more than `opening[i]`, given the air that this makes. */
static double opener_wants(const Chain *chain, const int *positions, const Outdoors *mean,
                           double deep_c, const ChainState *state, const double *opening, int i)
{
    Standing standing[CHAIN_LAYERS_MAX];
    double nodes[NODES_MAX];

    settle_open(chain, positions, mean, deep_c, state, opening, standing, nodes);
    const double above_k = nodes[NODES * i + NODE_AIR] - chain->layers[i].cover.opener_from_c;
    return fmax(0, fmin(1, above_k / LAW_OPENER_RANGE_K)) - opening[i];
}

/* Where the law of opener `i` and the air agree, from shut to wide: by false position, with the
 * value halved at an end that stays (Illinois). The wider, the less it is wanted. */
static void settle_opener(const Chain *chain, const int *positions, const Outdoors *mean,
                          double deep_c, const ChainState *state, double *opening, int i)
{
    double end[2] = {0, 1}, wants[2];
    int stays = -1;

    for (int e = 0; e < 2; e++) {
        opening[i] = end[e];
        wants[e] = opener_wants(chain, positions, mean, deep_c, state, opening, i);
        if (e == 0 ? wants[e] <= 0 : wants[e] >= 0)
            return;
    }
    for (int step = 0; step < OPENER_STEPS; step++) {
        opening[i] = end[0] + (end[1] - end[0]) * wants[0] / (wants[0] - wants[1]);
        const double now = opener_wants(chain, positions, mean, deep_c, state, opening, i);
        const int e = now > 0 ? 0 : 1;

        if (fabs(now) < OPENER_CLOSE)
            return;
        end[e] = opening[i];
        wants[e] = now;
        if (stays == 1 - e)
            wants[1 - e] *= 0.5;
        stays = 1 - e;
    }
}

/*
 * Automatic openers: opening and air are solved together, with the floors at the start of the step
 * and the mean weather over it, and the opening is held for the half-hour. (From the air of the
 * step before it would hunt: the air answers at once, and by more than it asked for.) Radiative
 * conductances are those of the covers shut under this weather, not the one before.
 */
static void settle_openers(const Chain *chain, const int *positions, const Outdoors *mean,
                           double deep_c, const ChainState *state, double *opening)
{
    Standing standing[CHAIN_LAYERS_MAX];
    ChainState begin;
    double nodes[NODES_MAX];
    int n = 0;

    for (int i = 0; i < chain->n; i++) {
        const ChainLayer *layer = &chain->layers[i];

        opening[i] = 0;
        n += layer->covered && !isnan(layer->cover.opener_from_c);
    }
    if (n == 0)
        return;
    begin = *state;
    settle_open(chain, positions, mean, deep_c, state, opening, standing, nodes);
    keep_covers(chain, standing, nodes, mean->air_c, &begin);
    for (int sweep = 0; sweep < OPENER_SWEEPS; sweep++) {
        double moved = 0;

        for (int i = 0; i < chain->n; i++) {
            const ChainLayer *layer = &chain->layers[i];
            const double before = opening[i];

            if (!layer->covered || isnan(layer->cover.opener_from_c) ||
                chain_position(layer, positions, i)->open)
                continue;
            settle_opener(chain, positions, mean, deep_c, &begin, opening, i);
            moved = fmax(moved, fabs(opening[i] - before));
        }
        if (n == 1 || moved < 1e-3)
            break;
    }
}

/*
 * Temperatures at the middle of the half-hour, as radiative conductances need them: air and covers
 * under the mean weather, upper floors moved on by what they gain at its start. Linear in the step,
 * which is enough for a coefficient.
 */
static void foresee(const Chain *chain, const Standing *standing, System *system,
                    const Drive *drive, const Outdoors *mean, const ChainState *state,
                    ChainState *ret)
{
    double nodes[NODES_MAX];

    settle(chain, standing, system, drive, state, mean->air_c, mean->sky_c, nodes);
    for (int i = 0; i < chain->n; i++) {
        const Pair *floor = &system->floor[i];
        const int lower = NODES * i + NODE_LOWER, upper = NODES * i + NODE_UPPER;
        double gain = drive->to_air[upper] * mean->air_c + drive->to_sky[upper] * mean->sky_c +
                      drive->source[upper] - floor->both * nodes[lower] - floor->two * nodes[upper];

        for (int lid = standing[i].lid; lid >= 0; lid = standing[lid].up)
            gain -= floor->to[lid].two_air * nodes[NODES * lid + NODE_AIR] +
                    floor->to[lid].two_cover * nodes[NODES * lid + NODE_COVER];
        ret->surface_c[i] = state->surface_c[i] + 0.5 * STEP_S * gain / drive->capacity[upper];
    }
    keep_covers(chain, standing, nodes, mean->air_c, ret);
    for (int i = 0; i < chain->n; i++)
        ret->water_c[i] =
            state->water_c[i] + 0.5 * water_gain_k(&chain->layers[i],
                                                   air_under(nodes, standing[i].lid, mean->air_c),
                                                   state->water_c[i]);
}

int chain_substeps(const Chain *chain, const Standing *standing, const System *system,
                   const Drive *drive)
{
    double longest_s = LAW_SUBSTEP_MAX_S;

    for (int i = 0; i < chain->n; i++) {
        const double all[2] = {system->floor[i].one, system->floor[i].two};

        if (chain->layers[i].cable_wm2 > 0)
            longest_s = fmin(longest_s, LAW_SUBSTEP_CABLE_S);
        if (standing[i].floor_area <= 2 * LAW_FLOOR_SHARE_MIN * standing[i].area)
            continue;
        for (int k = NODE_LOWER; k <= NODE_UPPER; k++) {
            const double store = LAW_SUBSTEP_OF_FASTEST * drive->capacity[NODES * i + k];

            if (store < longest_s * all[k]) /* seldom: the division waits for it */
                longest_s = store / all[k];
        }
    }
    int n = 1;

    while (n * longest_s < STEP_S)
        n++;
    return n;
}

/* The floors over the half-hour, by `system`, which is factored; covers as they come out at its
 * end, from the last two sub-steps. */
static void run_floors(const Chain *chain, const Standing *standing, System *system,
                       const Drive *drive, const OutdoorStep *now, const OutdoorStep *next,
                       ChainState *state)
{
    const int n = chain_substeps(chain, standing, system, drive);
    const double dt_s = (double)STEP_S / n, per_s = 2 / dt_s, share_of_one = 1.0 / n;
    Heaters heaters;
    double middles[2][NODES_MAX], watts[HEATERS_MAX];
    double *nodes = middles[0], *before, water_air_c[CHAIN_LAYERS_MAX];

    chain_factor(system, standing, drive, dt_s);
    chain_heaters(chain, standing, system, &heaters);
    for (int i = 0; i < chain->n; i++)
        water_air_c[i] = 0;
    int step = 0;
    do { /* at least twice: a sub-step is half of STEP_S at most */
        const double share = (step + 0.5) * share_of_one;
        const double out_c = now->air_c + (next->air_c - now->air_c) * share;

        before = nodes;
        nodes = middles[step % 2];
        chain_drive_heat(drive, chain->n, out_c, now->sky_c + (next->sky_c - now->sky_c) * share,
                         nodes);
        for (int i = 0; i < chain->n; i++) {
            nodes[NODES * i + NODE_LOWER] +=
                per_s * drive->capacity[NODES * i + NODE_LOWER] * state->deep_c[i];
            nodes[NODES * i + NODE_UPPER] +=
                per_s * drive->capacity[NODES * i + NODE_UPPER] * state->surface_c[i];
        }
        chain_solve(system, nodes);
        chain_set_cables(chain, state, nodes, &heaters);
        chain_hold_set_points(&heaters, chain->n, nodes, watts);
        for (int i = 0; i < chain->n; i++) {
            state->deep_c[i] = 2 * nodes[NODES * i + NODE_LOWER] - state->deep_c[i];
            state->surface_c[i] = 2 * nodes[NODES * i + NODE_UPPER] - state->surface_c[i];
            water_air_c[i] += share_of_one * air_under(nodes, standing[i].lid, out_c);
        }
    } while (++step < n);
    for (int k = 0; k < NODES * chain->n; k++)
        nodes[k] += 0.5 * (nodes[k] - before[k]);
    keep_covers(chain, standing, nodes, next->air_c, state);
    /* water gets what the air over it lost to it, as it was foreseen for the middle */
    for (int i = 0; i < chain->n; i++)
        state->water_c[i] += water_gain_k(&chain->layers[i], water_air_c[i], drive->water_c[i]);
}

static double fourth_power(double temperature_c)
{
    const double square = (temperature_c + LAW_KELVIN) * (temperature_c + LAW_KELVIN);

    return square * square;
}

/* Fourth power of what the plants under a cover see above them: its inner face, and through it what
 * is above it. `nodes` are its air and itself. */
static double seen_under(const Standing *cover, const double *nodes, double above)
{
    const double own = fourth_power(nodes[0] + cover->inside * (nodes[1] - nodes[0]));
    const double both = cover->ir_emissivity + cover->ir_transmittance;

    return both > 0 ? (cover->ir_emissivity * own + cover->ir_transmittance * above) / both : own;
}

void chain_hold(const Chain *chain, const int *positions, const ChainForcing *forcing,
                const ChainState *state, double *ret_opening, Standing *ret_standing, System *ret,
                Drive *ret_drive)
{
    const OutdoorStep *now = forcing->now, *next = forcing->next;
    ChainState middle;
    const Outdoors mean = {
        .wind_ms = 0.5 * (now->wind_ms + next->wind_ms),
        .radiation_wm2 = now->radiation_wm2,
        .air_c = 0.5 * (now->air_c + next->air_c),
        .sky_c = 0.5 * (now->sky_c + next->sky_c),
    };
    settle_openers(chain, positions, &mean, forcing->deep_c, state, ret_opening);
    chain_stand(chain, positions, ret_opening, mean.wind_ms, mean.radiation_wm2, ret_standing);
    chain_assemble(chain, ret_standing, state, mean.sky_c, forcing->deep_c, ret, ret_drive);
    foresee(chain, ret_standing, ret, ret_drive, &mean, state, &middle);
    chain_assemble(chain, ret_standing, &middle, mean.sky_c, forcing->deep_c, ret, ret_drive);
}

void chain_step(const Chain *chain, const int *positions, const ChainForcing *forcing,
                ChainState *state, PlaceStep *steps)
{
    const OutdoorStep *now = forcing->now, *next = forcing->next;
    Standing standing[CHAIN_LAYERS_MAX];
    System system;
    Drive drive;
    double opening[CHAIN_LAYERS_MAX], nodes[NODES_MAX], seen[CHAIN_LAYERS_MAX];

    if (chain->indoors) {
        step_indoors(chain, forcing->solar_hour, state, steps);
        return;
    }
    chain_hold(chain, positions, forcing, state, opening, standing, &system, &drive);
    run_floors(chain, standing, &system, &drive, now, next, state);
    chain_stand_in_wind(chain, positions, opening, next->wind_ms, standing);
    chain_assemble(chain, standing, state, next->sky_c, forcing->deep_c, &system, &drive);
    settle(chain, standing, &system, &drive, state, next->air_c, next->sky_c, nodes);
    keep_covers(chain, standing, nodes, next->air_c, state);

    const double sky = fourth_power(next->sky_c);
    for (int i = 0; i < chain->n; i++) {
        const Standing *s = &standing[i];
        const double air_c = air_under(nodes, s->lid, next->air_c);
        const double wind_ms = s->lid >= 0 ? 0 : LAW_WIND_AT_COVER * next->wind_ms;
        const double above = s->up < 0 ? sky : seen[s->up];

        if (s->present)
            seen[i] = seen_under(s, nodes + NODES * i + NODE_AIR, above);
        const double above_c = sqrt(sqrt(s->present ? seen[i] : above)) - LAW_KELVIN;

        steps[i] = (PlaceStep){
            .air_c = air_c,
            .leaf_c = leaf_c(air_c, above_c, state->surface_c[i], s->light_wm2, wind_ms),
            .surface_c = state->surface_c[i],
            .light_wm2 = s->light_wm2,
            .wind_ms = wind_ms,
        };
    }
}
