/* SPDX-License-Identifier: MIT */
/*
 * The exact search of a window beside an integer programme solved by GLPK, on random gardens too
 * large to try everything: five to eight batches in up to four covered places on three chains. It
 * checks the search, not the physics: the coefficients are tabulated with evaluate_batch().
 *
 * Columns: one for each set of visits; for each course of settings of a chain; for each way of a
 * group of equal batches with the courses along it, as many as go that way. THOLE_TEST_ROUNDS says
 * how many gardens (200 take minutes), THOLE_TEST_SEED which first.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>
#include <glpk.h>

#include "plan-garden.h"
#include "plan/exact.h"

#define ROUNDS 8
#define SECOND_FRAME STANDING /* moved to the plot, and covered */
#define ARENA_SIZE ((size_t)192 << 20)
#define WAYS_MAX 4000 /* columns of ways in one programme; larger gardens are drawn again */
#define ENTRIES_MAX 400000
#define SOLVER_MS 20000
#define AGREE 1e-6
#define GUST_HARM 5.0 /* docs/plan.md, "The number" */

static World world;
static unsigned char *memory;
static uint64_t random_state;

static double chance(void)
{
    random_state = random_state * 6364136223846793005u + 1442695040888963407u;
    return (double)(random_state >> 11) / 9007199254740992.0;
}

static int pick(int n)
{
    return (int)(chance() * n);
}

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

/* ---- gardens ---- */

static void limit_positions(int place, int n)
{
    Cover *c = &world.places[place].cover;
    if (n == 2)
        c->positions[1] = c->positions[c->n_positions - 1];
    else if (n == 3)
        memmove(&c->positions[1], &c->positions[2], 2 * sizeof c->positions[0]);
    c->n_positions = n;
}

static void random_places(void)
{
    static const int covered[] = {FRAME, TUNNEL, BOX, SECOND_FRAME};
    Place *second = &world.places[SECOND_FRAME];
    char name[NAME_SIZE];
    memcpy(name, second->name, sizeof name);
    *second = world.places[FRAME];
    memcpy(second->name, name, sizeof name);
    limit_positions(FRAME, 2 + pick(2));
    limit_positions(BOX, 2);
    limit_positions(SECOND_FRAME, 2);
    world.places[FLEECE].trays = 0;
    for (int i = 0; i < 4; i++)
        world.places[covered[i]].trays = 2 + pick(5);
    if (chance() < 0.3)
        world.places[BOX].trays = 0;
    if (chance() < 0.3)
        world.places[SECOND_FRAME].trays = 0;
    int n = 0;
    for (int p = 0; p < N_PLACES; p++) {
        if (world.places[p].parent >= 0)
            continue;
        assert_true(chain_build(&world.garden, p, &world.chains[n]));
        chain_rest(&world.chains[n], world.mean_c, world.mean_c, &world.states[n]);
        n++;
    }
    world.snapshot.n_chains = n;
}

/* A place with room left; -1 after many tries. */
static int place_with_room(const int *taken, int trays)
{
    for (int tries = 0; tries < 50; tries++) {
        int p = (int[]){FRAME, TUNNEL, BOX, SECOND_FRAME}[pick(4)];
        if (taken[p] + trays <= world.places[p].trays)
            return p;
    }
    return -1;
}

static bool random_batches(void)
{
    int taken[N_PLACES] = {0}, n = 5 + pick(4);
    double may_move = 0.2 + 0.6 * chance();
    for (int i = 0; i < n; i++) {
        int trays = 1 + pick(2), place = place_with_room(taken, trays);
        if (place < 0)
            return false;
        world_batch(&world, i, chance() < 0.8 ? CABBAGE : TOMATO, place, BED,
                    chance() < may_move ? STAGE_HARDENING : STAGE_GROWING_ON);
        Batch *batch = &world.batches[i];
        RampState *r = &batch->ramp;
        if (batch->stage == STAGE_GROWING_ON)
            batch->sown_utc = START_UTC - 14 * 86400; /* too small to harden */
        batch->trays = trays;
        batch->resowable = chance() < 0.5;
        r->exposure_days = pick(7);
        r->hardened_to_c -= 7.0 * chance();
        r->frost_tolerance = sqrt(chance());
        if (i > 0 && chance() < 0.3) { /* equal batches */
            const Batch *before = &world.batches[i - 1];
            char name[NAME_SIZE];
            memcpy(name, batch->name, sizeof name);
            if (taken[before->place] + before->trays <= world.places[before->place].trays)
                *batch = *before;
            memcpy(batch->name, name, sizeof name);
        }
        taken[batch->place] += batch->trays;
    }
    return true;
}

