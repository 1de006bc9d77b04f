/* SPDX-License-Identifier: MIT */
#include "reference-chain.h"

#include <cvode/cvode.h>
#include <nvector/nvector_serial.h>
#include <sundials/sundials_dense.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>
#include <sunnonlinsol/sunnonlinsol_fixedpoint.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define STEFAN_BOLTZMANN 5.670374419e-8
#define KELVIN 273.15
#define NEWTON_MAX 60
#define NEWTON_CLOSE_K 1e-10
#define NEWTON_CLOSE_W 1e-8
/* W/m²K, less than any air loses: a heater at one limit then never leaps to the other */
#define HEATER_SLOPE 1e-3

enum { LOWER, UPPER, AIR, COVER, WATER, LAYER_NODES };
enum {
    OUT = LAYER_NODES * CHAIN_LAYERS_MAX,
    SKY,
    DEEP,
    ALL_NODES,
};
/* floors: to the lower part, far below, air twice, all covers, sky; covers: air twice, outside, all
 * covers, sky */
#define LINKS_MAX (CHAIN_LAYERS_MAX * (2 * CHAIN_LAYERS_MAX + 10))
#define UNKNOWNS_MAX (3 * CHAIN_LAYERS_MAX)

/*
 * One flow, from one node to another. A floor's flows are per m² of itself, so that a floor that is
 * wholly built over needs no care; all others are per m² of the outermost floor, and `share` of
 * what leaves a floor arrives.
 */
typedef struct Link {
    int from, to;
    bool radiative;
    int opener; /* layer whose opener widens it; -1 none */
    double k;   /* W/m²K; radiative: the factor of σ (Ta⁴ − Tb⁴) */
    double per_ms;
    double wide_k, wide_per_ms; /* fully opened by the opener */
    double share;
    double held_wm2k; /* radiative, with coefficients held */
} Link;

typedef struct Heater {
    int node;
    double limit_w, set_point_c;
} Heater;

struct ReferenceChain {
    Chain chain;
    ReferenceSetup setup;
    SUNContext context;
    N_Vector y; /* floors: lower and upper of each layer */
    void *cvode;
    SUNMatrix matrix;
    SUNLinearSolver linear;
    SUNNonlinearSolver nonlinear;

    /* of the half-hour */
    bool present[CHAIN_LAYERS_MAX], shut[CHAIN_LAYERS_MAX];
    int up[CHAIN_LAYERS_MAX], lid[CHAIN_LAYERS_MAX];         /* covers above it; -1 outdoors */
    double floor[CHAIN_LAYERS_MAX], light[CHAIN_LAYERS_MAX]; /* share of the outdoor light */
    double capacity[ALL_NODES];                              /* J/m²K of the floor itself */
    double source[ALL_NODES];                                /* per W/m² of sun outdoors */
    int n_links, n_heaters;
    Link links[LINKS_MAX];
    Heater heaters[CHAIN_LAYERS_MAX];
    int n_cables, n_water;
    Heater cables[CHAIN_LAYERS_MAX]; /* on floors */
    int water[CHAIN_LAYERS_MAX];     /* layers that have some */
    double opening[CHAIN_LAYERS_MAX];
    bool opening_free; /* now: opening goes with the air */
    OutdoorStep pair[2];
    const OutdoorStep *weather; /* n_steps + 1 of them; outdoors at an instant: */
    int n_steps;
    double sun_wm2;
    double wind_ms; /* at covers, of the instant */

    double t[ALL_NODES]; /* temperatures, °C; air and covers are where Newton begins */
    double watts[CHAIN_LAYERS_MAX];
    double kept_cover_c[CHAIN_LAYERS_MAX];
};

static void require(bool holds, const char *what)
{
    if (!holds) {
        fprintf(stderr, "reference-chain: %s\n", what);
        abort();
    }
}

/* ---- the flows of a half-hour, from docs/climate.md ---- */

static int node(int layer, int which)
{
    return LAYER_NODES * layer + which;
}

static int air_of(int lid)
{
    return lid < 0 ? OUT : node(lid, AIR);
}

static Link *link_nodes(ReferenceChain *r, int from, int to, double k, double share)
{
    require(r->n_links < LINKS_MAX, "too many flows");
    Link *link = &r->links[r->n_links++];

    *link = (Link){.from = from, .to = to, .opener = -1, .k = k, .share = share};
    return link;
}

