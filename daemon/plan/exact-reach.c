/* SPDX-License-Identifier: MIT */
/*
 * What a column can be worth at the best, before a batch is walked through it: no loss, no check,
 * of delay what its light and its nights leave missing if H falls as far as it may, and the limits
 * that it passes in any air.
 */
#include "plan/exact-prices.h"
#include "plan/marks.h"
#include "plan/outlook.h"

#include <math.h>

#define PERIODS_MAX 8  /* ramp days that a window touches, else nothing is said; chosen */
#define NIGHT_FROM 3   /* steps of a ramp day before which its night is not counted: see ramp.c */
#define USED_SHARE 0.5 /* as in ramp.c */
#define SHELTER_SAME 1e-9

/* One segment in one ramp day. */
typedef struct Part {
    double clear_h, dull_h; /* daylight */
    double night_h, gust_ms;
    bool night; /* long enough into the ramp day to count */
} Part;

/* What a place lets through, in one setting of its chain; or at the best. */
typedef struct Lets {
    double clear, dull, shelter;
    bool uncovered;
} Lets;

typedef struct Reach {
    bool said;               /* else the floors must do */
    int n_closed, n_periods; /* ramp days that end; that there are */
    Part parts[SEGMENTS_MAX][PERIODS_MAX];
    Lets **lets; /* per place: of each setting, and the best of all; NULL nobody goes there */
} Reach;

/* False where it is too long to say. */
static bool find_parts(const Exact *x, Reach *ret)
{
    const Board *b = x->q->b;
    const Window *w = x->q->w;
    const OutdoorStep *outdoor = b->s->sites[w->site].steps;
    int period = 0, since = NIGHT_FROM; /* the first one has begun before */
    for (int k = 0; k <= x->probe->n_visits; k++) {
        int end = segment_end(w, x->probe, k);
        for (int i = segment_start(w, x->probe, k); i < end; i++, since++) {
            uint8_t marks = b->marks[w->site][i];
            if (marks & MARK_CLOSES) {
                since = 0;
                if (++period == PERIODS_MAX)
                    return false;
            }
            Part *part = &ret->parts[k][period];
            if (marks & MARK_DAYLIGHT)
                *(outdoor[i].cloud >= OVERCAST ? &part->dull_h : &part->clear_h) +=
                    1.0 / STEPS_PER_H;
            part->night_h += marks & MARK_NIGHT ? 1.0 / STEPS_PER_H : 0.0;
            part->gust_ms = fmax(part->gust_ms, outdoor[i].gust_ms);
            part->night = part->night || ((marks & MARK_NIGHT) && since >= NIGHT_FROM);
        }
    }
    ret->n_periods = period + 1;
    ret->n_closed = period + (w->joins ? 1 : 0);
    return true;
}

static Lets lets_through(const Exact *x, int place, int setting)
{
    const Board *b = x->q->b;
    int chain = b->chain_of[place], at[CHAIN_LAYERS_MAX];
    const ExactChain *c = &x->chains[chain];
    const Chain *layers = &b->s->chains[chain];
    for (int l = 0; l < layers->n; l++)
        at[l] = b->stand.positions[layers->layers[l].place];
    for (int j = 0; j < c->n_covers; j++, setting /= c->n_positions[j - 1])
        at[b->layer_of[c->place[j]]] = setting % c->n_positions[j];
    return (Lets){chain_exposure_weight(layers, at, b->layer_of[place], 0.0),
                  chain_exposure_weight(layers, at, b->layer_of[place], 1.0),
                  chain_shelter(layers, at, b->layer_of[place]),
                  !board_place(b, place)->indoors &&
                      chain_shelter(layers, at, b->layer_of[place]) == 0.0};
}

/* Along a way: light of each ramp day, and whether its night is under no more cover than to come.
 */
typedef struct Along {
    double light_h[PERIODS_MAX];
    bool night[PERIODS_MAX];
} Along;

/* As ramp_close_day() and ramp_days_missing(), in favour of the batch where it depends on air. */
static double missing(const Exact *x, int batch, const Along *along, double hardened_to_c)
{
    const Board *b = x->q->b;
    const Reach *r = x->reach;
    RampState ramp = b->stand.ramps[batch];
    const Crop *crop = board_crop(b, batch);
    double light_h = ramp.exposed_h, fall_k, drop_k = fmax(crop->drop_first_k, crop->drop_k);
    for (int i = 0; i < r->n_closed; i++) {
        light_h += along->light_h[i];
        bool had = light_h >= USED_SHARE * ramp_allowance_h(&ramp);
        if (ramp.hold_days > 0)
            ramp.hold_days--;
        else if (had)
            ramp.exposure_days = int_min(RAMP_EXPOSURE_FULL, ramp.exposure_days + 1);
        for (int k = NIGHTS_KEPT - 1; k > 0; k--)
            ramp.nights_shelter[k] = ramp.nights_shelter[k - 1];
        ramp.nights_shelter[0] = along->night[i] ? 0.0 : INFINITY;
        light_h = 0.0;
    }
    if (r->n_closed < r->n_periods)
        light_h += along->light_h[r->n_closed];
    ramp.exposed_h = light_h;
    ramp.hardened_to_c = -INFINITY; /* the fall is reckoned by itself: the drop at its largest */
    fall_k = fmax(0.0, hardened_to_c - b->destination_cold_c[batch]);
    return outlook_missing(b, batch, &ramp) + fall_k / drop_k;
}

