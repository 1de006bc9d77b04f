/* SPDX-License-Identifier: MIT */
/*
 * Plans held against other rules, by figures of others: springs lived through in hidden gardens,
 * with forecasts that err, by the plan and by two rules of thumb. docs/hindcast.md.
 *
 * A slice of it; with THOLE_HINDCAST_ALL=1: everything, which takes most of an hour. With
 * THOLE_HINDCAST_LIST=1 each spring is printed.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <math.h>

#include "garden/garden.h"
#include "ramp/ramp.h"
#include "test-hindcast-hidden.h"
#include "test-hindcast-world.h"

#define SEED 19720405u
#define LIVED_D 40
#define AFTER_D 14 /* days that a planted batch is still watched */
#define DAY_H 24
#define MORNING_H 5 /* a day of the world begins */
#define DAY_S (DAY_H * 3600)
#define EVENING_S (18 * 3600)
#define ROWS_MAX 20000
#define DRAWS 2000

/* What the plants are scored by. */
typedef struct Scored {
    const char *crop;
    /* leaf: warm end of the damaging range for the kind (relative frost resistance of temperate
       crops, PMC10202904 table 2: tomato, cucumber +5 … 0; spring lettuce −2 … −4; white and
       spring cabbage, onions −4 … −7); celery: light-frost hardy down to 28 °F (Purdue HO-203) */
    double kills_c;
    double chills_c; /* tropical origin: 12.5 °C (FAO Frost protection, 2005, ch. 4); else none */
    /* no plant outside below this while hardening: 40 °F, 45 °F (California Master Gardener
       Handbook), nights of cucurbits and tomatoes 50 °F (University of Maryland Extension) */
    double cautious_c, night_c;
    int month, day;
    bool tender;
} Scored;

static const Scored crops[] = {
    {"cabbage", -4, -INFINITY, 4.4, 4.4, 4, 5, false},
    {"leek", -4, -INFINITY, 4.4, 4.4, 4, 5, false},
    {"lettuce", -2, -INFINITY, 7.2, 7.2, 4, 5, false},
    {"celery", -2.2, -INFINITY, 7.2, 7.2, 5, 1, false},
    {"tomato", 0, 12.5, 7.2, 10, 5, 10, true},
    {"courgette", 0, 12.5, 7.2, 10, 5, 10, true},
};

#define SILL "[place sill]\nkind=sill\nsite=home\n"
#define GROWER "[grower one]\n"

static const struct Layout {
    const char *name, *text, *site; /* where the pattern of visits is kept to */
    const char *hardy, *tender;     /* destinations */
} layouts[] = {
    {"sill and outdoors",
     SILL "[place terrace]\nkind=standing\nsite=home\n[place bed]\nkind=bed\nsite=home\n", "home",
     "bed", "bed"},
    {"with fleece",
     SILL "[place terrace]\nkind=standing\nsite=home\n[place cover]\nkind=fleece\ninside=terrace\n"
          "[place bed]\nkind=bed\nsite=home\n[place fleece]\nkind=fleece\ninside=bed\n",
     "home", "bed", "fleece"},
    {"frame at the plot",
     SILL "[place frame]\nkind=cold-frame\nsite=plot\n[place bed]\nkind=bed\nsite=plot\n"
          "[place fleece]\nkind=fleece\ninside=bed\n",
     "plot", "bed", "fleece"},
    {"tunnel and box",
     SILL "[place tunnel]\nkind=tunnel\nsite=plot\n[place box]\nkind=box\ninside=tunnel\n"
          "[place yard]\nkind=standing\nsite=plot\n"
          "[place bed]\nkind=bed\nsite=plot\n",
     "plot", "bed", "tunnel"},
};

static const struct Pattern {
    const char *name, *spans;
} patterns[] = {
    {"two a day", "07:30-08:00; 18:00-18:30"},
    {"evenings", "18:00-18:30"},
    {"three a week", "Tue,Thu 18:00-18:30; Sun 10:00-11:00"},
    {"weekends", "Sat-Sun 10:00-11:00"},
    {"as needed", "07:00-20:00"}, /* as the rules of thumb; without any cover only */
};

enum { TWO_A_DAY, EVENINGS, THREE_A_WEEK, WEEKENDS, AS_NEEDED };