/* Whether a cover has water on it in this half-hour: those that wet, while they are shut, and else
 * until the sun dries them. */
static bool is_wet(const ReferenceChain *r, int i)
{
    return r->chain.layers[i].cover.wets &&
           (r->shut[i] || r->weather[0].radiation_wm2 < r->setup.laws.wet_below_wm2);
}

static double transmitted(const ReferenceChain *r, int i)
{
    const Cover *cover = &r->chain.layers[i].cover;

    return is_wet(r, i) ? cover->wet_ir_transmittance : cover->ir_transmittance;
}

static double emitted(const ReferenceChain *r, int i)
{
    const Cover *cover = &r->chain.layers[i].cover;

    return is_wet(r, i) ? cover->wet_ir_emissivity : cover->ir_emissivity;
}

/* What insulation leaves of the exchange from within, as it reaches the outer face. */
static double let_out(const ReferenceChain *r, int i)
{
    return 1 / (1 + r->setup.laws.cover_inside_all * r->chain.layers[i].cover.insulation_m2kw);
}

/* From `from` to each cover from `lid` up by its emissivity, and through what they let pass to the
 * sky. */
static void link_above(ReferenceChain *r, int from, int lid, double area, double share)
{
    double k = area * r->setup.laws.surface_emissivity;

    for (; lid >= 0; lid = r->up[lid]) {
        link_nodes(r, from, node(lid, COVER), k * emitted(r, lid) * let_out(r, lid), share)
            ->radiative = true;
        k *= transmitted(r, lid);
    }
    link_nodes(r, from, SKY, k, share)->radiative = true;
}

static const CoverPosition *position_of(const ChainLayer *layer, int given)
{
    const Cover *cover = &layer->cover;

    return &cover->positions[given >= 0 && given < cover->n_positions ? given : 0];
}

/* Which covers are on, what is above what, and each floor's light. */
static void stand(ReferenceChain *r, const int *positions, double *ret_area, double *ret_lit,
                  double *ret_above)
{
    const Chain *chain = &r->chain;

    for (int i = 0; i < chain->n; i++) {
        const ChainLayer *layer = &chain->layers[i];
        const int parent = layer->parent;

        r->present[i] = layer->covered && !position_of(layer, positions[i])->open;
        r->shut[i] =
            layer->covered && position_of(layer, isnan(layer->cover.opener_from_c) || !r->present[i]
                                                     ? positions[i]
                                                     : 0) == layer->cover.positions;
        r->up[i] = parent < 0 ? -1 : r->lid[parent];
        r->lid[i] = r->present[i] ? i : r->up[i];
        ret_area[i] = parent < 0 ? 1 : ret_area[parent] * layer->footprint;
        ret_above[i] = parent < 0 ? 1 : r->light[parent];
        r->light[i] = ret_above[i] * (r->present[i] ? layer->cover.solar_transmittance : 1);
        r->floor[i] = ret_lit[i] = 1;
        if (parent >= 0) {
            ret_lit[parent] -= layer->footprint;
            r->floor[parent] -= layer->floor == FLOOR_SHELF ? 0 : layer->footprint;
        }
    }
    for (int i = 0; i < chain->n; i++) {
        /* below a millionth it is the rounding of footprints that fill it */
        r->floor[i] = (r->floor[i] > 1e-6 ? r->floor[i] : 0) * ret_area[i];
        ret_lit[i] = fmax(ret_lit[i], 0) * ret_area[i];
    }
}

