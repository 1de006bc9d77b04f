/* SPDX-License-Identifier: MIT */
/*
 * The conductances of a chain as one symmetric system, eliminated from the innermost layers
 * outwards.
 *
 * A layer couples only to itself and to the air and covers above it, so each has a small dense
 * front with its own nodes first and the path to the sky after them; what is left of a front once
 * its own nodes are eliminated is added to the front of the layer outside. The matrix is symmetric
 * by construction: what leaves one node enters another, to rounding. It is diagonally dominant, so
 * no pivots are exchanged.
 */
#include "climate/chain-internal.h"

#include <math.h>
#include <string.h>

double chain_radiative_wm2k(double one_c, double other_c)
{
    const double one = one_c + LAW_KELVIN, other = other_c + LAW_KELVIN;

    return LAW_SURFACE_EMISSIVITY * LAW_STEFAN_BOLTZMANN * (one * one + other * other) *
           (one + other);
}

static double exchange(const ChainLayer *layer, const int *positions, int i, double opening,
                       double wind_ms)
{
    const CoverPosition *position = chain_position(layer, positions, i);
    double still = position->exchange_wm2k, per_ms = position->exchange_per_ms;

    if (!isnan(layer->cover.opener_from_c)) {
        const Cover *cover = &layer->cover;
        const CoverPosition *widest = position;

        for (int p = 0; p < cover->n_positions; p++)
            if (!cover->positions[p].open)
                widest = &cover->positions[p];
        still += opening * (widest->exchange_wm2k - still);
        per_ms += opening * (widest->exchange_per_ms - per_ms);
    }
    return still + per_ms * wind_ms;
}

void chain_stand(const Chain *chain, const int *positions, const double *opening,
                 double wind_10m_ms, double radiation_wm2, Standing *ret)
{
    for (int i = 0; i < chain->n; i++) {
        const ChainLayer *layer = &chain->layers[i];
        const bool root = layer->parent < 0;
        Standing *s = &ret[i];

        s->present = layer->covered && !chain_position(layer, positions, i)->open;
        s->up = root ? -1 : ret[layer->parent].lid;
        s->lid = s->present ? i : s->up;
        s->area = root ? 1 : layer->footprint * ret[layer->parent].area;
        s->floor_area = s->lit_area =
            1; /* shares of the area until the children have taken theirs */
        s->wind_ms = s->up < 0 ? LAW_WIND_AT_COVER * wind_10m_ms : 0;
        s->light_above_wm2 = root ? radiation_wm2 : ret[layer->parent].light_wm2;
        s->light_wm2 = s->light_above_wm2 * (s->present ? layer->cover.solar_transmittance : 1);
        /* shut over moist soil it is wet day and night; where air passes, the sun dries it */
        const bool shut = chain_position(layer, positions, i) == layer->cover.positions;
        const bool wet = layer->cover.wets && (shut || radiation_wm2 < LAW_WET_BELOW_WM2);
        s->ir_transmittance =
            wet ? layer->cover.wet_ir_transmittance : layer->cover.ir_transmittance;
        s->ir_emissivity = wet ? layer->cover.wet_ir_emissivity : layer->cover.ir_emissivity;
        s->inside = 1 / (1 + LAW_COVER_INSIDE_ALL * layer->cover.insulation_m2kw);
        s->exchange_wm2k = s->present ? exchange(layer, positions, i, opening[i], s->wind_ms) : 0;
        if (!root) {
            ret[layer->parent].lit_area -= layer->footprint;
            if (layer->floor != FLOOR_SHELF)
                ret[layer->parent].floor_area -= layer->footprint;
        }
    }
    for (int i = 0; i < chain->n; i++) {
        ret[i].floor_area = fmax(ret[i].floor_area, LAW_FLOOR_SHARE_MIN) * ret[i].area;
        ret[i].lit_area = fmax(ret[i].lit_area, 0) * ret[i].area;
    }
}

/* Nodes of each front, and where it lies in the pool. */
static void lay_out(const Standing *standing, int n, System *ret)
{
    int start = 0;

    ret->n = n;
    ret->first = NODE_LOWER;
    for (int i = 0; i < n; i++) {
        const int own = standing[i].present ? NODES : NODE_AIR;
        uint8_t *node = ret->node[i];
        int length = 0;

        for (; length < own; length++)
            node[length] = (uint8_t)(NODES * i + length);
        for (int up = standing[i].up; up >= 0; up = standing[up].up) {
            node[length++] = (uint8_t)(NODES * up + NODE_AIR);
            node[length++] = (uint8_t)(NODES * up + NODE_COVER);
        }
        ret->own[i] = own;
        ret->length[i] = length;
        ret->start[i] = start;
        start += length * length;
    }
    memset(ret->pool, 0, (size_t)start * sizeof ret->pool[0]);
}

