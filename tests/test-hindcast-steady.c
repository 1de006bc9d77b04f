/* SPDX-License-Identifier: MIT */
/*
 * Whether plans stay as they were told when forecasts change: springs lived through twice under
 * forecasts that are issued every six hours, once by plans that know what is published and once by
 * plans that do not. Nothing else is different. docs/hindcast.md.
 *
 * THOLE_HINDCAST_ALL=1 lives every spring, which takes some minutes.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <math.h>

#include "garden/garden.h"
#include "test-hindcast-hidden.h"
#include "test-hindcast-world.h"

#define SEED 20020314u
#define LIVED_D 14
#define ISSUE_H 6
#define ISSUES_A_DAY (24 / ISSUE_H)
#define NEAR_S (2 * 86400)      /* what a grower has looked at */
#define SAME_VISIT_S (3 * 3600) /* further off it is another visit */
#define MOVED_S (15 * 60)       /* nearer it is the same time */
#define HEAT_PER_KH 0.5         /* batch-days, as the plan weighs it */
#define DRAWS 2000
#define SPRINGS_MAX 100

static const char garden_text[] = "[place sill]\n"
                                  "kind=sill\n"
                                  "site=home\n"
                                  "[place frame]\n"
                                  "kind=cold-frame\n"
                                  "site=home\n"
                                  "[place bed]\n"
                                  "kind=bed\n"
                                  "site=home\n"
                                  "[place fleece]\n"
                                  "kind=fleece\n"
                                  "inside=bed\n"
                                  "[grower one]\n"
                                  "visits-home=07:00-09:00; 17:00-20:00\n";

/* What a life came to. */
typedef struct Life {
    double changes, near_changes;         /* of published visits, a day */
    double withdrawn, added, moved, jobs; /* what they were */
    double damage_days, heat_kh, checks, visits, days;
} Life;

typedef struct Pair {
    Life with, without; /* knowing what is published, and not */
} Pair;

/* ---- what is published ---- */

typedef struct Published {
    GArray *visits, *jobs; /* (owned) (element-type Visit) (element-type Job) */
    int64_t until_utc;     /* how far the plan went */
    Plan plan;             /* as a World takes it */
} Published;

static Published *published_new(void)
{
    Published *p = g_new0(Published, 1);
    p->visits = g_array_new(FALSE, TRUE, sizeof(Visit));
    p->jobs = g_array_new(FALSE, TRUE, sizeof(Job));
    return p;
}

static void published_free(Published *p)
{
    g_array_unref(p->visits);
    g_array_unref(p->jobs);
    g_free(p);
}

G_DEFINE_AUTOPTR_CLEANUP_FUNC(Published, published_free)

/* Keeps what of a plan is still ahead at `from_utc`. */
static void publish(const Plan *plan, int64_t from_utc, int64_t until_utc, Published *p)
{
    g_array_set_size(p->visits, 0);
    g_array_set_size(p->jobs, 0);
    for (int v = 0; v < plan->n_visits; v++) {
        Visit visit = plan->visits[v];
        int first = visit.first_job;
        if (visit.start_utc < from_utc)
            continue;
        visit.first_job = (int)p->jobs->len;
        for (int j = first; j < first + visit.n_jobs; j++) {
            Job job = plan->jobs[j];
            job.visit = (int)p->visits->len;
            g_array_append_val(p->jobs, job);
        }
        g_array_append_val(p->visits, visit);
    }
    p->until_utc = until_utc;
    p->plan = (Plan){.visits = (Visit *)(void *)p->visits->data,
                     .n_visits = (int)p->visits->len,
                     .jobs = (Job *)(void *)p->jobs->data,
                     .n_jobs = (int)p->jobs->len};
}

static bool has_job(const Plan *plan, const Visit *visit, const Job *job)
{
    for (int j = visit->first_job; j < visit->first_job + visit->n_jobs; j++) {
        const Job *other = &plan->jobs[j];
        if (other->kind == job->kind && other->batch == job->batch && other->place == job->place &&
            (job->kind != JOB_SET_COVER || other->position == job->position))
            return true;
    }
    return false;
}