static bool random_garden(void)
{
    bool mild = chance() < 0.7, thrice = chance() < 0.15;
    const int hours[] = {7, 12, 18};
    world_open(&world, mild ? 9.0 + 5.0 * chance() : 2.0 + 14.0 * chance(), 2.0 + 6.0 * chance(),
               chance());
    world_windows(&world, chance() < 0.7);
    if (thrice)
        world.snapshot.n_windows = 0;
    for (int i = 0; thrice && i < 30; i++) {
        int64_t midnight = START_UTC + (int64_t)(i / 3) * 86400,
                from = midnight + (int64_t)hours[i % 3] * 3600;
        world.windows[world.snapshot.n_windows++] =
            (VisitWindow){.site = PLOT,
                          .day = (int32_t)(midnight / 86400),
                          .from_utc = from,
                          .to_utc = from + STEP_S};
    }
    world.cold_night = 1;
    world.cold_night_k = mild ? 2.0 * chance() : 6.0 * chance();
    world_weather(&world);
    int from = pick(24), to = from + pick(24);
    for (int i = from; chance() < 0.9 && i < to; i++) /* a gale, in one garden of several */
        world.steps[PLOT][i + 48 * pick(2)].gust_ms = from % 5 == 0 ? 20.0 : 4.0;
    random_places();
    if (!random_batches())
        return false;
    for (int p = 0; p < N_PLACES; p++) {
        if (world.places[p].covered)
            world.positions[p] = pick(world.places[p].cover.n_positions);
    }
    return true;
}

/* ---- the integer programme ---- */

typedef struct Group {
    int leader, n;
    bool free;
} Group;

/* A way of a group through a set of visits, under the courses of the chains along it. */
typedef struct Way {
    int set, group, places[SEGMENTS_MAX];
    int prefix[N_PLACES], upto[N_PLACES]; /* per chain: settings up to that visit; 0 none */
    double broken, number;
    int column;
} Way;

typedef struct Chains { /* the covers of one chain that could be over a batch */
    int n, place[CHAIN_LAYERS_MAX], settings, first_column, power[SEGMENTS_MAX];
} Chains;

typedef struct Programme {
    Board *b;
    const Window *w;
    Schedule *s;
    glp_prob *ip;
    Group groups[WORLD_BATCHES];
    int n_groups, n_sets, set_column[1 << SLOTS_MAX];
    unsigned set_slots[1 << SLOTS_MAX];
    Chains chains[N_PLACES];
    int course_column[1 << SLOTS_MAX][N_PLACES];
    Way *ways;
    int n_ways, n_entries, *rows, *columns;
    double *entries, tabulated_s;
    double *column_broken, *column_number; /* by column */
    Track tracks[N_PLACES], *known[N_PLACES];
    bool too_large;
} Programme;

static int column_new(Programme *p, int kind, double most, double broken, double number)
{
    int column = glp_add_cols(p->ip, 1);
    glp_set_col_kind(p->ip, column, most == 1.0 ? GLP_BV : kind);
    if (most != 1.0)
        glp_set_col_bnds(p->ip, column, GLP_DB, 0.0, most);
    p->column_broken[column] = broken;
    p->column_number[column] = number;
    return column;
}

static int row_new(Programme *p, int kind, double bound)
{
    int row = glp_add_rows(p->ip, 1);
    glp_set_row_bnds(p->ip, row, kind, bound, bound);
    return row;
}

static void entry(Programme *p, int row, int column, double value)
{
    if (p->n_entries + 1 >= ENTRIES_MAX) {
        p->too_large = true;
        return;
    }
    p->n_entries++; /* counted from 1 */
    p->rows[p->n_entries] = row;
    p->columns[p->n_entries] = column;
    p->entries[p->n_entries] = value;
}

static double rate(const Programme *p, int visit)
{
    return world.garden.growers[p->s->grower[visit]].minutes_per_batch_day;
}

static bool is_place(int place)
{
    return world.places[place].site == PLOT && world.places[place].covered &&
           world.places[place].trays > 0;
}

static bool is_over(int cover, int place)
{
    while (place >= 0 && place != cover)
        place = world.places[place].parent;
    return place == cover;
}