static void floor_flows(ReferenceChain *r, int i, double area, double lit)
{
    const ReferenceLaws *laws = &r->setup.laws;
    const ChainLayer *layer = &r->chain.layers[i];
    const bool outermost = layer->parent < 0, under = r->lid[i] >= 0;
    const int lower = node(i, LOWER), upper = node(i, UPPER), air = air_of(r->lid[i]);
    const double faces = layer->floor == FLOOR_SHELF ? 2 : 1;
    const double sun = laws->sun_absorbed * r->light[i] * (1 - laws->sun_latent);

    switch (layer->floor) {
    case FLOOR_SOIL:
        r->capacity[upper] = 1000 * laws->soil_upper_kj;
        r->capacity[lower] = 1000 * laws->soil_lower_kj;
        link_nodes(r, upper, lower, laws->soil_between, 1);
        link_nodes(r, lower, DEEP, laws->deep, 1);
        break;
    case FLOOR_SLAB:
        r->capacity[upper] = 1000 * laws->tray_kj;
        r->capacity[lower] = 1000 * laws->slab_kj;
        link_nodes(r, upper, lower, laws->slab_contact, 1);
        link_nodes(r, lower, DEEP, laws->deep, 1);
        break;
    case FLOOR_SHELF:
        r->capacity[upper] = 1000 * laws->tray_kj;
        r->capacity[lower] = 1000 * laws->under_shelf_kj;
        if (outermost) { /* it has the ground to itself; elsewhere the parent keeps it */
            link_nodes(r, lower, DEEP, laws->deep, 1);
            link_nodes(r, lower, air, laws->under_shelf_air, r->floor[i]);
        }
        break;
    }
    if (layer->water_lm2 > 0) {
        const double litres = layer->water_lm2 * area;

        r->capacity[node(i, WATER)] = laws->water_j_lk * litres;
        link_nodes(r, node(i, WATER), air, laws->water_wlk * litres, 1);
    }
    if (layer->cable_wm2 > 0 && !isnan(layer->soil_set_point_c))
        r->cables[r->n_cables++] = (Heater){upper, layer->cable_wm2, layer->soil_set_point_c};
    link_nodes(r, upper, air, faces * laws->floor_air, r->floor[i])->per_ms =
        under ? 0 : faces * laws->floor_air_per_ms;
    link_above(r, upper, r->lid[i], 1, r->floor[i]);
    if (r->floor[i] > 0)
        r->source[upper] += (under ? 1 - laws->sun_air : 1) * sun * lit / r->floor[i];
    if (under)
        r->source[air] += laws->sun_air * sun * lit;
}

static void cover_flows(ReferenceChain *r, int i, int position, double area, double above)
{
    const ReferenceLaws *laws = &r->setup.laws;
    const ChainLayer *layer = &r->chain.layers[i];
    const Cover *cover = &layer->cover;
    const double skin = area * cover->area_ratio, windy = r->up[i] < 0;
    const bool opens = !isnan(cover->opener_from_c);
    const CoverPosition *now = position_of(layer, opens ? 0 : position);

    link_nodes(r, node(i, AIR), node(i, COVER), laws->cover_inside * let_out(r, i) * skin, 1);
    Link *air = link_nodes(r, node(i, AIR), air_of(r->up[i]), now->exchange_wm2k * area, 1);
    air->per_ms = now->exchange_per_ms * area * windy;
    if (opens) {
        const CoverPosition *wide = now;

        for (int p = 0; p < cover->n_positions; p++)
            if (!cover->positions[p].open)
                wide = &cover->positions[p];
        air->opener = i;
        air->wide_k = wide->exchange_wm2k * area;
        air->wide_per_ms = wide->exchange_per_ms * area * windy;
    }
    link_nodes(r, node(i, COVER), air_of(r->up[i]), laws->cover_outside * skin, 1)->per_ms =
        laws->cover_outside_per_ms * skin * windy;
    link_above(r, node(i, COVER), r->up[i], skin * emitted(r, i), 1);
    r->source[node(i, COVER)] += laws->sun_cover * above * skin;
    if (layer->heater_wm2 > 0 && !isnan(layer->set_point_c))
        r->heaters[r->n_heaters++] =
            (Heater){node(i, AIR), layer->heater_wm2 * area, layer->set_point_c};
}

/* ---- the balance at an instant ---- */

/* Radiative coefficients from the temperatures `t` of floors, covers and sky. */
static void hold_coefficients(ReferenceChain *r, const double *t)
{
    for (int l = 0; l < r->n_links; l++) {
        Link *link = &r->links[l];
        const double from = KELVIN + t[link->from];
        const double to = KELVIN + t[link->to];

        if (link->radiative)
            link->held_wm2k = link->k * STEFAN_BOLTZMANN * (from * from + to * to) * (from + to);
    }
}