static bool same_jobs(const Plan *a, const Visit *va, const Plan *b, const Visit *vb)
{
    bool same = va->n_jobs == vb->n_jobs;
    for (int j = va->first_job; same && j < va->first_job + va->n_jobs; j++)
        same = has_job(b, vb, &a->jobs[j]);
    return same;
}

/* The new visit that an old one became; -1 none. */
static int became(const Plan *plan, const Visit *old, const bool *taken)
{
    int64_t nearest = SAME_VISIT_S + 1;
    int found = -1;

    for (int v = 0; v < plan->n_visits; v++) {
        int64_t off = ABS(plan->visits[v].start_utc - old->start_utc);
        if (!taken[v] && plan->visits[v].site == old->site && off < nearest) {
            nearest = off;
            found = v;
        }
    }
    return found;
}

static void note_change(int64_t start_utc, int64_t now_utc, double *kind, Life *life)
{
    *kind += 1.0 / LIVED_D;
    life->changes += 1.0 / LIVED_D;
    life->near_changes += start_utc < now_utc + NEAR_S ? 1.0 / LIVED_D : 0;
}

/* What a grower who has read the old plan finds other in the new one. */
static void count_changes(const Published *old, const Plan *plan, int64_t now_utc, Life *life)
{
    g_autofree bool *taken = g_new0(bool, (gsize)plan->n_visits + 1);

    for (int i = 0; i < old->plan.n_visits; i++) {
        const Visit *was = &old->plan.visits[i];
        int v = became(plan, was, taken);
        if (v < 0) {
            note_change(was->start_utc, now_utc, &life->withdrawn, life);
            continue;
        }
        taken[v] = true;
        if (ABS(plan->visits[v].start_utc - was->start_utc) > MOVED_S)
            note_change(was->start_utc, now_utc, &life->moved, life);
        else if (!same_jobs(&old->plan, was, plan, &plan->visits[v]))
            note_change(was->start_utc, now_utc, &life->jobs, life);
    }
    for (int v = 0; v < plan->n_visits; v++) {
        int64_t start_utc = plan->visits[v].start_utc;
        if (!taken[v] && start_utc < old->until_utc)
            note_change(start_utc, now_utc, &life->added, life);
    }
}

/* ---- a spring ---- */

typedef struct Hidden {
    ReferenceChain *chains[WORLD_PLACES];
    Forecaster forecaster;
} Hidden;

static void hidden_step(void *data, int c, const int *positions, const ChainForcing *forcing,
                        int64_t local_s, PlaceStep *met)
{
    const Hidden *hidden = data;

    (void)local_s;
    reference_step(hidden->chains[c], positions, forcing, met);
}

static void hidden_foresee(void *data, int h, double lead_h, WeatherHour *hour)
{
    const Hidden *hidden = data;

    (void)lead_h;
    forecaster_err(&hidden->forecaster, h, hour);
}

typedef struct Spring {
    const Station *at;
    Ground *ground;
    const Garden *garden;
    const char *crop, *destination;
    int32_t start;
    guint32 seed;
} Spring;

static void hide(World *w, const Spring *spring, GRand *random, Hidden *hidden)
{
    *hidden = (Hidden){0};
    for (int c = 0; c < w->n_chains; c++) {
        if (!w->chains[c].indoors)
            hidden->chains[c] = hidden_chain(random, &w->chains[c], w->outlooks[0].deep_c);
    }
    forecaster_begin(random, w->at, w->days, spring->start, spring->start + LIVED_D + 1,
                     &hidden->forecaster);
    w->hooks = (WorldHooks){.data = hidden, .step = hidden_step, .foresee = hidden_foresee};
}

