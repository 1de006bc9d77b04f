/* SPDX-License-Identifier: MIT */
/*
 * What learning is worth to the plants: springs of Chicago and Seattle, each lived through twice in
 * the same hidden garden under the same erring forecasts, once by plans that learn from the
 * grower's thermometers and once by plans that do not. Losses are those of the leaf as it truly
 * was. docs/hindcast.md.
 *
 * THOLE_HINDCAST_TIMES=n lives each spring n times, with other gardens and forecasters.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "garden/garden.h"
#include "test-hindcast-hidden.h"
#include "test-hindcast-world.h"

#define SEED 20070404u
#define LIVED_D 28  /* days of a spring */
#define BEFORE_D 14 /* days before it on which thermometers are read */
#define LEADS 3
#define EVENING_S (18 * 3600)
#define NIGHT_FROM_S (20 * 3600)     /* of the local day … */
#define NIGHT_TO_S (7 * 3600 + 1800) /* … to the next, before anything is opened */
#define DAY_S 86400
#define SPRINGS_MAX 400

enum { SILL, FRAME, BED, FLEECE, PLACES };

/* What was said in one morning: of the places, and of the open air as issued, from that day on. */
typedef struct Said {
    PlacePrediction places[WORLD_PLACES];
    bool is_said[WORLD_PLACES];
    double issued_c[LEADS][EXTREMES];
} Said;

/* A maximum and minimum thermometer in every place and in the open, as they stand now, reset at
 * dusk and in the morning. */
typedef struct Thermometers {
    double open_c[EXTREMES], place_c[WORLD_PLACES][EXTREMES];
    int position[WORLD_PLACES]; /* of the cover when they were reset */
    bool moved[WORLD_PLACES];
} Thermometers;

/* One life of one spring. */
typedef struct Life {
    World *w;
    bool learns;
    ReferenceChain *hidden[WORLD_PLACES]; /* by chain; NULL indoors */
    Forecaster forecaster;
    GRand *random;
    Learner learner;
    CoverError errors[WORLD_PLACES * POSITIONS_MAX];
    Said said[LEADS + 1]; /* by days ago */
    bool night;
    Thermometers now;
} Life;

typedef struct Losses {
    double damage_kh, heat_kh;
    int damage_days, days; /* until planted out; LIVED_D where it was not */
} Losses;

static bool by_night(int64_t local_s)
{
    int64_t of_day = local_s % DAY_S;
    return of_day > NIGHT_FROM_S || of_day <= NIGHT_TO_S;
}

/* What is opened or shut in the evening is no matter for the day's high, which has passed. */
static bool in_evening(int64_t local_s)
{
    int64_t of_day = local_s % DAY_S;
    return of_day > EVENING_S && of_day <= NIGHT_FROM_S;
}

/* ---- readings ---- */

static const Chain *chain_with(const World *w, int place, int *ret_layer)
{
    for (int c = 0; c < w->n_chains; c++) {
        for (int l = 0; l < w->chains[c].n; l++) {
            *ret_layer = l;
            if (w->chains[c].layers[l].place == place)
                return &w->chains[c];
        }
    }
    g_assert_not_reached();
}

static int position_over(const World *w, int place)
{
    int layer, positions[CHAIN_LAYERS_MAX];
    const Chain *chain = chain_with(w, place, &layer);

    for (int l = 0; l < chain->n; l++)
        positions[l] = w->positions[chain->layers[l].place];
    return cover_error_position(chain, positions, layer);
}

static double seen_c(Life *life, double value_c)
{
    return value_c + THERMOMETER_K * hidden_normal(life->random);
}

static void read_place(Life *life, int place, Extreme which, const Said *said, int32_t day,
                       double open_error_k)
{
    const PlacePrediction *p = &said->places[place];
    const PredictionBasis *basis = &p->basis[which];
    double computed_c = (which == EXTREME_LOW ? p->low_c : p->high_c) - basis->bias_k;
    CoverReading reading = {.position = basis->position,
                            .error_k = seen_c(life, life->now.place_c[place][which]) - computed_c,
                            .outdoor_spread_k = basis->outdoor_spread_k,
                            .open_spread_k = life->learner.site[1].of[which].spread_k,
                            .open_error_k = open_error_k};

    if (said->is_said[place] && !life->now.moved[place] &&
        basis->position == life->now.position[place] &&
        cover_error_teaches(which, basis->light_wm2))
        learner_read(&life->learner, place, which, day, &reading);
}