/* Flow of a link, and its slopes with the temperatures at its two ends. */
static double flow(const ReferenceChain *r, const Link *link, double *ret_from, double *ret_to)
{
    const double a = r->t[link->from], b = r->t[link->to];

    if (link->radiative && !r->setup.held) {
        const double ka = a + KELVIN, kb = b + KELVIN, k = link->k * STEFAN_BOLTZMANN;

        *ret_from = 4 * k * ka * ka * ka;
        *ret_to = -4 * k * kb * kb * kb;
        return k * (ka * ka + kb * kb) * (ka + kb) * (a - b);
    }
    double k = link->radiative ? link->held_wm2k : link->k + link->per_ms * r->wind_ms, slope = 0;
    if (link->opener >= 0) {
        const double more = link->wide_k + link->wide_per_ms * r->wind_ms - k;
        double opening = r->opening[link->opener];

        if (r->opening_free) {
            const double above_k = a - r->chain.layers[link->opener].cover.opener_from_c;
            const double asked = above_k / r->setup.laws.opener_range_k;

            opening = fmax(0, fmin(1, asked));
            if (asked > 0 && asked < 1)
                slope = more / r->setup.laws.opener_range_k;
        }
        k += opening * more;
    }
    *ret_from = k + slope * (a - b);
    *ret_to = -k;
    return k * (a - b);
}

/* The outdoors of half-hour `k`, `share` of it gone. */
static void outdoors(ReferenceChain *r, int k, double share)
{
    const OutdoorStep *now = &r->weather[k], *next = now + 1;
    const double wind_ms = now->wind_ms + (next->wind_ms - now->wind_ms) * share;

    r->t[OUT] = now->air_c + (next->air_c - now->air_c) * share;
    r->t[SKY] = now->sky_c + (next->sky_c - now->sky_c) * share;
    r->sun_wm2 = now->radiation_wm2;
    if (!r->setup.held)
        r->wind_ms = r->setup.laws.wind_at_cover * wind_ms;
}

/* A cable acts in proportion within so little; a thermostat that switches would leap. */
#define CABLE_BAND_K 0.01

/* Net heat into every node. */
static void net_heat(const ReferenceChain *r, double *ret)
{
    for (int k = 0; k < ALL_NODES; k++)
        ret[k] = r->source[k] * r->sun_wm2;
    for (int l = 0; l < r->n_links; l++) {
        const Link *link = &r->links[l];
        double slope[2];
        const double watts = flow(r, link, &slope[0], &slope[1]);

        ret[link->from] -= watts;
        ret[link->to] += link->share * watts;
    }
    for (int c = 0; c < r->n_cables; c++) {
        const Heater *cable = &r->cables[c];
        const double asked = (cable->set_point_c - r->t[cable->node]) / CABLE_BAND_K;

        ret[cable->node] += cable->limit_w * fmax(0, fmin(1, asked));
    }
}

/* Residuals of air, covers and heaters, and their slopes by columns. */
static int linearise(const ReferenceChain *r, double **ret_slopes, double *ret_residual,
                     int *ret_unknown)
{
    int index[ALL_NODES], n = 0;

    for (int k = 0; k < ALL_NODES; k++)
        index[k] = -1;
    for (int i = 0; i < r->chain.n; i++)
        for (int k = AIR; k <= COVER && r->present[i]; k++) {
            ret_unknown[n] = node(i, k);
            index[node(i, k)] = n++;
        }
    const int all = n + r->n_heaters;
    for (int c = 0; c < all; c++)
        for (int k = 0; k < all; k++)
            ret_slopes[c][k] = 0;
    for (int k = 0; k < n; k++)
        ret_residual[k] = r->source[ret_unknown[k]] * r->sun_wm2;
    for (int l = 0; l < r->n_links; l++) {
        const Link *link = &r->links[l];
        const int from = index[link->from], to = index[link->to];
        double by_from, by_to;

        if (from < 0 && to < 0)
            continue;
        const double watts = flow(r, link, &by_from, &by_to);
        if (from >= 0) {
            ret_residual[from] -= watts;
            ret_slopes[from][from] -= by_from;
        }
        if (to >= 0) {
            ret_residual[to] += link->share * watts;
            ret_slopes[to][to] += link->share * by_to;
        }
        if (from >= 0 && to >= 0) {
            ret_slopes[to][from] -= by_to;
            ret_slopes[from][to] += link->share * by_from;
        }
    }
    for (int h = 0; h < r->n_heaters; h++) {
        const Heater *heater = &r->heaters[h];
        const int q = n + h, air = index[heater->node];
        const double short_k = heater->set_point_c - r->t[heater->node];
        const double asked = r->watts[h] + HEATER_SLOPE * short_k;

        ret_residual[air] += r->watts[h];
        ret_slopes[q][air] = 1;
        if (asked > 0 && asked < heater->limit_w) { /* it holds the set point */
            ret_residual[q] = short_k;
            ret_slopes[air][q] = -1;
        } else {
            ret_residual[q] = (asked > 0 ? heater->limit_w : 0) - r->watts[h];
            ret_slopes[q][q] = -1;
        }
    }
    return all;
}