/* One spring of one batch under one rule. */
typedef struct Row {
    int layout, pattern, crop; /* layout 0 and pattern 0 for the rules of thumb */
    int rule, spring;
    bool cold;                   /* 3 K colder than it was */
    int kill_days, visits, days; /* days until planted; -1 never */
    int days_of_two;             /* the same with two visits a day */
    double chill_h;
    bool in_order; /* half open, open by day, open at night, where each came */
    /* of the days until planted, those with more visits than two at home, one at the plot */
    int many_at_home, many_at_plot, lived;
    /* nights on which a hardened batch was brought in or covered: in vain where nothing would have
       been damaged; before it was planted, once nights may be open, and after */
    int nights[2], brought_in[2], in_vain[2];
} Row;

enum { PLANNED, CALENDAR, CAUTIOUS, RULES };
static const char *const rule_names[RULES] = {"planned", "calendar", "cautious"};

/* Where the springs were. */
static const struct {
    const Station *at;
    const char *zone, *file;
    DaysReader read;
    int from, to, step; /* years, and how many of them the slice goes on by */
} lands[] = {
    {&chicago, "America/Chicago", "chicago.csv", hindcast_read_chicago, 2001, 2016, 8},
    {&seattle, "America/Los_Angeles", "seattle-weather.csv", hindcast_read_days, 2012, 2015, 4},
    {&new_york, "America/New_York", "new-york-weather.csv", hindcast_read_days, 2012, 2015, 4},
};
#define GROUNDS G_N_ELEMENTS(lands)

typedef struct Matrix {
    Ground *grounds[GROUNDS];
    Row *rows;
    int n;
    bool all;
} Matrix;

/* ---- the hidden world ---- */

typedef struct Hidden {
    const World *w;
    ReferenceChain *chains[WORLD_PLACES];
    Forecaster forecaster;
    int left;           /* where a batch stood that was brought in today; -1 none was */
    double left_leaf_c; /* coldest leaf there in the night since */
} Hidden;

static void hidden_step(void *data, int c, const int *positions, const ChainForcing *forcing,
                        int64_t local_s, PlaceStep *met)
{
    Hidden *hidden = data;
    const Chain *chain = &hidden->w->chains[c];

    reference_step(hidden->chains[c], positions, forcing, met);
    for (int l = 0; l < chain->n; l++) {
        if (chain->layers[l].place == hidden->left && local_s > EVENING_S)
            hidden->left_leaf_c = fmin(hidden->left_leaf_c, met[l].leaf_c);
    }
}

static void hidden_foresee(void *data, int h, double lead_h, WeatherHour *hour)
{
    const Hidden *hidden = data;

    (void)lead_h;
    forecaster_err(&hidden->forecaster, h, hour);
}

static void hide(World *w, GRand *random, int32_t start, Hidden *hidden)
{
    *hidden = (Hidden){.w = w, .left = -1};
    for (int c = 0; c < w->n_chains; c++) {
        if (!w->chains[c].indoors)
            hidden->chains[c] = hidden_chain(random, &w->chains[c], w->outlooks[0].deep_c);
    }
    forecaster_begin(random, w->at, w->days, start, start + LIVED_D + 1, &hidden->forecaster);
    w->hooks = (WorldHooks){.data = hidden, .step = hidden_step, .foresee = hidden_foresee};
}

static void unhide(World *w, Hidden *hidden)
{
    for (int c = 0; c < w->n_chains; c++)
        reference_free(hidden->chains[c]);
    forecaster_clear(&hidden->forecaster);
}

/* ---- the rules ---- */

static void plant(World *w)
{
    w->batch.place = w->batch.destination;
    w->batch.stage = STAGE_PLANTED_OUT;
    w->positions[w->batch.destination] = 0;
}