/* The position of one cover after visit `k`, in a course of `visits` visits. */
static int digit(const Chains *c, int course, int visits, int k, int cover)
{
    int setting = course / c->power[visits - k] % c->settings;
    for (int j = 0; j < cover; j++)
        setting /= world.places[c->place[j]].cover.n_positions;
    return setting % world.places[c->place[cover]].cover.n_positions;
}

static void set_course(Programme *p, int chain, int course)
{
    const Chains *c = &p->chains[chain];
    int n = p->s->n_visits;
    for (int k = 1; k <= n; k++) {
        for (int j = 0; j < c->n; j++)
            p->s->positions[k][c->place[j]] = digit(c, course, n, k, j);
    }
}

/* Whether a gust above the cover's limit falls into a segment. */
static bool gust_in(const Programme *p, int place, int segment)
{
    int end = segment_end(p->w, p->s, segment);
    for (int i = segment_start(p->w, p->s, segment); i < end; i++) {
        if (world.steps[PLOT][i].gust_ms > world.places[place].cover.gust_limit_ms)
            return true;
    }
    return false;
}

/* The settings of the chains of a way, one number each; counts on, false after the last. */
static bool next_courses(const Programme *p, Way *way)
{
    for (int c = 0; c < world.snapshot.n_chains; c++) {
        if (++way->prefix[c] < p->chains[c].power[way->upto[c]])
            return true;
        way->prefix[c] = 0;
    }
    return false;
}

static void tabulate(Programme *p, Way *way)
{
    BatchResult result;
    const Group *g = &p->groups[way->group];
    Tracks air;
    int n = p->s->n_visits;
    for (int c = 0; c < world.snapshot.n_chains; c++) {
        bool along = false;
        for (int k = 0; k <= n; k++)
            along = along || p->b->chain_of[way->places[k]] == c;
        if (!along)
            continue;
        int course = way->prefix[c] * p->chains[c].power[n - way->upto[c]];
        set_course(p, c, course);
        if (p->known[c][course].steps == NULL)
            p->known[c][course] = track_scheduled(p->b, c, p->w, p->s, NULL);
        p->tracks[c] = p->known[c][course];
    }
    for (int k = 0; k < SEGMENTS_MAX; k++)
        air.of[k] = p->tracks;
    for (int k = 0; k <= n; k++)
        p->s->places[k][g->leader] = way->places[k];
    evaluate_batch(p->b, p->w, p->s, &air, g->leader, &result);
    assert_false(p->b->arena->failed);
    way->broken = result.broken;
    way->number = result.loss + result.checks + result.delay;
    for (int v = 0; v < n; v++) {
        if (way->places[v] != way->places[v + 1])
            way->number += p->b->s->weights.move_min / rate(p, v);
    }
}

/* All ways of one group through the set of visits at hand. */
static void add_ways(Programme *p, int group, int segment, Way *way)
{
    const Group *g = &p->groups[group];
    if (segment <= p->s->n_visits) {
        for (int at = 0; at < N_PLACES; at++) {
            int now = p->b->stand.places[g->leader];
            if (at != now && (!g->free || !is_place(at) ||
                              world.batches[g->leader].trays > world.places[at].trays))
                continue;
            way->places[segment] = at;
            add_ways(p, group, segment + 1, way);
        }
        return;
    }
    /* At the very start the half-hour that begins tells of frost, so the first setting matters. */
    bool at_once = p->s->n_visits > 0 && p->s->visit_step[0] <= p->w->first;
    for (int c = 0; c < N_PLACES; c++)
        way->prefix[c] = way->upto[c] = 0;
    for (int k = 0; k <= p->s->n_visits; k++)
        way->upto[p->b->chain_of[way->places[k]]] = k == 0 && at_once ? 1 : k;
    do {
        if (p->n_ways == WAYS_MAX) {
            p->too_large = true;
            return;
        }
        Way *new = &p->ways[p->n_ways];
        *new = *way;
        new->group = group;
        tabulate(p, new);
        new->column = column_new(p, GLP_IV, g->n, new->broken, new->number);
        p->n_ways++;
    } while (next_courses(p, way));
}