/* The extreme of the time since the last reset, in the open, in the frame and under the fleece;
 * `ago` mornings ago it was first spoken of as the next one. */
static void read_all(Life *life, Extreme which, int ago)
{
    double open_c = seen_c(life, life->now.open_c[which]);
    double bias_k = life->learner.site[1].of[which].bias_k;
    double open_error_k = open_c - (life->said[ago].issued_c[0][which] + bias_k);
    int32_t day = life->w->today - ago;

    read_place(life, FRAME, which, &life->said[ago], day, open_error_k);
    read_place(life, FLEECE, which, &life->said[ago], day, open_error_k);
    for (int lead = 1; lead <= LEADS && lead - 1 + ago <= LEADS; lead++) {
        double issued_c = life->said[lead - 1 + ago].issued_c[lead - 1][which];
        if (isfinite(issued_c))
            learner_outdoors(&life->learner, lead, which, day, open_c - issued_c);
    }
    learner_look(&life->learner, day + 1);
    for (int i = 0; i < PLACES * POSITIONS_MAX; i++)
        life->errors[i] = learner_now(&life->learner, i / POSITIONS_MAX, i % POSITIONS_MAX);
}

static void reset(Life *life)
{
    life->now.open_c[EXTREME_LOW] = INFINITY;
    life->now.open_c[EXTREME_HIGH] = -INFINITY;
    for (int place = 0; place < PLACES; place++) {
        life->now.position[place] = position_over(life->w, place);
        life->now.place_c[place][EXTREME_LOW] = INFINITY;
        life->now.place_c[place][EXTREME_HIGH] = -INFINITY;
        life->now.moved[place] = false;
    }
}

static void note(double value_c, double *extremes_c)
{
    extremes_c[EXTREME_LOW] = fmin(extremes_c[EXTREME_LOW], value_c);
    extremes_c[EXTREME_HIGH] = fmax(extremes_c[EXTREME_HIGH], value_c);
}

/* ---- the truth and what is said of it ---- */

static void live_step(void *data, int c, const int *positions, const ChainForcing *forcing,
                      int64_t local_s, PlaceStep *met)
{
    Life *life = data;
    const Chain *chain = &life->w->chains[c];
    bool night = by_night(local_s);

    if (night && !life->night)
        read_all(life, EXTREME_HIGH, 0);
    else if (!night && life->night)
        read_all(life, EXTREME_LOW, 1);
    if (night != life->night)
        reset(life);
    life->night = night;
    reference_step(life->hidden[c], positions, forcing, met);
    note(forcing->next->air_c, life->now.open_c);
    for (int l = 0; l < chain->n; l++) {
        int place = chain->layers[l].place;
        note(met[l].air_c, life->now.place_c[place]);
        life->now.moved[place] =
            life->now.moved[place] ||
            (!in_evening(local_s) &&
             cover_error_position(chain, positions, l) != life->now.position[place]);
    }
}

static void foresee(void *data, int h, double lead_h, WeatherHour *hour)
{
    Life *life = data;
    int64_t local_s = hour->time_utc - hindcast_solar_day(life->w->at, life->w->today).midnight_utc;
    int64_t day = (local_s - (by_night(local_s) ? NIGHT_FROM_S : 0)) / DAY_S;

    forecaster_err(&life->forecaster, h, hour);
    if (day < LEADS && local_s > NIGHT_TO_S) {
        Extreme which = by_night(local_s) ? EXTREME_LOW : EXTREME_HIGH;
        double *issued_c = &life->said[0].issued_c[day][which], is_c = hour->temperature_c;
        *issued_c = which == EXTREME_LOW ? fmin(*issued_c, is_c) : fmax(*issued_c, is_c);
    }
    if (life->learns)
        learner_correct(&life->learner, fmax(1, lead_h), hour);
}