/* What today's visits ask of the grower, before they are made. */
static void note_today(const World *w, const Plan *plan, Row *row, Hidden *hidden)
{
    int made[2] = {0, 0}, planted = w->batch.stage == STAGE_PLANTED_OUT;
    bool hardened = planted || w->batch.ramp.exposure_days >= RAMP_NIGHTS_FROM;

    hidden->left = -1;
    hidden->left_leaf_c = INFINITY;
    for (int v = 0; v < plan->n_visits && plan->visits[v].start_utc < w->now_utc + DAY_S; v++) {
        const Visit *visit = &plan->visits[v];
        made[visit->site]++;
        for (int j = visit->first_job; j < visit->first_job + visit->n_jobs; j++) {
            const Job *job = &plan->jobs[j];
            bool moves = job->kind == JOB_MOVE || job->kind == JOB_TRANSFER;
            if (hardened && moves &&
                (w->garden->places[job->place].indoors ||
                 (planted && w->garden->places[job->place].parent == job->from_place)))
                hidden->left = job->from_place;
        }
    }
    row->nights[planted] += hardened;
    if (planted)
        return;
    row->lived++;
    row->many_at_home += made[0] > 2;
    row->many_at_plot += made[1] > 1;
}

static void note_night(const Hidden *hidden, bool planted, Row *row)
{
    row->brought_in[planted] += hidden->left >= 0;
    row->in_vain[planted] += hidden->left >= 0 && hidden->left_leaf_c >= crops[row->crop].kills_c;
}

static void by_plan(World *w, Arena *arena, Row *row, Hidden *hidden, Watch *watch)
{
    int planted = 0;

    for (int day = 0; day < LIVED_D && planted <= AFTER_D; day++) {
        Plan plan;
        world_plan(w, 0, arena, &plan);
        const BatchOutlook *o = &plan.outlooks[0];
        if (w->batch.stage != STAGE_PLANTED_OUT && o->ready_utc != 0 &&
            o->ready_utc <= w->now_utc) {
            plant(w);
            world_plan(w, 0, arena, &plan);
        }
        int before = watch->visits;
        bool was_planted = w->batch.stage == STAGE_PLANTED_OUT;
        note_today(w, &plan, row, hidden);
        world_live(w, &plan, watch);
        note_night(hidden, was_planted, row);
        if (w->batch.stage == STAGE_PLANTED_OUT) {
            row->days = row->days < 0 ? day : row->days;
            planted++;
        } else {
            row->visits += watch->visits - before;
        }
        hidden_errors_next(&hidden->forecaster.errors);
    }
}

static double coldest_c(const World *w, int from, int to)
{
    double low_c = INFINITY;

    for (int i = from; i < to; i++)
        low_c = fmin(low_c, w->steps[i].air_c);
    return low_c;
}

static double windiest_ms(const World *w, int from, int to)
{
    double wind_ms = 0;

    for (int i = from; i < to; i++)
        wind_ms = fmax(wind_ms, w->steps[i].wind_ms);
    return wind_ms;
}

#define NOON ((12 - MORNING_H) * STEPS_PER_H)
#define DAY_STEPS (DAY_H * STEPS_PER_H)
#define WINDY_MS 8.0 /* "not on windy days"; chosen */
#define DAY_OUTINGS 7
#define NIGHTS 3

/*
 * Two hours from noon on the first day, an hour more on each, out for good from the eighth, planted
 * after three nights. `careful`: an outing or night is left out, and does not count, on a day of
 * wind or where the forecast is colder than extension services advise.
 */
static void by_rule(World *w, bool careful, Row *row, Hidden *hidden, Watch *watch)
{
    const Scored *scored = &crops[row->crop];
    int out = garden_find_place(w->garden, "terrace"), sill = w->batch.place, used = 0;
    int since = 0;

    for (int day = 0; day < LIVED_D && since <= AFTER_D; day++) {
        world_foresee(w);
        int to = used < DAY_OUTINGS ? NOON + (2 + used) * STEPS_PER_H : DAY_STEPS;
        double cold_c = used < DAY_OUTINGS ? scored->cautious_c : scored->night_c;
        bool may = !careful || (coldest_c(w, NOON, to) >= cold_c &&
                                windiest_ms(w, NOON, MIN(to, NOON + 8)) < WINDY_MS);
        if (used >= DAY_OUTINGS + NIGHTS) {
            if (row->days < 0)
                row->days = day;
            plant(w);
            world_outing(w, w->batch.destination, 0, DAY_STEPS, watch);
            since++;
        } else if (may) {
            /* out in the morning of the next night, where it was left out */
            row->visits += used < DAY_OUTINGS ? 2 : used == DAY_OUTINGS;
            world_outing(w, out, w->batch.place == out ? 0 : NOON, to, watch);
            used++;
        } else {
            row->visits += w->batch.place == out;
            w->batch.place = sill;
            world_outing(w, sill, 0, DAY_STEPS, watch);
        }
        hidden_errors_next(&hidden->forecaster.errors);
    }
}