/* One course of each chain, if these visits are made; what setting its covers costs. */
static void add_courses(Programme *p, int set)
{
    int n = p->s->n_visits;
    for (int i = 0; i < world.snapshot.n_chains; i++) {
        Chains *c = &p->chains[i];
        int one = row_new(p, GLP_FX, 0.0);
        entry(p, one, p->set_column[set], -1.0);
        for (int course = 0; course < c->power[n]; course++) {
            double work = 0.0;
            set_course(p, i, course);
            for (int k = 1; k <= n; k++) {
                for (int j = 0; j < c->n; j++)
                    work += p->s->positions[k][c->place[j]] == p->s->positions[k - 1][c->place[j]]
                                ? 0.0
                                : p->b->s->weights.cover_min / rate(p, k - 1);
            }
            int column = column_new(p, GLP_BV, 1.0, 0.0, work);
            if (course == 0)
                p->course_column[set][i] = column;
            entry(p, one, column, 1.0);
        }
    }
}

/* Every batch of a group goes some way; it meets the settings that are chosen. */
static void link_group(Programme *p, int set, int group, int first)
{
    int n = p->s->n_visits, all = row_new(p, GLP_FX, 0.0);
    entry(p, all, p->set_column[set], -p->groups[group].n);
    for (int i = first; i < p->n_ways; i++)
        entry(p, all, p->ways[i].column, 1.0);
    for (int c = 0; c < world.snapshot.n_chains; c++) {
        const Chains *chain = &p->chains[c];
        for (int upto = 1; chain->settings > 1 && upto <= n; upto++) {
            int row = glp_get_num_rows(p->ip);
            bool any = false;
            for (int i = first; i < p->n_ways; i++)
                any = any || p->ways[i].upto[c] == upto;
            for (int q = 0; any && q < chain->power[upto]; q++) {
                int link = row_new(p, GLP_UP, 0.0), after = chain->power[n - upto];
                for (int k = 0; k < after; k++)
                    entry(p, link, p->course_column[set][c] + q * after + k, -p->groups[group].n);
            }
            for (int i = first; any && i < p->n_ways; i++) {
                if (p->ways[i].upto[c] == upto)
                    entry(p, row + 1 + p->ways[i].prefix[c], p->ways[i].column, 1.0);
            }
        }
    }
}

/* Room; covers over nothing are left alone. */
static void add_room(Programme *p, int set, int first)
{
    int n = p->s->n_visits;
    for (int k = 1; k <= n; k++) {
        for (int at = 0; at < N_PLACES; at++) {
            int row = is_place(at) ? row_new(p, GLP_UP, world.places[at].trays) : 0;
            for (int i = first; row > 0 && i < p->n_ways; i++) {
                const Way *way = &p->ways[i];
                if (way->places[k] == at)
                    entry(p, row, way->column, world.batches[p->groups[way->group].leader].trays);
            }
        }
        for (int c = 0; c < world.snapshot.n_chains; c++) {
            const Chains *chain = &p->chains[c];
            for (int j = 0; j < chain->n; j++) {
                int row = row_new(p, GLP_UP, 0.0), now = p->b->stand.positions[chain->place[j]];
                for (int course = 0; course < chain->power[n]; course++) {
                    int before = k == 1 ? now : digit(chain, course, n, k - 1, j);
                    if (digit(chain, course, n, k, j) != before)
                        entry(p, row, p->course_column[set][c] + course, 1.0);
                }
                for (int i = first; i < p->n_ways; i++) {
                    if (is_over(chain->place[j], p->ways[i].places[k]))
                        entry(p, row, p->ways[i].column, -1.0);
                }
            }
        }
    }
}

/* A light that stands open over plants in a gust above its limit. */
static void add_gusts(Programme *p, int first)
{
    for (int k = 0; k <= p->s->n_visits; k++) {
        for (int c = 0; c < world.snapshot.n_chains; c++) {
            const Chains *chain = &p->chains[c];
            for (int j = 0; j < chain->n; j++) {
                int cover = chain->place[j];
                if (world.places[cover].cover.porous || !gust_in(p, cover, k))
                    continue;
                int harmed = column_new(p, GLP_BV, 1.0, GUST_HARM, 0.0),
                    row = row_new(p, GLP_UP, 0.0);
                entry(p, row, harmed, -WORLD_BATCHES);
                for (int i = first; i < p->n_ways; i++) {
                    const Way *way = &p->ways[i];
                    if (!is_over(cover, way->places[k]))
                        continue;
                    int at = k == 0 ? p->b->stand.positions[cover]
                                    : digit(chain, way->prefix[c], way->upto[c], k, j);
                    if (at != 0)
                        entry(p, row, way->column, 1.0);
                }
            }
        }
    }
}