/* Air, covers and heaters for the floors and the outdoors in `t`: Newton's method, which for the
 * limits of heaters and openers changes sides until none has to. */
static void settle(ReferenceChain *r)
{
    double slopes[UNKNOWNS_MAX][UNKNOWNS_MAX], *columns[UNKNOWNS_MAX], step[UNKNOWNS_MAX];
    int unknown[UNKNOWNS_MAX];
    sunindextype pivots[UNKNOWNS_MAX];

    for (int c = 0; c < UNKNOWNS_MAX; c++)
        columns[c] = slopes[c];
    for (int round = 0; round < NEWTON_MAX; round++) {
        const int n = linearise(r, columns, step, unknown), n_nodes = n - r->n_heaters;
        /* an opener that goes from shut to wide and back is held by half steps for a while */
        const double damp = r->opening_free && round % 16 >= 8 ? 0.5 : 1;
        double largest = 0;

        if (n == 0)
            return;
        require(SUNDlsMat_denseGETRF(columns, n, n, pivots) == 0, "a balance cannot be solved");
        SUNDlsMat_denseGETRS(columns, n, pivots, step);
        for (int k = 0; k < n; k++) {
            double *value = k < n_nodes ? &r->t[unknown[k]] : &r->watts[k - n_nodes];

            *value -= damp * step[k];
            largest =
                fmax(largest, fabs(step[k]) / (k < n_nodes ? NEWTON_CLOSE_K : NEWTON_CLOSE_W));
        }
        if (largest < 1)
            return;
    }
    require(false, "a balance did not settle");
}

static int rate(sunrealtype s, N_Vector y, N_Vector ret, void *data)
{
    ReferenceChain *r = data;
    double net[ALL_NODES];
    const int step = s < STEP_S * r->n_steps ? (int)(s / STEP_S) : r->n_steps - 1;

    outdoors(r, step, s / STEP_S - step);
    for (int i = 0; i < r->chain.n; i++)
        for (int k = LOWER; k <= UPPER; k++)
            r->t[node(i, k)] = NV_Ith_S(y, 2 * i + k);
    for (int w = 0; w < r->n_water; w++)
        r->t[node(r->water[w], WATER)] = NV_Ith_S(y, 2 * r->chain.n + w);
    settle(r);
    net_heat(r, net);
    for (int i = 0; i < r->chain.n; i++)
        for (int k = LOWER; k <= UPPER; k++)
            NV_Ith_S(ret, 2 * i + k) = net[node(i, k)] / r->capacity[node(i, k)];
    for (int w = 0; w < r->n_water; w++)
        NV_Ith_S(ret, 2 * r->chain.n + w) =
            net[node(r->water[w], WATER)] / r->capacity[node(r->water[w], WATER)];
    return 0;
}

/* ---- a chain ---- */