/* ---- springs ---- */

typedef struct Spring {
    int number, ground, year, crop;
    double shift_k;
} Spring;

static void live(Matrix *m, const Garden *garden, const Spring *spring, Row *row,
                 const char *destination)
{
    const Scored *scored = &crops[spring->crop];
    Ground *ground = m->grounds[spring->ground];
    int32_t start = hindcast_day(spring->year, scored->month, scored->day);
    g_autoptr(GRand) random = g_rand_new_with_seed(SEED + (guint32)spring->number);
    g_autoptr(World) w = world_new(garden, lands[spring->ground].at, ground->days, scored->crop,
                                   destination, start, LIVED_D + 1, spring->shift_k);
    Hidden hidden;
    Watch watch = watch_new();

    watch.kills_c = scored->kills_c;
    watch.chills_c = scored->chills_c;
    row->crop = spring->crop;
    row->spring = spring->number;
    row->cold = spring->shift_k < 0;
    row->days = -1;
    hide(w, random, start, &hidden);
    if (row->rule == PLANNED)
        by_plan(w, &ground->arena, row, &hidden, &watch);
    else
        by_rule(w, row->rule == CAUTIOUS, row, &hidden, &watch);
    unhide(w, &hidden);
    row->kill_days = watch.kill_days;
    row->chill_h = watch.chill_h;
    int half = watch.first[FIRST_HALF_OPEN], day = watch.first[FIRST_OPEN_DAY],
        night = watch.first[FIRST_OPEN_NIGHT];
    row->in_order = (half < 0 || day < 0 || half <= day) && (day < 0 || night < 0 || day <= night);
    if (g_getenv("THOLE_HINDCAST_LIST") != NULL)
        print_message("# row %s,%d,%d,%s,%c%d,%d,%d,%d,%d,%.1f,%d,%d,%d,%d,%d,%d,%d,%d,%d,%d\n",
                      rule_names[row->rule], row->layout, row->pattern, scored->crop,
                      lands[spring->ground].zone[8], spring->year, row->cold, row->days,
                      row->visits, row->kill_days, row->chill_h, row->in_order, row->many_at_home,
                      row->many_at_plot, row->lived, row->nights[0], row->brought_in[0],
                      row->in_vain[0], row->nights[1], row->brought_in[1], row->in_vain[1]);
}

static Garden *garden_of(Matrix *m, int ground, int layout, int pattern)
{
    const struct Layout *l = &layouts[layout];
    g_autoptr(GError) error = NULL;
    bool away = strcmp(l->site, "plot") == 0;
    g_autofree char *text =
        g_strdup_printf("%s%svisits-%s=%s\n%s", l->text, GROWER, l->site, patterns[pattern].spans,
                        away ? "visits-home=07:00-07:30; 18:45-20:00\ntravel-minutes=15\n"
                               "visits-a-day-away=2\n"
                             : "");
    Garden *garden = ground_garden(lands[ground].at, lands[ground].zone, m->grounds[ground]->crops,
                                   text, &error);
    if (garden == NULL)
        fail_msg("%s: %s", l->name, error->message);
    return garden;
}

/* Fleece and frame, by who comes twice a day, and the frame by who comes three times a week. */
static bool in_slice(int layout, int pattern)
{
    return (layout == 1 && pattern == TWO_A_DAY) ||
           (layout == 2 && (pattern == TWO_A_DAY || pattern == THREE_A_WEEK));
}

/* All rules, layouts and patterns in one spring of one crop. */
static void live_spring(Matrix *m, const Spring *spring)
{
    const Scored *scored = &crops[spring->crop];
    int days_of_two = -1;

    for (int rule = CALENDAR; rule < RULES; rule++) {
        Garden *garden = garden_of(m, spring->ground, 0, 0);
        Row *row = &m->rows[m->n++];
        *row = (Row){.rule = rule};
        live(m, garden, spring, row, "bed");
        garden_free(garden);
    }
    for (int layout = 0; layout < (int)G_N_ELEMENTS(layouts); layout++) {
        for (int pattern = 0; pattern < (int)G_N_ELEMENTS(patterns); pattern++) {
            if (pattern == AS_NEEDED && layout != 0)
                continue;
            if (!m->all && !in_slice(layout, pattern))
                continue;
            Garden *garden = garden_of(m, spring->ground, layout, pattern);
            Row *row = &m->rows[m->n++];
            *row = (Row){.rule = PLANNED, .layout = layout, .pattern = pattern};
            live(m, garden, spring, row,
                 scored->tender ? layouts[layout].tender : layouts[layout].hardy);
            days_of_two = pattern == TWO_A_DAY ? row->days : days_of_two;
            row->days_of_two = days_of_two;
            garden_free(garden);
        }
    }
}