static void stand_still(Programme *p)
{
    for (int k = 0; k < SEGMENTS_MAX; k++) {
        memcpy(p->s->positions[k], p->b->stand.positions, N_PLACES * sizeof(int));
        memcpy(p->s->places[k], p->b->stand.places, (size_t)world.snapshot.n_batches * sizeof(int));
    }
}

static void add_set(Programme *p, const Search *q, unsigned slots, int one)
{
    stand_still(p);
    if (!set_visits(q, slots, p->s))
        return;
    int set = p->n_sets++, first = p->n_ways;
    double work = 0.0;
    for (int v = 0; v < p->s->n_visits; v++)
        work += p->b->s->weights.visit_min / rate(p, v);
    p->set_slots[set] = slots;
    p->set_column[set] = column_new(p, GLP_BV, 1.0, 0.0, work);
    entry(p, one, p->set_column[set], 1.0);
    for (int c = 0; c < world.snapshot.n_chains; c++) {
        for (int k = 0; k <= p->s->n_visits; k++)
            p->chains[c].power[k] = k == 0 ? 1 : p->chains[c].power[k - 1] * p->chains[c].settings;
        int n = p->chains[c].power[p->s->n_visits];
        p->known[c] = ARENA_NEW(p->b->arena, n, Track);
        p->too_large = p->too_large || n > 600 || p->known[c] == NULL;
        p->tracks[c] = (Track){0};
    }
    if (p->too_large)
        return;
    add_courses(p, set);
    for (int g = 0; g < p->n_groups && !p->too_large; g++) {
        int mine = p->n_ways;
        Way way = {.set = set};
        way.places[0] = p->b->stand.places[p->groups[g].leader];
        add_ways(p, g, 1, &way);
        link_group(p, set, g, mine);
    }
    add_room(p, set, first);
    add_gusts(p, first);
}

/* Hardening ones may be moved; others where a limit would be passed if nothing was done. */
static void open_groups(Programme *p)
{
    BatchResult results[WORLD_BATCHES];
    PlanValue idle;
    bool reached[N_PLACES] = {false};
    assert_true(evaluate_exact(p->b, p->w, p->s, results, NULL, &idle));
    for (int i = 0; i < world.snapshot.n_batches; i++) {
        if (p->b->leader[i] != i)
            continue;
        Group *g = &p->groups[p->n_groups++];
        *g = (Group){.leader = i,
                     .free = results[i].broken > 0.0 || world.batches[i].stage == STAGE_HARDENING};
        for (int j = i; j < world.snapshot.n_batches; j++)
            g->n += p->b->leader[j] == i;
        for (int at = 0; at < N_PLACES; at++) {
            bool here = p->b->stand.places[i] == at || (g->free && is_place(at));
            for (int up = at; here && up >= 0; up = world.places[up].parent)
                reached[up] = true;
        }
    }
    for (int c = 0; c < world.snapshot.n_chains; c++) {
        Chains *chain = &p->chains[c];
        *chain = (Chains){.settings = 1};
        for (int at = 0; at < N_PLACES; at++) {
            if (p->b->chain_of[at] != c || !reached[at] || !world.places[at].covered)
                continue;
            chain->place[chain->n++] = at;
            chain->settings *= world.places[at].cover.n_positions;
        }
    }
}

/* What is chosen, as a schedule of the planner's. */
static void read_schedule(Programme *p, const Search *q)
{
    stand_still(p);
    int set = 0, gone[WORLD_BATCHES] = {0};
    while (glp_mip_col_val(p->ip, p->set_column[set]) < 0.5)
        set++;
    assert_true(set_visits(q, p->set_slots[set], p->s));
    int n = p->s->n_visits;
    for (int c = 0; c < world.snapshot.n_chains; c++) {
        Chains *chain = &p->chains[c];
        for (int k = 0; k <= n; k++)
            chain->power[k] = k == 0 ? 1 : chain->power[k - 1] * chain->settings;
        for (int course = 0; course < chain->power[n]; course++) {
            if (glp_mip_col_val(p->ip, p->course_column[set][c] + course) > 0.5)
                set_course(p, c, course);
        }
    }
    for (int i = 0; i < p->n_ways; i++) {
        const Way *way = &p->ways[i];
        const Group *g = &p->groups[way->group];
        for (int times = (int)lround(glp_mip_col_val(p->ip, way->column)); times > 0; times--) {
            int batch = g->leader, nth = gone[way->group]++;
            while (p->b->leader[batch] != g->leader || nth-- > 0)
                batch++;
            for (int k = 0; k <= n; k++)
                p->s->places[k][batch] = way->places[k];
        }
    }
}