ReferenceChain *reference_new(const Chain *chain, const ReferenceSetup *setup,
                              const ChainState *start)
{
    ReferenceChain *r = calloc(1, sizeof *r);

    require(r != NULL, "no memory");
    r->chain = *chain;
    r->setup = *setup;
    require(SUNContext_Create(0, &r->context) == 0, "no context");
    for (int i = 0; i < chain->n; i++)
        if (chain->layers[i].water_lm2 > 0)
            r->water[r->n_water++] = i;
    const int floors = 2 * chain->n + r->n_water;
    r->y = N_VNew_Serial(floors, r->context);
    r->cvode = CVodeCreate(setup->adams ? CV_ADAMS : CV_BDF, r->context);
    require(r->y != NULL && r->cvode != NULL, "no solver");
    for (int i = 0; i < chain->n; i++) {
        NV_Ith_S(r->y, 2 * i + LOWER) = start->deep_c[i];
        NV_Ith_S(r->y, 2 * i + UPPER) = start->surface_c[i];
        r->kept_cover_c[i] = start->cover_c[i];
        r->t[node(i, AIR)] = r->t[node(i, COVER)] = start->cover_c[i];
    }
    for (int w = 0; w < r->n_water; w++)
        NV_Ith_S(r->y, 2 * chain->n + w) = start->water_c[r->water[w]];
    bool good = CVodeInit(r->cvode, rate, 0, r->y) == CV_SUCCESS &&
                CVodeSStolerances(r->cvode, setup->relative, setup->absolute_k) == CV_SUCCESS &&
                CVodeSetUserData(r->cvode, r) == CV_SUCCESS &&
                CVodeSetMaxNumSteps(r->cvode, 100000) == CV_SUCCESS;
    if (setup->adams) {
        r->nonlinear = SUNNonlinSol_FixedPoint(r->y, 0, r->context);
        good = good && CVodeSetNonlinearSolver(r->cvode, r->nonlinear) == CV_SUCCESS;
    } else {
        r->matrix = SUNDenseMatrix(floors, floors, r->context);
        r->linear = SUNLinSol_Dense(r->y, r->matrix, r->context);
        good = good && CVodeSetLinearSolver(r->cvode, r->linear, r->matrix) == CV_SUCCESS;
    }
    require(good, "the solver refuses its settings");
    return r;
}

void reference_free(ReferenceChain *r)
{
    if (r == NULL)
        return;
    CVodeFree(&r->cvode);
    if (r->linear != NULL)
        SUNLinSolFree(r->linear);
    if (r->matrix != NULL)
        SUNMatDestroy(r->matrix);
    if (r->nonlinear != NULL)
        SUNNonlinSolFree(r->nonlinear);
    N_VDestroy(r->y);
    SUNContext_Free(&r->context);
    free(r);
}

static void read_floors(ReferenceChain *r)
{
    for (int i = 0; i < r->chain.n; i++)
        for (int k = LOWER; k <= UPPER; k++)
            r->t[node(i, k)] = NV_Ith_S(r->y, 2 * i + k);
    for (int w = 0; w < r->n_water; w++)
        r->t[node(r->water[w], WATER)] = NV_Ith_S(r->y, 2 * r->chain.n + w);
}

/* Opening and air together, with the floors at the start and the mean weather; then held. */
static void settle_openers(ReferenceChain *r)
{
    outdoors(r, 0, 0.5);
    r->opening_free = true;
    settle(r);
    r->opening_free = r->setup.openers_free;
    for (int i = 0; i < r->chain.n; i++) {
        const double above_k = r->t[node(i, AIR)] - r->chain.layers[i].cover.opener_from_c;

        r->opening[i] =
            r->present[i] && above_k > 0 ? fmin(1, above_k / r->setup.laws.opener_range_k) : 0;
    }
}

/* Radiative coefficients from what the half-hour before left; openers go by those of the covers
 * shut under this half-hour's weather. */
static void hold_start(ReferenceChain *r)
{
    double t[ALL_NODES];

    outdoors(r, 0, 0.5);
    memcpy(t, r->t, sizeof t);
    for (int i = 0; i < r->chain.n; i++) {
        t[node(i, COVER)] = r->kept_cover_c[i];
        r->opening[i] = 0;
    }
    hold_coefficients(r, t);
    r->opening_free = false;
    settle(r);
    memcpy(t, r->t, sizeof t);
    hold_coefficients(r, t);
    settle_openers(r);
    for (int i = 0; i < r->chain.n; i++)
        t[node(i, COVER)] = r->kept_cover_c[i];
    hold_coefficients(r, t);
}

/* And of the middle of it: air and covers under the mean weather, upper floors moved on by what
 * they gain at its start. */
static void hold_middle(ReferenceChain *r)
{
    double net[ALL_NODES], t[ALL_NODES];

    outdoors(r, 0, 0.5);
    settle(r);
    net_heat(r, net);
    memcpy(t, r->t, sizeof t);
    for (int i = 0; i < r->chain.n; i++)
        t[node(i, UPPER)] += 0.5 * STEP_S * net[node(i, UPPER)] / r->capacity[node(i, UPPER)];
    hold_coefficients(r, t);
}