/* A conductance between two nodes of a front; only the upper triangle is kept. */
static inline void join(double *front, int length, int a, int b, double k)
{
    front[a * length + a] += k;
    front[b * length + b] += k;
    front[a * length + b] -= k;
}

/* The front being filled. */
typedef struct Filling {
    const Chain *chain;
    const Standing *standing;
    const ChainState *state;
    double sky_c;
    System *system;
    Drive *drive;
} Filling;

/* Node `a` of front i meets the air at `column` of its path, or outdoors where the path ends
 * before. */
static inline void join_air(Filling *f, int i, int a, int column, double k)
{
    const int length = f->system->length[i];
    double *front = f->system->pool + f->system->start[i];

    if (column < length) {
        join(front, length, a, column, k);
    } else {
        front[a * length + a] += k;
        f->drive->to_air[f->system->node[i][a]] += k;
    }
}

/* Node `a`, at `temperature_c`, radiates to the cover `lid` at `column`, and through it to those
 * above and the sky. */
static inline void join_above(Filling *f, int i, int a, double temperature_c, int lid, int column,
                              double area)
{
    const int length = f->system->length[i];
    double *front = f->system->pool + f->system->start[i];

    for (; lid >= 0; lid = f->standing[lid].up, column += 2) {
        const Standing *cover = &f->standing[lid];

        join(front, length, a, column,
             area * cover->ir_emissivity * cover->inside *
                 chain_radiative_wm2k(temperature_c, f->state->cover_c[lid]));
        area *= cover->ir_transmittance;
    }
    const double k = area * chain_radiative_wm2k(temperature_c, f->sky_c);
    front[a * length + a] += k;
    f->drive->to_sky[f->system->node[i][a]] += k;
}

static inline void fill_floor(Filling *f, int i)
{
    const Standing *s = &f->standing[i];
    const FloorLaw *law = chain_floor_law(&f->chain->layers[i]);
    const int length = f->system->length[i], lower = NODES * i + NODE_LOWER,
              upper = NODES * i + NODE_UPPER;
    double *front = f->system->pool + f->system->start[i];
    Drive *drive = f->drive;
    /* uncovered, under the open sky the wind counts; under a parent's cover there is none */
    const double to_air = LAW_FLOOR + (s->present ? 0 : LAW_FLOOR_PER_MS * s->wind_ms);

    drive->capacity[lower] = 1000 * law->lower_kj * s->floor_area;
    drive->capacity[upper] = 1000 * law->upper_kj * s->floor_area;
    join(front, length, NODE_LOWER, NODE_UPPER, law->between_wm2k * s->floor_area);
    front[0] += law->deep_wm2k * s->floor_area;
    drive->to_deep[lower] = law->deep_wm2k * s->floor_area;
    join_air(f, i, NODE_LOWER, NODE_AIR, law->lower_air_wm2k * s->floor_area);
    join_air(f, i, NODE_UPPER, NODE_AIR, law->faces * to_air * s->floor_area);
    join_above(f, i, NODE_UPPER, f->state->surface_c[i], s->lid, NODE_COVER, s->floor_area);
    const double water = LAW_WATER_WLK * f->chain->layers[i].water_lm2 * s->area;
    if (water > 0 && s->lid >= 0) {
        /* it hardly moves in a half-hour: given, as the ground far below is */
        front[NODE_AIR * length + NODE_AIR] += water;
        drive->source[NODES * s->lid + NODE_AIR] += water * f->state->water_c[i];
    }
}

static inline void fill_cover(Filling *f, int i)
{
    const Standing *s = &f->standing[i];
    const Cover *cover = &f->chain->layers[i].cover;
    const double skin = cover->area_ratio * s->area;
    const int outside = NODES; /* column of the air outside it */

    join(f->system->pool + f->system->start[i], f->system->length[i], NODE_AIR, NODE_COVER,
         LAW_COVER_INSIDE * s->inside * skin);
    join_air(f, i, NODE_AIR, outside, s->exchange_wm2k * s->area);
    join_air(f, i, NODE_COVER, outside,
             (LAW_COVER_OUTSIDE + LAW_COVER_OUTSIDE_PER_MS * s->wind_ms) * skin);
    join_above(f, i, NODE_COVER, f->state->cover_c[i], s->up, outside + 1, s->ir_emissivity * skin);
    f->drive->source[NODES * i + NODE_COVER] += LAW_SUN_COVER * s->light_above_wm2 * skin;
}