typedef enum Outcome { SOLVED, NONE_WITHIN, OUT_OF_TIME } Outcome;

/* Least of `number` within the limits, else of broken + number. */
static Outcome solve(Programme *p, bool within, double *ret_s)
{
    glp_iocp how;
    glp_init_iocp(&how);
    how.msg_lev = GLP_MSG_OFF;
    how.presolve = GLP_ON;
    how.tm_lim = SOLVER_MS;
    how.tol_int = 1e-7;
    how.tol_obj = 1e-9;
    for (int i = 1; i <= glp_get_num_cols(p->ip); i++) {
        bool breaks = p->column_broken[i] > 1e-9;
        glp_set_obj_coef(p->ip, i, p->column_number[i] + (within ? 0.0 : p->column_broken[i]));
        if (breaks && within)
            glp_set_col_bnds(p->ip, i, GLP_FX, 0.0, 0.0);
        else if (breaks)
            glp_set_col_bnds(p->ip, i, GLP_DB, 0.0, WORLD_BATCHES);
    }
    double begin = now_s();
    int error = glp_intopt(p->ip, &how);
    *ret_s += now_s() - begin;
    if (error == GLP_ETMLIM)
        return OUT_OF_TIME;
    assert_true(error == 0 || error == GLP_ENOPFS);
    return error == 0 && glp_mip_status(p->ip) == GLP_OPT ? SOLVED : NONE_WITHIN;
}

static void programme_free(Programme *p)
{
    glp_delete_prob(p->ip);
    free(p->ways);
    free(p->rows);
    free(p->columns);
    free(p->entries);
    free(p->column_broken);
    free(p->column_number);
}

static void programme_open(Programme *p, Board *b, const Window *w)
{
    const size_t columns = WAYS_MAX + 20000, n = ENTRIES_MAX + 1;
    *p = (Programme){.b = b, .w = w, .s = schedule_new(b, &b->stand), .ip = glp_create_prob()};
    p->ways = calloc(WAYS_MAX, sizeof *p->ways);
    p->rows = calloc(n, sizeof *p->rows);
    p->columns = calloc(n, sizeof *p->columns);
    p->entries = calloc(n, sizeof *p->entries);
    p->column_broken = calloc(columns, sizeof(double));
    p->column_number = calloc(columns, sizeof(double));
    assert_true(p->ways && p->rows && p->columns && p->entries && p->column_broken &&
                p->column_number);
    glp_set_obj_dir(p->ip, GLP_MIN);
    open_groups(p);
}

static void programme_fill(Programme *p, const Search *q)
{
    double begin = now_s();
    int one = row_new(p, GLP_FX, 1.0);
    for (unsigned slots = 0; slots < 1u << p->w->n_slots && !p->too_large; slots++) {
        if (__builtin_popcount(slots) <= VISITS_MAX)
            add_set(p, q, slots, one);
    }
    if (!p->too_large)
        glp_load_matrix(p->ip, p->n_entries, p->rows, p->columns, p->entries);
    p->tabulated_s = now_s() - begin;
}

/* ---- the two beside each other ---- */

typedef struct Tally {
    int gardens, within, better, out_of_time, not_proved, visits[VISITS_MAX + 1];
    long ways;
    double search_s, solver_s, tabulated_s, worst;
} Tally;

static double one_number(const PlanValue *v)
{
    return v->number + (v->broken <= 1e-9 ? 0.0 : v->broken);
}