static void prepare(ReferenceChain *r, const int *positions, const OutdoorStep *weather, int n,
                    double deep_c)
{
    double area[CHAIN_LAYERS_MAX], lit[CHAIN_LAYERS_MAX], above[CHAIN_LAYERS_MAX];

    r->weather = weather;
    r->n_steps = n;
    r->t[DEEP] = deep_c;
    r->n_links = r->n_heaters = r->n_cables = 0;
    for (int k = 0; k < ALL_NODES; k++)
        r->source[k] = 0;
    read_floors(r);
    stand(r, positions, area, lit, above);
    for (int i = 0; i < r->chain.n; i++) {
        floor_flows(r, i, area[i], lit[i]);
        if (r->present[i])
            cover_flows(r, i, positions[i], area[i], above[i]);
    }
    for (int h = 0; h < r->n_heaters; h++)
        r->watts[h] = 0;
    r->wind_ms = r->setup.laws.wind_at_cover * 0.5 * (weather[0].wind_ms + weather[1].wind_ms);
    if (r->setup.held) {
        hold_start(r);
        hold_middle(r);
    } else {
        settle_openers(r);
    }
}

/* What is above the plants under `lid`, as one temperature. */
static double above_c(const ReferenceChain *r, int lid)
{
    if (lid < 0)
        return r->t[SKY];
    /* the inner face lies between the air and the outer one */
    const double air = r->t[node(lid, AIR)];
    const double own_c = air + let_out(r, lid) * (r->t[node(lid, COVER)] - air);
    const double beyond_c = above_c(r, r->up[lid]), both = emitted(r, lid) + transmitted(r, lid);
    const double share = both > 0 ? emitted(r, lid) / both : 1;

    return pow(share * pow(own_c + KELVIN, 4) + (1 - share) * pow(beyond_c + KELVIN, 4), 0.25) -
           KELVIN;
}

static double leaf_of(const ReferenceChain *r, double air_c, double sky_c, double floor_c,
                      double light_wm2, double wind_ms)
{
    const ReferenceLaws *laws = &r->setup.laws;
    const double h =
        2 * laws->leaf * sqrt(fmax(wind_ms, laws->leaf_wind_min_ms) / laws->leaf_width_m);
    const double k = laws->surface_emissivity * laws->surface_emissivity * STEFAN_BOLTZMANN;
    const double sun = laws->leaf_sun * light_wm2 * (1 - laws->leaf_latent);
    const double sky4 = pow(sky_c + KELVIN, 4), floor4 = pow(floor_c + KELVIN, 4);
    double leaf = air_c + KELVIN;

    for (int round = 0; round < 20; round++) {
        const double net = sun - h * (leaf - KELVIN - air_c) - k * (pow(leaf, 4) - sky4) -
                           k * (pow(leaf, 4) - floor4);
        leaf += net / (h + 8 * k * pow(leaf, 3));
    }
    return leaf - KELVIN;
}

/* Indoors: half cosines, lowest at 06:00 and highest at 15:00 solar time. */
static void step_indoors(const ReferenceChain *r, double hour, PlaceStep *steps)
{
    const double pi = acos(-1), low_c = r->chain.indoor_night_c, high_c = r->chain.indoor_day_c;
    const double middle_c = (low_c + high_c) / 2, half_k = (high_c - low_c) / 2;
    const double since = fmod(hour + 24 - 6, 24);
    const double room_c = since < 9 ? middle_c - half_k * cos(pi * since / 9)
                                    : middle_c + half_k * cos(pi * (since - 9) / 15);

    for (int i = 0; i < r->chain.n; i++) {
        const ChainLayer *layer = &r->chain.layers[i];
        const double most_c = r->chain.lift_k > 0 ? room_c + r->chain.lift_k : INFINITY;
        const double air_c = fmax(room_c, fmin(most_c, layer->set_point_c));

        steps[i] = (PlaceStep){.air_c = air_c, .leaf_c = air_c, .surface_c = air_c};
    }
}

static void keep_covers(ReferenceChain *r)
{
    for (int i = 0; i < r->chain.n; i++)
        r->kept_cover_c[i] = r->present[i] ? r->t[node(i, COVER)] : r->t[air_of(r->lid[i])];
}

