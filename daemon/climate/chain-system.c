/* SPDX-License-Identifier: MIT */
/*
 * The conductances of a chain as one symmetric system, eliminated from the innermost layers
 * outwards.
 *
 * A layer couples only to itself and to the air and covers above it. Nodes go in pairs, floors and
 * air with cover, and each pair has a block of two by two with itself and with every cover on its
 * path to the sky. Eliminating a pair changes only blocks among the covers of that path, which are
 * there already, so nothing fills in. The matrix is symmetric by construction: what leaves one node
 * enters another, to rounding. It is diagonally dominant, so no pivots are exchanged.
 */
#include "climate/chain-internal.h"

#include <math.h>

/* fmax() is a call, for the sake of NAN */
static inline double at_least(double value, double least)
{
    return value < least ? least : value;
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

void chain_stand_in_wind(const Chain *chain, const int *positions, const double *opening,
                         double wind_10m_ms, Standing *standing)
{
    for (int i = 0; i < chain->n; i++) {
        Standing *s = &standing[i];

        s->wind_ms = s->up < 0 ? LAW_WIND_AT_COVER * wind_10m_ms : 0;
        s->exchange_wm2k =
            s->present ? exchange(&chain->layers[i], positions, i, opening[i], s->wind_ms) : 0;
    }
}

void chain_stand(const Chain *chain, const int *positions, const double *opening,
                 double wind_10m_ms, double radiation_wm2, Standing *ret)
{
    for (int i = 0; i < chain->n; i++) {
        const ChainLayer *layer = &chain->layers[i];
        const Cover *cover = &layer->cover;
        const CoverPosition *position = chain_position(layer, positions, i);
        const bool root = layer->parent < 0;
        Standing *s = &ret[i];

        s->present = layer->covered && !position->open;
        s->up = root ? -1 : ret[layer->parent].lid;
        s->lid = s->present ? i : s->up;
        s->area = root ? 1 : layer->footprint * ret[layer->parent].area;
        s->floor_area = s->lit_area =
            1; /* shares of the area until the children have taken theirs */
        s->light_above_wm2 = root ? radiation_wm2 : ret[layer->parent].light_wm2;
        s->light_wm2 = s->light_above_wm2 * (s->present ? cover->solar_transmittance : 1);
        /* shut over moist soil it is wet day and night; where air passes, the sun dries it */
        const bool shut = position == cover->positions;
        const bool wet = cover->wets && (shut || radiation_wm2 < LAW_WET_BELOW_WM2);
        s->ir_transmittance = wet ? cover->wet_ir_transmittance : cover->ir_transmittance;
        s->ir_emissivity = wet ? cover->wet_ir_emissivity : cover->ir_emissivity;
        s->inside = 1 / (1 + LAW_COVER_INSIDE_ALL * cover->insulation_m2kw);
        if (!root) {
            ret[layer->parent].lit_area -= layer->footprint;
            if (layer->floor != FLOOR_SHELF)
                ret[layer->parent].floor_area -= layer->footprint;
        }
    }
    for (int i = 0; i < chain->n; i++) {
        Standing *s = &ret[i];

        s->floor_area = at_least(s->floor_area, LAW_FLOOR_SHARE_MIN) * s->area;
        s->lit_area = at_least(s->lit_area, 0) * s->area;
    }
    chain_stand_in_wind(chain, positions, opening, wind_10m_ms, ret);
}

/* The system being filled, layer by layer; parents come first. */
typedef struct Filling {
    const Chain *chain;
    const Standing *standing;
    const ChainState *state;
    double sky_c;
    System *system;
    Drive *drive;
} Filling;

/* Node `two` of `pair`, at `temperature_c`, radiates to the cover `lid`, and through it to those
 * above and the sky. Returns the conductance to the sky. */
static inline double join_above(Filling *f, Pair *pair, double temperature_c, int lid, double area)
{
    double all = 0;

    for (; lid >= 0; lid = f->standing[lid].up) {
        const Standing *cover = &f->standing[lid];
        const double k = area * cover->ir_emissivity * cover->inside *
                         chain_radiative_wm2k(temperature_c, f->state->cover_c[lid]);

        all += k;
        pair->to[lid].two_cover = -k;
        f->system->cover[lid].two += k;
        area *= cover->ir_transmittance;
    }
    const double k = area * chain_radiative_wm2k(temperature_c, f->sky_c);
    pair->two += all + k;
    return k;
}

/* The nodes of `pair` meet the air under `lid`, or outdoors, where the drive brings it to `node`
 * and the one after. */
static inline void join_air(Filling *f, Pair *pair, int node, int lid, double one, double two)
{
    pair->one += one;
    pair->two += two;
    if (lid < 0) {
        f->drive->to_air[node] = one;
        f->drive->to_air[node + 1] = two;
        return;
    }
    f->drive->to_air[node] = f->drive->to_air[node + 1] = 0;
    for (int up = lid; up >= 0; up = f->standing[up].up)
        pair->to[up] = (Joint){0, 0, 0, 0};
    pair->to[lid].one_air = -one;
    pair->to[lid].two_air = -two;
    f->system->cover[lid].one += one + two;
}

static inline void fill_floor(Filling *f, int i)
{
    const Standing *s = &f->standing[i];
    const FloorLaw *law = chain_floor_law(&f->chain->layers[i]);
    const int lower = NODES * i + NODE_LOWER, upper = NODES * i + NODE_UPPER;
    const double between = law->between_wm2k * s->floor_area, deep = law->deep_wm2k * s->floor_area;
    Pair *pair = &f->system->floor[i];
    Drive *drive = f->drive;
    /* uncovered, under the open sky the wind counts; under a parent's cover there is none */
    const double to_air = LAW_FLOOR + (s->present ? 0 : LAW_FLOOR_PER_MS * s->wind_ms);

    drive->capacity[lower] = 1000 * law->lower_kj * s->floor_area;
    drive->capacity[upper] = 1000 * law->upper_kj * s->floor_area;
    drive->to_deep[lower] = deep;
    drive->to_deep[upper] = drive->to_sky[lower] = drive->source[lower] = 0;
    pair->one = between + deep;
    pair->two = between;
    pair->both = -between;
    join_air(f, pair, lower, s->lid, law->lower_air_wm2k * s->floor_area,
             law->faces * to_air * s->floor_area);
    drive->to_sky[upper] = join_above(f, pair, f->state->surface_c[i], s->lid, s->floor_area);
    const double water = LAW_WATER_WLK * f->chain->layers[i].water_lm2 * s->area;
    if (water > 0 && s->lid >= 0) {
        /* it hardly moves in a half-hour: given, as the ground far below is */
        f->system->cover[s->lid].one += water;
        drive->source[NODES * s->lid + NODE_AIR] += water * f->state->water_c[i];
    }
}

static inline void fill_cover(Filling *f, int i)
{
    const Standing *s = &f->standing[i];
    const Cover *cover = &f->chain->layers[i].cover;
    const double skin = cover->area_ratio * s->area;
    const double within = LAW_COVER_INSIDE * s->inside * skin;
    const int air = NODES * i + NODE_AIR, sheet = NODES * i + NODE_COVER;
    Pair *pair = &f->system->cover[i];
    Drive *drive = f->drive;

    drive->capacity[air] = drive->capacity[sheet] = drive->to_deep[air] = drive->to_deep[sheet] = 0;
    drive->to_sky[air] = drive->to_air[air] = drive->source[air] = 0;
    if (!s->present) {
        drive->to_sky[sheet] = drive->to_air[sheet] = drive->source[sheet] = 0;
        return;
    }
    pair->one = pair->two = within;
    pair->both = -within;
    join_air(f, pair, air, s->up, s->exchange_wm2k * s->area,
             (LAW_COVER_OUTSIDE + LAW_COVER_OUTSIDE_PER_MS * s->wind_ms) * skin);
    drive->to_sky[sheet] =
        join_above(f, pair, f->state->cover_c[i], s->up, s->ir_emissivity * skin);
    drive->source[sheet] = LAW_SUN_COVER * s->light_above_wm2 * skin;
}

/* Light that falls on the layer's own floor and plants. */
static inline void fill_sun(Filling *f, int i)
{
    const Standing *s = &f->standing[i];
    const double sun = LAW_SUN_ABSORBED * s->light_wm2 * (1 - LAW_SUN_LATENT) * s->lit_area;
    /* in the open the air is not warmed by it */
    const double air = s->lid < 0 ? 0 : LAW_SUN_AIR * sun;

    f->drive->source[NODES * i + NODE_UPPER] = sun - air;
    if (s->lid >= 0)
        f->drive->source[NODES * s->lid + NODE_AIR] += air;
}

void chain_assemble(const Chain *chain, const Standing *standing, const ChainState *state,
                    double sky_c, double deep_c, System *ret, Drive *ret_drive)
{
    Filling f = {chain, standing, state, sky_c, ret, ret_drive};

    ret->n = chain->n;
    ret_drive->deep_c = deep_c;
    for (int i = 0; i < chain->n; i++) {
        ret->lid[i] = standing[i].lid;
        ret->up[i] = standing[i].up;
        ret_drive->water_c[i] = state->water_c[i];
        fill_cover(&f, i);
        fill_floor(&f, i);
        fill_sun(&f, i);
    }
}

/* Eliminates a pair, whose path of covers begins at `lid`: `to` becomes what their temperatures
 * give to it, and what couples through it goes to the blocks among them. */
static inline void eliminate(System *system, const Standing *standing, Pair *pair, int lid)
{
    const double scale = 1 / (pair->one * pair->two - pair->both * pair->both);
    const double one = pair->two * scale, two = pair->one * scale, both = -pair->both * scale;

    pair->one = one;
    pair->two = two;
    pair->both = both;
    for (; lid >= 0; lid = standing[lid].up) {
        const Joint k = pair->to[lid];
        const Joint share = {
            .one_air = one * k.one_air + both * k.two_air,
            .one_cover = one * k.one_cover + both * k.two_cover,
            .two_air = both * k.one_air + two * k.two_air,
            .two_cover = both * k.one_cover + two * k.two_cover,
        };
        Pair *cover = &system->cover[lid];

        pair->to[lid] = share;
        cover->one -= share.one_air * k.one_air + share.two_air * k.two_air;
        cover->both -= share.one_air * k.one_cover + share.two_air * k.two_cover;
        cover->two -= share.one_cover * k.one_cover + share.two_cover * k.two_cover;
        for (int up = standing[lid].up; up >= 0; up = standing[up].up) {
            const Joint far = pair->to[up];
            Joint *to = &cover->to[up];

            to->one_air -= share.one_air * far.one_air + share.two_air * far.two_air;
            to->one_cover -= share.one_air * far.one_cover + share.two_air * far.two_cover;
            to->two_air -= share.one_cover * far.one_air + share.two_cover * far.two_air;
            to->two_cover -= share.one_cover * far.one_cover + share.two_cover * far.two_cover;
        }
    }
}

void chain_factor(System *system, const Standing *standing, const Drive *drive, double dt_s)
{
    system->floors_given = !(dt_s > 0);
    const double per_s = system->floors_given ? 0 : 2 / dt_s;
    for (int i = system->n - 1; i >= 0; i--) {
        Pair *floor = &system->floor[i];

        if (!system->floors_given) {
            floor->one += per_s * drive->capacity[NODES * i + NODE_LOWER];
            floor->two += per_s * drive->capacity[NODES * i + NODE_UPPER];
            eliminate(system, standing, floor, standing[i].lid);
        }
        if (standing[i].present)
            eliminate(system, standing, &system->cover[i], standing[i].up);
    }
}

/* Heat that the covers from `lid` up get from a pair that is eliminated or given. */
static inline void pass_out(const System *system, const Pair *pair, int lid, const double *from,
                            double *nodes)
{
    const double one = from[0], two = from[1];

    for (; lid >= 0; lid = system->up[lid]) {
        const Joint *to = &pair->to[lid];
        double *air = nodes + NODES * lid + NODE_AIR, *cover = nodes + NODES * lid + NODE_COVER;

        *air -= to->one_air * one + to->two_air * two;
        *cover -= to->one_cover * one + to->two_cover * two;
    }
}

/* A pair's temperatures from its heat and those of the covers from `lid` up. */
static inline void take_back(const System *system, const Pair *pair, int lid, const double *nodes,
                             double *ret)
{
    double one = pair->one * ret[0] + pair->both * ret[1];
    double two = pair->both * ret[0] + pair->two * ret[1];

    for (; lid >= 0; lid = system->up[lid]) {
        const Joint *to = &pair->to[lid];
        const double air = nodes[NODES * lid + NODE_AIR], cover = nodes[NODES * lid + NODE_COVER];

        one -= to->one_air * air + to->one_cover * cover;
        two -= to->two_air * air + to->two_cover * cover;
    }
    ret[0] = one;
    ret[1] = two;
}

void chain_solve(const System *factored, double *nodes)
{
    const int *lid = factored->lid, *up = factored->up;

    for (int i = factored->n - 1; i >= 0; i--) {
        pass_out(factored, &factored->floor[i], lid[i], nodes + NODES * i + NODE_LOWER, nodes);
        if (lid[i] == i)
            pass_out(factored, &factored->cover[i], up[i], nodes + NODES * i + NODE_AIR, nodes);
    }
    for (int i = 0; i < factored->n; i++) {
        double *own = nodes + NODES * i;

        if (lid[i] == i)
            take_back(factored, &factored->cover[i], up[i], nodes, own + NODE_AIR);
        if (!factored->floors_given)
            take_back(factored, &factored->floor[i], lid[i], nodes, own + NODE_LOWER);
    }
}

void chain_drive_heat(const Drive *drive, int n, double air_c, double sky_c, double *ret)
{
    /* only lower floors meet the deep ground, and only what is above them the sky and the sun */
    for (int k = 0; k < NODES * n; k += NODES) {
        const double *to_air = drive->to_air + k, *to_sky = drive->to_sky + k,
                     *source = drive->source + k;

        ret[k + NODE_LOWER] =
            to_air[NODE_LOWER] * air_c + drive->to_deep[k + NODE_LOWER] * drive->deep_c;
        ret[k + NODE_UPPER] =
            to_air[NODE_UPPER] * air_c + to_sky[NODE_UPPER] * sky_c + source[NODE_UPPER];
        ret[k + NODE_AIR] = to_air[NODE_AIR] * air_c + source[NODE_AIR];
        ret[k + NODE_COVER] =
            to_air[NODE_COVER] * air_c + to_sky[NODE_COVER] * sky_c + source[NODE_COVER];
    }
}