/* Light that falls on the layer's own floor and plants. */
static inline void fill_sun(Filling *f, int i)
{
    const Standing *s = &f->standing[i];
    const double sun = LAW_SUN_ABSORBED * s->light_wm2 * (1 - LAW_SUN_LATENT) * s->lit_area;
    /* in the open the air is not warmed by it */
    const double air = s->lid < 0 ? 0 : LAW_SUN_AIR * sun;

    f->drive->source[NODES * i + NODE_UPPER] += sun - air;
    if (s->lid >= 0)
        f->drive->source[NODES * s->lid + NODE_AIR] += air;
}

void chain_assemble(const Chain *chain, const Standing *standing, const ChainState *state,
                    double sky_c, double deep_c, System *ret, Drive *ret_drive)
{
    Filling f = {chain, standing, state, sky_c, ret, ret_drive};

    lay_out(standing, chain->n, ret);
    for (int k = 0; k < NODES * chain->n; k++)
        ret_drive->to_air[k] = ret_drive->to_sky[k] = ret_drive->to_deep[k] = ret_drive->source[k] =
            ret_drive->capacity[k] = 0;
    ret_drive->deep_c = deep_c;
    memcpy(ret_drive->water_c, state->water_c, sizeof ret_drive->water_c);
    for (int i = 0; i < chain->n; i++) {
        fill_floor(&f, i);
        if (standing[i].present)
            fill_cover(&f, i);
        fill_sun(&f, i);
    }
}

void chain_factor(System *system, const Standing *standing, const Drive *drive, double dt_s)
{
    system->first = dt_s > 0 ? NODE_LOWER : NODE_AIR;
    for (int i = system->n - 1; i >= 0; i--) {
        const int length = system->length[i], own = system->own[i], rest = length - own;
        double *front = system->pool + system->start[i];

        if (dt_s > 0)
            for (int k = NODE_LOWER; k <= NODE_UPPER; k++)
                front[k * length + k] += 2 * drive->capacity[NODES * i + k] / dt_s;
        for (int k = system->first; k < own; k++) {
            double *row = front + k * length;

            row[k] = 1 / row[k];
            for (int r = k + 1; r < length; r++) {
                const double share = row[r] * row[k];

                if (share != 0)
                    for (int c = r; c < length; c++)
                        front[r * length + c] -= share * row[c];
            }
        }
        if (rest == 0)
            continue;
        /* the rest of the path is the front of the layer outside, from its air on */
        const int up = standing[i].up, up_length = system->length[up];
        double *outside = system->pool + system->start[up];
        for (int r = 0; r < rest; r++)
            for (int c = r; c < rest; c++)
                outside[(NODE_AIR + r) * up_length + NODE_AIR + c] +=
                    front[(own + r) * length + own + c];
    }
}

void chain_solve(const System *factored, double *nodes)
{
    for (int i = factored->n - 1; i >= 0; i--) {
        const uint8_t *node = factored->node[i];
        const int length = factored->length[i];
        const double *row = factored->pool + factored->start[i];

        for (int k = 0; k < factored->own[i]; k++, row += length) {
            const bool given = k < factored->first;
            const double share = given ? nodes[node[k]] : nodes[node[k]] * row[k];

            for (int r = given ? factored->first : k + 1; r < length; r++)
                nodes[node[r]] -= share * row[r];
        }
    }
    for (int i = 0; i < factored->n; i++) {
        const uint8_t *node = factored->node[i];
        const int length = factored->length[i];

        for (int k = factored->own[i] - 1; k >= factored->first; k--) {
            const double *row = factored->pool + factored->start[i] + k * length;
            double heat = nodes[node[k]];

            for (int r = k + 1; r < length; r++)
                heat -= row[r] * nodes[node[r]];
            nodes[node[k]] = heat * row[k];
        }
    }
}

void chain_drive_heat(const Drive *drive, int n, double air_c, double sky_c, double *ret)
{
    for (int k = 0; k < NODES * n; k++)
        ret[k] = drive->to_air[k] * air_c + drive->to_sky[k] * sky_c +
                 drive->to_deep[k] * drive->deep_c + drive->source[k];
}