static void keep_said(Life *life, const Plan *plan)
{
    Said *said = &life->said[0];

    for (int i = 0; i < plan->n_predictions; i++) {
        const PlacePrediction *p = &plan->predictions[i];
        if (p->day != life->w->today)
            continue;
        said->places[p->place] = *p;
        said->is_said[p->place] = true;
    }
}

static Said said_nothing(void)
{
    Said said = {0};

    for (int day = 0; day < LEADS; day++)
        said.issued_c[day][EXTREME_LOW] = said.issued_c[day][EXTREME_HIGH] = NAN;
    return said;
}

static void plan_day(Life *life, Arena *arena, Plan *ret)
{
    memmove(&life->said[1], &life->said[0], LEADS * sizeof life->said[0]);
    life->said[0] = said_nothing();
    life->w->cover_errors = life->learns ? life->errors : NULL;
    world_plan(life->w, 0, arena, ret);
    keep_said(life, ret);
}

/* ---- a spring ---- */

typedef struct Spring {
    const char *crop, *destination;
    int year, month, day;
    guint32 seed;
} Spring;

static void begin(Life *life, Ground *g, const Station *at, const Spring *spring, bool learns,
                  GRand *random)
{
    int32_t start = hindcast_day(spring->year, spring->month, spring->day) - BEFORE_D;

    *life = (Life){.learns = learns, .random = random, .night = true};
    life->w = world_new(g->garden, at, g->days, spring->crop, spring->destination, start,
                        BEFORE_D + LIVED_D, 0);
    life->w->hooks = (WorldHooks){.data = life, .step = live_step, .foresee = foresee};
    learner_begin(&life->learner);
    reset(life);
    for (int c = 0; c < life->w->n_chains; c++) {
        const Chain *chain = &life->w->chains[c];
        for (int l = 0; l < chain->n; l++)
            learner_place(&life->learner, chain->layers[l].place, chain, l);
        if (!chain->indoors)
            life->hidden[c] = hidden_chain(random, chain, life->w->outlooks[0].deep_c);
    }
    forecaster_begin(random, at, g->days, start, start + BEFORE_D + LIVED_D, &life->forecaster);
    for (int lead = 0; lead <= LEADS; lead++)
        life->said[lead] = said_nothing();
    for (int i = 0; i < PLACES * POSITIONS_MAX; i++)
        life->errors[i] = learner_now(&life->learner, i / POSITIONS_MAX, i % POSITIONS_MAX);
}

static void end(Life *life)
{
    for (int c = 0; c < life->w->n_chains; c++)
        reference_free(life->hidden[c]);
    forecaster_clear(&life->forecaster);
    world_free(life->w);
}

static void plant_out(World *w)
{
    w->batch.place = w->batch.destination;
    w->batch.stage = STAGE_PLANTED_OUT;
    w->positions[w->batch.destination] = 0;
}

static Losses live(Ground *g, const Station *at, const Spring *spring, bool learns)
{
    g_autoptr(GRand) random = g_rand_new_with_seed(spring->seed);
    g_autofree Life *life = g_new0(Life, 1);
    Losses losses = {.days = LIVED_D};
    Watch before = watch_new(), watch = watch_new();

    begin(life, g, at, spring, learns, random);
    for (int day = -BEFORE_D; day < LIVED_D; day++) {
        World *w = life->w;
        Plan plan;
        plan_day(life, &g->arena, &plan);
        if (day < 0) {
            plan.n_visits = 0; /* the batch waits on the sill */
        } else if (w->batch.stage != STAGE_PLANTED_OUT && plan.outlooks[0].ready_utc != 0 &&
                   plan.outlooks[0].ready_utc <= w->now_utc) {
            plant_out(w);
            plan_day(life, &g->arena, &plan);
        }
        world_live(w, &plan, day < 0 ? &before : &watch);
        if (w->batch.stage == STAGE_PLANTED_OUT)
            losses.days = MIN(losses.days, day + 1);
        hidden_errors_next(&life->forecaster.errors);
    }
    losses.damage_kh = watch.damage_kh;
    losses.damage_days = watch.damage_days;
    losses.heat_kh = watch.heat_kh;
    end(life);
    return losses;
}