static void compare(Programme *p, const Search *q, const PlanValue *found, const ExactProof *proof,
                    uint64_t seed, Tally *tally)
{
    PlanValue value;
    BatchResult results[WORLD_BATCHES];
    Outcome outcome = solve(p, true, &tally->solver_s);
    if (outcome == NONE_WITHIN)
        outcome = solve(p, false, &tally->solver_s);
    if (outcome == OUT_OF_TIME) {
        print_message("seed %llu: the solver ran out of time\n", (unsigned long long)seed);
        tally->out_of_time++;
        return;
    }
    assert_int_equal(outcome, SOLVED);
    read_schedule(p, q);
    assert_true(evaluate_exact(p->b, p->w, p->s, results, NULL, &value));
    double theirs = one_number(&value), mine = one_number(found);
    bool same_side = (value.broken <= 1e-9) == (found->broken <= 1e-9);
    bool agree =
        proof->proved ? same_side && fabs(theirs - mine) <= AGREE : theirs >= proof->bound - AGREE;
    if (!agree || (same_side && fabs(theirs - glp_mip_obj_val(p->ip)) > AGREE))
        fail_msg("seed %llu: search %.9g + %.9g, solver %.9g + %.9g, its own sum %.9g",
                 (unsigned long long)seed, found->broken, found->number, value.broken, value.number,
                 glp_mip_obj_val(p->ip));
    tally->worst = fmax(tally->worst, proof->proved ? fabs(theirs - mine) : 0.0);
    tally->within += value.broken <= 1e-9;
    tally->visits[p->s->n_visits]++;
}

/* False where the garden is too large. */
static bool hold_against(uint64_t seed, Tally *tally)
{
    Arena arena = {.base = memory, .size = ARENA_SIZE};
    Plan plan = {0};
    Board b;
    Programme p;
    Search q;
    random_state = seed;
    (void)chance();
    if (!random_garden())
        return false;
    assert_true(board_open(&b, &world.snapshot, &arena, &plan));
    int i = 0, skip = pick(2);
    while (b.windows[i].site != PLOT || b.windows[i].n_slots == 0 || skip-- > 0)
        i++;
    const Window *w = &b.windows[i];
    b.budget = UINT64_MAX;
    b.work_ahead = chance() * 2.0;
    board_group(&b);
    assert_true(tracks_open(&b));
    assert_true(search_open(&b, w, &q));
    programme_open(&p, &b, w);
    programme_fill(&p, &q);
    if (p.too_large || p.n_ways < 100) { /* too small is for the brute force */
        programme_free(&p);
        return false;
    }
    assert_true(tracks_open(&b));
    const ExactTask task = {.most = VISITS_MAX, .evaluations = UINT64_MAX / 2};
    Schedule *schedule = schedule_new(&b, &b.stand);
    PlanValue found, idle;
    ExactProof proof;
    assert_true(evaluate_exact(&b, w, schedule, q.results, NULL, &idle));
    found = idle;
    double begin = now_s();
    assert_true(exact_window(&q, &task, schedule, &found, &proof));
    tally->search_s += now_s() - begin;
    tally->not_proved += !proof.proved;
    tally->better += plan_value_compare(&found, &idle) < 0;
    tally->tabulated_s += p.tabulated_s;
    tally->ways += p.n_ways;
    compare(&p, &q, &found, &proof, seed, tally);
    tally->gardens++;
    programme_free(&p);
    return true;
}

static void test_equal_to_solver(void **state)
{
    (void)state;
    const char *rounds_text = getenv("THOLE_TEST_ROUNDS"), *seed_text = getenv("THOLE_TEST_SEED");
    int rounds = rounds_text != NULL ? atoi(rounds_text) : ROUNDS;
    uint64_t seed = seed_text != NULL ? strtoull(seed_text, NULL, 10) : 1, first = seed;
    Tally t = {0};
    (void)glp_term_out(GLP_OFF);
    for (; t.gardens - t.not_proved - t.out_of_time < rounds; seed++)
        (void)hold_against(seed, &t);
    print_message("seeds %llu to %llu, %d gardens: solver out of time in %d, search not proved in "
                  "%d; else equal to %.1g; search %.2f s, solver %.2f s (search/solver %.3f), its "
                  "table %.2f s; %d within the limits, %d with something to do, visits 0-3: %d %d "
                  "%d %d, %ld ways; THOLE_TEST_SEED\n",
                  (unsigned long long)first, (unsigned long long)seed - 1, t.gardens, t.out_of_time,
                  t.not_proved, t.worst, t.search_s, t.solver_s, t.search_s / t.solver_s,
                  t.tabulated_s, t.within, t.better, t.visits[0], t.visits[1], t.visits[2],
                  t.visits[3], t.ways);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_equal_to_solver)};
    memory = malloc(ARENA_SIZE);
    if (memory == NULL)
        return 1;
    int failed = cmocka_run_group_tests_name("plan-solver", tests, NULL, NULL);
    free(memory);
    return failed;
}