/* Air and covers at the end of the half-hour; where coefficients are held, once more with those of
 * the end. */
static void settle_end(ReferenceChain *r, int k)
{
    read_floors(r);
    outdoors(r, k, 1);
    settle(r);
    keep_covers(r);
    if (!r->setup.held)
        return;
    r->wind_ms = r->setup.laws.wind_at_cover * r->weather[k + 1].wind_ms;
    hold_coefficients(r, r->t);
    settle(r);
    keep_covers(r);
}

void reference_step(ReferenceChain *r, const int *positions, const ChainForcing *forcing,
                    PlaceStep *steps)
{
    sunrealtype reached;

    if (r->chain.indoors) {
        step_indoors(r, forcing->solar_hour, steps);
        return;
    }
    r->pair[0] = *forcing->now;
    r->pair[1] = *forcing->next;
    prepare(r, positions, r->pair, 1, forcing->deep_c);
    require(CVodeReInit(r->cvode, 0, r->y) == CV_SUCCESS &&
                CVodeSetStopTime(r->cvode, STEP_S) == CV_SUCCESS &&
                CVode(r->cvode, STEP_S, r->y, &reached, CV_NORMAL) >= 0,
            "the half-hour could not be solved");
    settle_end(r, 0);
    for (int i = 0; i < r->chain.n; i++) {
        const int lid = r->lid[i];
        const double air_c = r->t[air_of(lid)], floor_c = r->t[node(i, UPPER)];
        const double wind_ms = lid >= 0 ? 0 : r->setup.laws.wind_at_cover * forcing->next->wind_ms;

        steps[i] = (PlaceStep){
            .air_c = air_c,
            .leaf_c =
                leaf_of(r, air_c, above_c(r, lid), floor_c, r->light[i] * r->sun_wm2, wind_ms),
            .surface_c = floor_c,
            .light_wm2 = r->light[i] * r->sun_wm2,
            .wind_ms = wind_ms,
        };
    }
}

void reference_state(const ReferenceChain *r, ChainState *ret)
{
    memset(ret, 0, sizeof *ret);
    for (int i = 0; i < r->chain.n; i++) {
        ret->surface_c[i] = NV_Ith_S(r->y, 2 * i + UPPER);
        ret->deep_c[i] = NV_Ith_S(r->y, 2 * i + LOWER);
        ret->water_c[i] = r->t[node(i, WATER)];
        ret->cover_c[i] = r->kept_cover_c[i];
    }
}

long reference_run(ReferenceChain *r, const int *positions, const OutdoorStep *weather, int n,
                   double deep_c, int restart, double (*ret_air_c)[CHAIN_LAYERS_MAX])
{
    sunrealtype reached;
    bool good;
    long rates = 0, all_rates = 0;

    for (int i = 0; i < r->chain.n; i++)
        require(!r->chain.layers[i].cover.wets,
                "one start for all half-hours, and film that dries");
    prepare(r, positions, weather, n, deep_c);
    good = CVodeReInit(r->cvode, 0, r->y) == CV_SUCCESS;
    for (int k = 0; k < n && good; k++) {
        if (restart > 0 && k % restart == 0) {
            all_rates += rates;
            good = CVodeReInit(r->cvode, (sunrealtype)STEP_S * k, r->y) == CV_SUCCESS &&
                   CVodeSetStopTime(r->cvode, (sunrealtype)STEP_S * (k + restart)) == CV_SUCCESS;
        }
        good =
            good && CVode(r->cvode, (sunrealtype)STEP_S * (k + 1), r->y, &reached, CV_NORMAL) >= 0;
        settle_end(r, k);
        for (int i = 0; i < r->chain.n; i++)
            ret_air_c[k][i] = r->t[air_of(r->lid[i])];
        (void)CVodeGetNumRhsEvals(r->cvode, &rates);
    }
    require(good, "the weather could not be run through");
    return all_rates + rates;
}

void reference_rates(ReferenceChain *r, int times)
{
    N_Vector rates = N_VClone(r->y);

    for (int i = 0; i < times; i++)
        (void)rate((sunrealtype)STEP_S * r->n_steps * i / times, r->y, rates, r);
    N_VDestroy(rates);
}