static void live_all(Matrix *m)
{
    int number = 0;

    for (int ground = 0; ground < (int)GROUNDS; ground++) {
        int step = m->all ? 1 : lands[ground].step;
        for (int year = lands[ground].from; year <= lands[ground].to; year += step) {
            for (int crop = 0; crop < (int)G_N_ELEMENTS(crops); crop += m->all ? 1 : 2) {
                for (int cold = m->all || crop == 0 ? 0 : 1; cold < 2; cold++) {
                    const Spring spring = {.number = number,
                                           .ground = ground,
                                           .year = year,
                                           .crop = crop,
                                           .shift_k = -3.0 * cold};
                    live_spring(m, &spring);
                    number++;
                }
            }
        }
    }
}

/* ---- the table ---- */

/* Mean over the rows of one kind, with its 95 % interval by bootstrap. */
typedef struct Mean {
    double is, low, high;
} Mean;

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

static Mean mean_of(const double *values, int n)
{
    g_autoptr(GRand) random = g_rand_new_with_seed(SEED);
    double means[DRAWS], sum = 0;

    for (int i = 0; i < n; i++)
        sum += values[i];
    for (int d = 0; d < DRAWS; d++) {
        means[d] = 0;
        for (int i = 0; i < n; i++)
            means[d] += values[g_rand_int_range(random, 0, n)] / n;
    }
    qsort(means, DRAWS, sizeof means[0], compare);
    return (Mean){sum / n, means[DRAWS / 40], means[DRAWS - DRAWS / 40]};
}

/* One line of the table; `pattern` and `crop` -1: all of them. */
typedef struct Line {
    int rule, layout, pattern, crop;
    int n, never;
    Mean kill_days, chill_h, visits, days;
} Line;

static Line line_of(const Matrix *m, int rule, int layout, int pattern, int crop)
{
    g_autofree double *values = g_new(double, 4 * (gsize)m->n + 1);
    double *kill = values, *chill = kill + m->n, *visits = chill + m->n, *days = visits + m->n;
    Line line = {.rule = rule, .layout = layout, .pattern = pattern, .crop = crop};
    int ready = 0;

    for (int i = 0; i < m->n; i++) {
        const Row *r = &m->rows[i];
        if (r->rule != rule || (rule == PLANNED && layout >= 0 && r->layout != layout) ||
            (rule == PLANNED && pattern >= 0 && r->pattern != pattern) ||
            (crop >= 0 && r->crop != crop))
            continue;
        kill[line.n] = r->kill_days;
        chill[line.n] = r->chill_h;
        visits[line.n++] = r->visits;
        line.never += r->days < 0;
        if (r->days >= 0)
            days[ready++] = r->days;
    }
    if (line.n == 0)
        return line;
    line.kill_days = mean_of(kill, line.n);
    line.chill_h = mean_of(chill, line.n);
    line.visits = mean_of(visits, line.n);
    if (ready > 0)
        line.days = mean_of(days, ready);
    return line;
}

static void print_line(const Line *l)
{
    if (l->n == 0)
        return;
    print_message("# | %s | %s | %s | %s | %d | %.2f (%.2f-%.2f) | %.0f | %.1f (%.1f-%.1f) | %.1f "
                  "(%.1f-%.1f) | %.0f %% |\n",
                  rule_names[l->rule],
                  l->rule != PLANNED ? "sill and outdoors"
                  : l->layout < 0    ? "all"
                                     : layouts[l->layout].name,
                  l->rule != PLANNED ? "as needed"
                  : l->pattern < 0   ? "all"
                                     : patterns[l->pattern].name,
                  l->crop < 0 ? "all" : crops[l->crop].crop, l->n, l->kill_days.is,
                  l->kill_days.low, l->kill_days.high, l->chill_h.is, l->visits.is, l->visits.low,
                  l->visits.high, l->days.is, l->days.low, l->days.high, 100.0 * l->never / l->n);
}