/* Nothing can harden it further than this, °C. */
static double hardest_c(const Exact *x, int batch)
{
    const Board *b = x->q->b;
    const Crop *crop = board_crop(b, batch);
    const double now_c = b->stand.ramps[batch].hardened_to_c,
                 drop_k = fmax(crop->drop_first_k, crop->drop_k);
    return fmin(now_c, fmax(crop->floor_hardened_c, now_c - x->reach->n_closed * drop_k));
}

/*
 * Limits that a batch passes in the ramp day at hand whatever the air is: an open night too soon,
 * gusts, scorch; batch-days, as walk.c has it, and nothing more.
 */
static double harm_along(const Exact *x, int batch, Lets *const *through)
{
    const RampState *ramp = &x->q->b->stand.ramps[batch];
    const double most_h = ramp_allowance_h(ramp) + RAMP_SCORCH_OVER_H;
    double open_h = 0.0, light_h = ramp->exposed_h, harm = 0.0, gust_ms = 0.0;
    for (int k = 0; k <= x->probe->n_visits; k++) {
        const Part *part = &x->reach->parts[k][0];
        const double clear_h = part->clear_h * through[k]->clear,
                     dull_h = part->dull_h * through[k]->dull;
        open_h += through[k]->uncovered ? part->night_h : 0.0;
        gust_ms = through[k]->uncovered ? fmax(gust_ms, part->gust_ms) : gust_ms;
        light_h += clear_h + dull_h;
        RampState then = *ramp;
        then.exposed_h = light_h;
        if (ramp_scorches(&then, through[k]->clear))
            harm += HARM_SCORCH_PER_H *
                    fmax(0.0, fmin(clear_h, light_h - most_h) - dull_h - 1.0 / STEPS_PER_H);
    }
    if (ramp->exposure_days < RAMP_NIGHTS_FROM && open_h > OPEN_NIGHT_GRACE_H)
        harm += HARM_OPEN_TOO_SOON;
    return harm + (gust_ms > ramp_gust_limit_ms(ramp) ? HARM_GUST : 0.0);
}

/* The setting that a column meets in a segment; ANY_COURSE where it says none. */
static int setting_of(const Exact *x, const ExactPath *path, const ExactColumn *column, int segment)
{
    const int chain = x->q->b->chain_of[path->places[segment]];
    const ExactChain *c = &x->chains[chain];
    if (segment == 0)
        return c->now;
    if (column->course == ANY_COURSE)
        return c->n_settings;
    int j = 0;
    while (path->chain[j] != chain)
        j++;
    const int course = column->at[j] - c->first - c->offset[path->upto[j]];
    return course / c->power[path->upto[j] - segment] % c->n_settings;
}

double exact_reach(const Exact *x, const ExactGroup *g, const ExactColumn *column)
{
    const Board *b = x->q->b;
    const Reach *r = x->reach;
    const ExactPath *path = &g->paths[column->path];
    const int i = g->leader, d = b->destination_of[i];
    const double shelter = (d >= 0 ? b->destinations[d].shelter : 0.0) + SHELTER_SAME,
                 floor = g->floor + path->carrying;
    /* What is not at the site all the time, is not hardening or stands in the bed: its floor. */
    if (!r->said || b->stand.stages[i] == STAGE_PLANTED_OUT ||
        !board_is_hardening(b, i, x->q->w->first) || b->stand.since[i] > x->q->w->first ||
        x->probe->planted_at[i] >= 0)
        return floor;
    Along along = {0};
    Lets *met[SEGMENTS_MAX];
    for (int p = 0; p < r->n_periods; p++)
        along.night[p] = true;
    for (int k = 0; k <= x->probe->n_visits; k++) {
        Lets *through = met[k] = &r->lets[path->places[k]][setting_of(x, path, column, k)];
        for (int p = 0; p < r->n_periods; p++) {
            const Part *part = &r->parts[k][p];
            along.light_h[p] += part->clear_h * through->clear + part->dull_h * through->dull;
            along.night[p] = along.night[p] && !(part->night && through->shelter > shelter);
        }
    }
    double value = (1.0 + b->work_ahead) * missing(x, i, &along, hardest_c(x, i)) + path->carrying;
    const double harm = column->course == ANY_COURSE ? 0.0 : harm_along(x, i, met);
    if (harm > 0.0)
        value = x->mode == WITHIN ? INFINITY : value + harm;
    return fmax(floor, value);
}

static void place_open(Exact *x, int place)
{
    const int n = x->chains[x->q->b->chain_of[place]].n_settings;
    Lets *lets = ARENA_NEW(x->q->b->arena, n + 1, Lets);
    if (lets == NULL)
        return;
    lets[n] = (Lets){0.0, 0.0, INFINITY, false};
    for (int s = 0; s < n; s++) {
        lets[s] = lets_through(x, place, s);
        lets[n] = (Lets){fmax(lets[n].clear, lets[s].clear), fmax(lets[n].dull, lets[s].dull),
                         fmin(lets[n].shelter, lets[s].shelter), false};
    }
    x->reach->lets[place] = lets;
}

bool exact_reach_open(Exact *x)
{
    Arena *arena = x->q->b->arena;
    x->reach = ARENA_NEW(arena, 1, Reach);
    if (x->reach == NULL)
        return false;
    x->reach->lets = ARENA_NEW(arena, x->q->b->s->garden->n_places, Lets *);
    if (x->reach->lets == NULL)
        return false;
    x->reach->said = find_parts(x, x->reach);
    for (int i = 0; i < x->n_groups; i++) {
        const ExactGroup *g = &x->groups[i];
        for (int p = 0; p < g->n_places; p++) {
            if (x->reach->lets[g->places[p]] == NULL)
                place_open(x, g->places[p]);
        }
    }
    return !arena->failed;
}