static Life live(const Spring *spring, bool remembers)
{
    g_autoptr(GRand) random = g_rand_new_with_seed(spring->seed);
    g_autoptr(World) w = world_new(spring->garden, spring->at, spring->ground->days, spring->crop,
                                   spring->destination, spring->start, LIVED_D + 1, 0);
    g_autoptr(Published) published = published_new();
    Watch watch = watch_new();
    Life life = {.days = LIVED_D};
    Hidden hidden;

    hide(w, spring, random, &hidden);
    for (int issue = 0; issue < LIVED_D * ISSUES_A_DAY; issue++) {
        int64_t now_utc = w->now_utc;
        Plan plan;
        w->published = remembers && issue > 0 ? &published->plan : NULL;
        world_plan(w, 0, &spring->ground->arena, &plan);
        if (issue > 0)
            count_changes(published, &plan, now_utc, &life);
        world_live_hours(w, &plan, ISSUE_H, &watch);
        publish(&plan, w->now_utc, now_utc + (int64_t)WORLD_AHEAD_STEPS * STEP_S, published);
        if (w->batch.stage == STAGE_PLANTED_OUT)
            life.days = fmin(life.days, (double)issue / ISSUES_A_DAY);
        hidden_errors_after(&hidden.forecaster.errors, ISSUE_H);
    }
    for (int c = 0; c < w->n_chains; c++)
        reference_free(hidden.chains[c]);
    forecaster_clear(&hidden.forecaster);
    life.damage_days = watch.damage_days;
    life.heat_kh = watch.heat_kh;
    life.checks = watch.checks;
    life.visits = (double)watch.visits / LIVED_D;
    return life;
}

static const struct {
    const char *crop, *destination;
    int of, month, day, from, to;
} spans[] = {
    {"lettuce", "bed", 0, 4, 5, 2001, 2016},
    {"tomato", "fleece", 0, 5, 10, 2001, 2016},
    {"lettuce", "bed", 1, 4, 5, 2012, 2015},
};

typedef struct Steady {
    Ground *grounds[2];
    Garden *gardens[2];
    Pair pairs[SPRINGS_MAX];
    int n;
} Steady;

static const Station *const stations[2] = {&chicago, &seattle};
static const char *const zones[2] = {"America/Chicago", "America/Los_Angeles"};

#define SLICE_YEARS 8 /* of which the slice lives one */

static void live_all(Steady *s)
{
    bool all = g_getenv("THOLE_HINDCAST_ALL") != NULL;

    for (size_t i = 0; i < G_N_ELEMENTS(spans); i++) {
        for (int year = spans[i].from; year <= spans[i].to; year += all ? 1 : SLICE_YEARS) {
            const Spring spring = {.at = stations[spans[i].of],
                                   .ground = s->grounds[spans[i].of],
                                   .garden = s->gardens[spans[i].of],
                                   .crop = spans[i].crop,
                                   .destination = spans[i].destination,
                                   .start = hindcast_day(year, spans[i].month, spans[i].day),
                                   .seed = SEED + (guint32)s->n};
            s->pairs[s->n++] = (Pair){live(&spring, true), live(&spring, false)};
        }
    }
}

/* ---- the table ---- */

typedef double (*Value)(const Pair *pair);

static double changes_with(const Pair *p)
{
    return p->with.changes;
}

static double changes_without(const Pair *p)
{
    return p->without.changes;
}

static double near_with(const Pair *p)
{
    return p->with.near_changes;
}

static double near_without(const Pair *p)
{
    return p->without.near_changes;
}

/* Batch-days, as the plan weighs them. */
static double loss_of(const Life *life)
{
    PlanWeights weights = plan_weights_default();

    return weights.lost_batch * life->damage_days + HEAT_PER_KH * life->heat_kh +
           weights.check * life->checks;
}

static double loss_with(const Pair *p)
{
    return loss_of(&p->with);
}

static double loss_without(const Pair *p)
{
    return loss_of(&p->without);
}

static double loss_more(const Pair *p)
{
    return loss_of(&p->with) - loss_of(&p->without);
}

static double changes_fewer(const Pair *p)
{
    return p->without.changes - p->with.changes;
}

/* Mean over springs, with its 95 % interval by bootstrap. */
typedef struct Mean {
    double is, low, high;
} Mean;

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