static void print_table(const Matrix *m)
{
    print_message("# | rule | garden | visits | crop | springs | days of loss | chill h | visits | "
                  "days until planted | never |\n");
    for (int rule = 0; rule < RULES; rule++) {
        for (int crop = -1; crop < (int)G_N_ELEMENTS(crops); crop++) {
            Line line = line_of(m, rule, -1, -1, crop);
            print_line(&line);
        }
    }
    for (int layout = 0; layout < (int)G_N_ELEMENTS(layouts); layout++) {
        for (int pattern = 0; pattern < (int)G_N_ELEMENTS(patterns); pattern++) {
            Line line = line_of(m, PLANNED, layout, pattern, -1);
            print_line(&line);
            for (int crop = 0; crop < (int)G_N_ELEMENTS(crops) && m->all; crop++) {
                line = line_of(m, PLANNED, layout, pattern, crop);
                print_line(&line);
            }
        }
    }
}

/* ---- tests ---- */

static int set_up(void **state)
{
    Matrix *m = g_new0(Matrix, 1);

    *state = m;
    m->all = g_getenv("THOLE_HINDCAST_ALL") != NULL;
    m->rows = g_new0(Row, ROWS_MAX);
    bool known = true;
    for (size_t i = 0; i < GROUNDS; i++) {
        m->grounds[i] = ground_new(lands[i].at, lands[i].zone, lands[i].file, lands[i].read);
        if (m->grounds[i] == NULL)
            return -1;
        known = known && m->grounds[i]->days != NULL;
    }
    if (known)
        live_all(m);
    return 0;
}

static int tear_down(void **state)
{
    Matrix *m = *state;

    for (size_t i = 0; i < GROUNDS; i++)
        ground_free(m->grounds[i]);
    g_free(m->rows);
    g_free(m);
    return 0;
}

/* A tenth of the calendar's losses at most, and no more visits than either rule. */
static void test_losses(void **state)
{
    const Matrix *m = *state;

    if (m->n == 0) {
        print_message("# test-data is missing; .ci/setup fetches it\n");
        skip();
    }
    print_message("# seeds %u and on\n", SEED);
    print_table(m);
    Line planned = line_of(m, PLANNED, -1, -1, -1), calendar = line_of(m, CALENDAR, -1, -1, -1),
         cautious = line_of(m, CAUTIOUS, -1, -1, -1);
    assert_true(planned.kill_days.is <= 0.1 * calendar.kill_days.is);
    assert_true(planned.visits.is <= calendar.visits.is);
    assert_true(planned.visits.is <= cautious.visits.is);
}

/* ---- what else is asked of the planned springs ---- */

/* What a row gives to a share: so much, of so much. */
typedef struct Part {
    double of, all;
} Part;

typedef struct Asked {
    const char *words;
    bool (*which)(const Row *row);
    Part (*part)(const Row *row);
} Asked;

/* The share over all rows asked about, with its 95 % interval by bootstrap; printed. */
static Mean share_of(const Matrix *m, const Asked *asked)
{
    g_autoptr(GRand) random = g_rand_new_with_seed(SEED);
    g_autoptr(GArray) parts = g_array_new(FALSE, FALSE, sizeof(Part));
    double shares[DRAWS], of = 0, all = 0;

    for (int i = 0; i < m->n; i++) {
        if (m->rows[i].rule != PLANNED || !asked->which(&m->rows[i]))
            continue;
        Part part = asked->part(&m->rows[i]);
        of += part.of;
        all += part.all;
        g_array_append_val(parts, part);
    }
    assert_true(all > 0);
    for (int d = 0; d < DRAWS; d++) {
        double some_of = 0, some_all = 0;
        for (guint i = 0; i < parts->len; i++) {
            const Part *part =
                &g_array_index(parts, Part, g_rand_int_range(random, 0, (int)parts->len));
            some_of += part->of;
            some_all += part->all;
        }
        shares[d] = some_all > 0 ? some_of / some_all : 0;
    }
    qsort(shares, DRAWS, sizeof shares[0], compare);
    Mean share = {of / all, shares[DRAWS / 40], shares[DRAWS - DRAWS / 40]};
    print_message("# %s: %.3f (%.3f-%.3f) of %.0f, in %u springs\n", asked->words, share.is,
                  share.low, share.high, all, parts->len);
    return share;
}