/* ---- tests ---- */

static int set_up(void **state)
{
    Ground **grounds = g_new0(Ground *, 2);

    *state = grounds;
    grounds[0] = ground_new(&chicago, "America/Chicago", "chicago.csv", hindcast_read_chicago);
    grounds[1] =
        ground_new(&seattle, "America/Los_Angeles", "seattle-weather.csv", hindcast_read_days);
    return grounds[0] != NULL && grounds[1] != NULL ? 0 : -1;
}

static int tear_down(void **state)
{
    Ground **grounds = *state;

    ground_free(grounds[0]);
    ground_free(grounds[1]);
    g_free(grounds);
    return 0;
}

static void add(Losses *sum, const Losses *one)
{
    sum->damage_kh += one->damage_kh;
    sum->damage_days += one->damage_days;
    sum->heat_kh += one->heat_kh;
    sum->days += one->days;
}

/* Batch-days as the plan weighs them. */
static double cost_days(const Losses *losses)
{
    return plan_weights_default().lost_batch * losses->damage_days + 0.5 * losses->heat_kh +
           losses->days;
}

static void print_losses(const char *words, int n, const Losses *sum)
{
    print_message("# %s: leaves damaged on %d days, by %.2f K·h; %.1f K·h above the heat limit; "
                  "planted after %.1f days; %.1f batch-days each\n",
                  words, sum->damage_days, sum->damage_kh, sum->heat_kh, (double)sum->days / n,
                  cost_days(sum) / n);
}

static const struct {
    const char *crop, *destination;
    int of, month, day, from, to;
} spans[] = {
    {"lettuce", "bed", 0, 4, 1, 2001, 2016},
    {"lettuce", "bed", 1, 3, 5, 2012, 2015},
    {"tomato", "fleece", 0, 5, 1, 2001, 2016}, /* not without being asked for more: time */
};

static void live_twice(Ground **grounds, size_t span, int year, guint32 seed, Losses *with,
                       Losses *without)
{
    const Spring spring = {.crop = spans[span].crop,
                           .destination = spans[span].destination,
                           .year = year,
                           .month = spans[span].month,
                           .day = spans[span].day,
                           .seed = seed};
    Ground *ground = grounds[spans[span].of];
    const Station *at = spans[span].of == 0 ? &chicago : &seattle;
    Losses learned = live(ground, at, &spring, true), assumed = live(ground, at, &spring, false);

    add(with, &learned);
    add(without, &assumed);
    if (g_getenv("THOLE_HINDCAST_LIST") != NULL) {
        print_message("# %s %d\n", spring.crop, year);
        print_losses("learned", 1, &learned);
        print_losses("as assumed", 1, &assumed);
    }
}

static void test_losses(void **state)
{
    Ground **grounds = *state;
    const char *times = g_getenv("THOLE_HINDCAST_TIMES");
    Losses with = {0}, without = {0};
    int n = 0;

    if (grounds[0]->days == NULL || grounds[1]->days == NULL) {
        print_message("# test-data is missing; .ci/setup fetches it\n");
        skip();
    }
    for (int t = 0; t < (times != NULL ? atoi(times) : 1); t++) {
        for (size_t i = 0; i < G_N_ELEMENTS(spans) - (times == NULL); i++) {
            for (int year = spans[i].from; year <= spans[i].to; year++)
                live_twice(grounds, i, year, SEED + (guint32)n++, &with, &without);
        }
    }
    print_message("# %d springs, seeds %u and on\n", n, SEED);
    print_losses("learned", n, &with);
    print_losses("as assumed", n, &without);
    double nights = (double)n * LIVED_D, accepted = grounds[0]->garden->risk.damage;
    assert_true(cost_days(&with) <= cost_days(&without));
    assert_true(with.damage_days <= nights * accepted);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_losses),
    };
    return cmocka_run_group_tests_name("hindcast-losses", tests, set_up, tear_down);
}