static Mean mean_of(const Steady *s, Value value, const char *words)
{
    g_autoptr(GRand) random = g_rand_new_with_seed(SEED);
    double means[DRAWS] = {0}, sum = 0;

    for (int i = 0; i < s->n; i++)
        sum += value(&s->pairs[i]);
    for (int d = 0; d < DRAWS; d++) {
        for (int i = 0; i < s->n; i++)
            means[d] += value(&s->pairs[g_rand_int_range(random, 0, s->n)]) / s->n;
    }
    qsort(means, DRAWS, sizeof means[0], compare);
    Mean mean = {sum / s->n, means[DRAWS / 40], means[DRAWS - DRAWS / 40]};
    print_message("# %s: %.2f (%.2f-%.2f)\n", words, mean.is, mean.low, mean.high);
    return mean;
}

static void print_life(const Steady *s, const char *words, bool with)
{
    Life sum = {0};

    for (int i = 0; i < s->n; i++) {
        const Life *l = with ? &s->pairs[i].with : &s->pairs[i].without;
        sum.withdrawn += l->withdrawn / s->n;
        sum.added += l->added / s->n;
        sum.moved += l->moved / s->n;
        sum.jobs += l->jobs / s->n;
        sum.damage_days += l->damage_days;
        sum.heat_kh += l->heat_kh;
        sum.checks += l->checks;
        sum.visits += l->visits / s->n;
        sum.days += l->days / s->n;
    }
    print_message("# %s: a day %.2f withdrawn, %.2f added, %.2f moved, %.2f with other jobs; "
                  "%.2f visits a day; planted after %.1f days; in all %.0f days of damage, "
                  "%.1f K·h of heat, %.0f checks\n",
                  words, sum.withdrawn, sum.added, sum.moved, sum.jobs, sum.visits, sum.days,
                  sum.damage_days, sum.heat_kh, sum.checks);
}

/* ---- tests ---- */

static int tear_down(void **state)
{
    Steady *s = *state;

    for (int i = 0; i < 2; i++) {
        garden_free(s->gardens[i]);
        ground_free(s->grounds[i]);
    }
    g_free(s);
    return 0;
}

static int set_up(void **state)
{
    Steady *s = g_new0(Steady, 1);
    g_autoptr(GError) error = NULL;

    *state = s;
    s->grounds[0] = ground_new(stations[0], zones[0], "chicago.csv", hindcast_read_chicago);
    s->grounds[1] = ground_new(stations[1], zones[1], "seattle-weather.csv", hindcast_read_days);
    for (int i = 0; i < 2; i++) {
        if (s->grounds[i] == NULL)
            return -1;
        s->gardens[i] =
            ground_garden(stations[i], zones[i], s->grounds[i]->crops, garden_text, &error);
        if (s->gardens[i] == NULL)
            return -1;
    }
    if (s->grounds[0]->days != NULL && s->grounds[1]->days != NULL)
        live_all(s);
    return 0;
}

/* What is published changes less often than without knowing it, and safety does not pay for it. */
static void test_steady(void **state)
{
    const Steady *s = *state;

    if (s->n == 0) {
        print_message("# test-data is missing; .ci/setup fetches it\n");
        skip();
    }
    print_message("# %d springs of %d days, seeds %u and on\n", s->n, LIVED_D, SEED);
    print_life(s, "knowing what is published", true);
    print_life(s, "not knowing it", false);
    (void)mean_of(s, changes_with, "visits changed a day, knowing");
    (void)mean_of(s, changes_without, "visits changed a day, not knowing");
    (void)mean_of(s, near_with, "of the next two days, knowing");
    (void)mean_of(s, near_without, "of the next two days, not knowing");
    (void)mean_of(s, loss_with, "batch-days lost, knowing");
    (void)mean_of(s, loss_without, "batch-days lost, not knowing");
    Mean fewer = mean_of(s, changes_fewer, "fewer changes a day");
    Mean more = mean_of(s, loss_more, "batch-days lost more");
    assert_true(fewer.low > 0);
    assert_true(more.low <= 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_steady),
    };
    return cmocka_run_group_tests_name("hindcast-steady", tests, set_up, tear_down);
}