static bool is_hardy(const Row *row)
{
    return crops[row->crop].kills_c <= -4;
}

static bool is_any(const Row *row)
{
    return row->rule == PLANNED;
}

static bool comes_twice(const Row *row)
{
    return row->pattern == TWO_A_DAY && row->layout > 0;
}

/* An ordinary spring: as it was. */
static bool is_ordinary(const Row *row)
{
    return comes_twice(row) && is_hardy(row) && !row->cold;
}

static bool is_hardy_and_cold(const Row *row)
{
    return comes_twice(row) && is_hardy(row) && row->cold;
}

static bool is_hardy_in_frame(const Row *row)
{
    return is_hardy(row) && row->layout >= 2;
}

static bool is_hardy_without(const Row *row)
{
    return is_hardy(row) && row->layout < 2;
}

static Part in_order(const Row *row)
{
    return (Part){row->in_order, 1};
}

static Part in_time(const Row *row)
{
    return (Part){row->days >= 7 && row->days <= 16, 1};
}

static bool comes_thrice_a_week(const Row *row)
{
    return row->pattern == THREE_A_WEEK && row->layout > 0 && row->days_of_two >= 0;
}

/* At most half as long again as with two visits a day; never is not. */
static Part not_much_longer(const Row *row)
{
    return (Part){row->days >= 0 && row->days <= 1.5 * row->days_of_two, 1};
}

static Part brought_in_vain(const Row *row)
{
    return (Part){row->in_vain[0], row->nights[0]};
}

static Part covered_in_vain(const Row *row)
{
    return (Part){row->in_vain[1], row->nights[1]};
}

static Part many_at_home(const Row *row)
{
    return (Part){row->many_at_home, row->lived};
}

static Part many_at_plot(const Row *row)
{
    return (Part){row->many_at_plot, row->lived};
}

static void test_order(void **state)
{
    const Matrix *m = *state;
    const Asked asked = {"half open, open by day, open at night, in that order", is_ordinary,
                         in_order};

    if (m->n == 0)
        skip();
    assert_true(share_of(m, &asked).high >= 0.75); /* the slice has few */
}

/* A hardened hardy batch is not carried in, nor covered in the bed, for nothing. */
static void test_needless(void **state)
{
    const Matrix *m = *state;
    const Asked planted = {"nights on which hardies in the bed were covered for nothing", is_hardy,
                           covered_in_vain},
                frame =
                    {"hardies brought in from a frame or tunnel for nothing, open nights allowed",
                     is_hardy_in_frame, brought_in_vain},
                without = {"the same where there is no more than fleece", is_hardy_without,
                           brought_in_vain};

    if (m->n == 0)
        skip();
    (void)share_of(m, &without);
    assert_true(share_of(m, &planted).is < 0.03);
    assert_true(share_of(m, &frame).is < 0.03);
}

static void test_visits_a_day(void **state)
{
    const Matrix *m = *state;
    const Asked home = {"days with more than two visits at home", is_any, many_at_home},
                plot = {"days with more than one at the plot", is_any, many_at_plot};

    if (m->n == 0)
        skip();
    (void)share_of(m, &plot);
    assert_true(share_of(m, &home).is == 0);
}

static void test_days(void **state)
{
    const Matrix *m = *state;
    const Asked ordinary = {"hardies planted after 7 to 16 days, two visits a day", is_ordinary,
                            in_time},
                cold = {"the same, 3 K colder", is_hardy_and_cold, in_time},
                thrice = {"three visits a week: at most half as long again", comes_thrice_a_week,
                          not_much_longer};

    if (m->n == 0)
        skip();
    (void)share_of(m, &ordinary);
    (void)share_of(m, &cold);
    (void)share_of(m, &thrice);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_losses),   cmocka_unit_test(test_order),
        cmocka_unit_test(test_needless), cmocka_unit_test(test_visits_a_day),
        cmocka_unit_test(test_days),
    };
    return cmocka_run_group_tests_name("hindcast-matrix", tests, set_up, tear_down);
}
