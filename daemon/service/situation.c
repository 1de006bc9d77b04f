/* SPDX-License-Identifier: MIT */
#include "service/situation.h"

#include <math.h>

#include "base/error.h"
#include "base/local-time.h"
#include "service/absence.h"
#include "service/forecasts.h"
#include "service/foresee.h"
#include "service/this-night.h"
#include "service/visit-minutes.h"
#include "service/wishes.h"
#include "store/store-batches.h"
#include "store/store-garden-events.h"

#define DAY_S 86400
#define PLAN_BUDGET 20000       /* batch evaluations a plan may spend on search; chosen */
#define ARENA_START (32u << 20) /* not touched before it is used */
#define ARENA_MOST ((gsize)1 << 30)
#define SHUT_LOOK_BACK_S                                                                           \
    (30 * DAY_S)                   /* of the record of covers; chosen: damp asks for two nights */
#define ESTABLISHED_S (14 * DAY_S) /* from emergence to growing on; chosen */

/* What the absences from the `first` on leave of a window; one in its middle leaves both its ends.
 */
static void add_window(const Service *s, VisitWindow w, const GArray *aways, guint first)
{
    for (guint i = first; i < aways->len; i++) {
        const StoreAway *away = &g_array_index(aways, StoreAway, i);
        if (away->grower != w.grower || away->to_utc <= w.from_utc || away->from_utc > w.to_utc)
            continue;
        VisitWindow before = w;
        before.to_utc = away->from_utc;
        if (before.to_utc > before.from_utc)
            add_window(s, before, aways, i + 1);
        if (away->to_utc >= w.to_utc)
            return;
        w.from_utc = away->to_utc;
    }
    if (w.to_utc >= w.from_utc)
        g_array_append_val(s->windows, w);
}

/* A rule's span on one day. */
static void add_day(const Service *s, int grower, const VisitRule *rule, int32_t day,
                    const GArray *aways)
{
    GTimeZone *zone = s->zones[rule->site];
    VisitWindow w = {.grower = grower, .site = rule->site, .day = day};
    if (!(rule->weekdays & (1u << (local_weekday(day) - 1))))
        return;
    w.from_utc = local_time_on_day(zone, day, rule->from_min);
    w.to_utc = local_time_on_day(zone, day, rule->to_min);
    const GArray *days = s->weather[rule->site].days;
    for (guint i = 0; rule->to_dusk && i < days->len; i++) {
        const SolarDay *solar = &g_array_index(days, SolarDay, i);
        if (solar->day == day)
            w.to_utc = solar->dusk_utc;
    }
    add_window(s, w, aways, 0);
}

static gint by_from(gconstpointer a, gconstpointer b)
{
    const VisitWindow *x = a, *y = b;
    return x->from_utc < y->from_utc ? -1 : x->from_utc > y->from_utc;
}

gboolean situation_windows(Service *s, GArray **ret_usual, GArray **ret_wishes, GError **error)
{
    int64_t now_utc = clock_now(s->clk);
    g_autoptr(GArray) aways = NULL, wishes = NULL;
    if (!store_load_aways(s->store, s->garden, now_utc, &aways, error) ||
        !wishes_load(s, &wishes, error))
        return FALSE;
    g_array_set_size(s->windows, 0);
    for (int g = 0; g < s->garden->n_growers; g++) {
        const Grower *grower = &s->garden->growers[g];
        for (int r = 0; r < grower->n_rules; r++) {
            const VisitRule *rule = &grower->rules[r];
            int today = local_day(s->zones[rule->site], now_utc);
            for (int day = today; day <= today + SERVICE_HORIZON_D; day++)
                add_day(s, g, rule, day, aways);
        }
    }
    absence_add_windows(s, aways);
    g_array_sort(s->windows, by_from);
    if (wishes->len == 0)
        return TRUE;
    *ret_usual = g_array_copy(s->windows);
    wishes_windows(s, wishes, aways, s->windows);
    *ret_wishes = g_steal_pointer(&wishes);
    return TRUE;
}

/* Published visits that have not begun, and their jobs. */
static void former_plan(const Service *s, GArray **ret_visits, GArray **ret_jobs)
{
    GArray *visits = g_array_new(FALSE, FALSE, sizeof(Visit)),
           *jobs = g_array_new(FALSE, FALSE, sizeof(Job));
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(s->visits, i);
        if (v->begun)
            continue;
        for (guint k = 0; k < v->jobs->len; k++) {
            Job job = g_array_index(v->jobs, OpenJob, k).job;
            job.visit = (int)visits->len;
            g_array_append_val(jobs, job);
        }
        g_array_append_val(visits, v->visit);
    }
    *ret_visits = visits;
    *ret_jobs = jobs;
}

SiteOutlook *situation_outlooks(const Service *s)
{
    SiteOutlook *outlooks = g_new0(SiteOutlook, s->garden->n_sites);
    for (int i = 0; i < s->garden->n_sites; i++) {
        const SiteWeather *w = &s->weather[i];
        guint first = (guint)((s->current.as_of_utc - w->first_utc) / STEP_S);
        outlooks[i] = (SiteOutlook){.steps = &g_array_index(w->steps, OutdoorStep, first),
                                    .days = (const SolarDay *)(gconstpointer)w->days->data,
                                    .n_days = (int)w->days->len,
                                    .deep_c = w->deep_c};
        if (w->tonight_spread != NULL)
            outlooks[i].tonight_spread_k = &g_array_index(w->tonight_spread, double, first);
    }
    return outlooks;
}

/* Per place: since when the first of those that stand under it now does so; 0 nothing does. */
static int64_t *sheltered_since(const Service *s, const GArray *placements, int64_t from_utc)
{
    g_autoptr(GHashTable) last = g_hash_table_new(g_str_hash, g_str_equal);
    int64_t *first_utc = g_new0(int64_t, s->garden->n_places + 1);
    for (guint i = 0; i < placements->len; i++) {
        StorePlacement *p = &g_array_index(placements, StorePlacement, i);
        g_hash_table_insert(last, p->batch_id, p);
    }
    for (guint i = 0; i < s->current.batches->len; i++) {
        const Batch *batch = &g_array_index(s->current.batches, Batch, i);
        const StorePlacement *stands = g_hash_table_lookup(last, batch->id);
        const int64_t utc = stands != NULL ? MAX(from_utc, stands->from_utc) : from_utc;
        for (int p = batch->place; p >= 0; p = s->garden->places[p].parent)
            first_utc[p] = first_utc[p] == 0 ? utc : MIN(first_utc[p], utc);
    }
    return first_utc;
}

/* Per place: since when its own cover has been shut over plants, by the record; 0 it is not. */
static int64_t *covers_shut_since(const Service *s, GError **error)
{
    const int64_t from_utc = clock_now(s->clk) - SHUT_LOOK_BACK_S;
    g_autoptr(GArray) positions = NULL, placements = NULL;
    if (!store_load_position_history(s->store, s->garden, from_utc, &positions, error) ||
        !store_load_placements(s->store, s->garden, NULL, from_utc, &placements, error))
        return NULL;
    int64_t *since = g_new0(int64_t, s->garden->n_places + 1);
    for (int p = 0; p < s->garden->n_places; p++)
        since[p] = s->current.positions[p] == 0 ? from_utc : 0;
    for (guint i = 0; i < positions->len; i++) {
        const StorePosition *p = &g_array_index(positions, StorePosition, i);
        if (p->place < 0 || s->current.positions[p->place] != 0)
            continue;
        if (p->position > 0)
            since[p->place] = 0;
        else if (since[p->place] == 0)
            since[p->place] = p->from_utc;
    }
    g_autofree int64_t *sheltered = sheltered_since(s, placements, from_utc);
    for (int p = 0; p < s->garden->n_places; p++)
        since[p] = since[p] == 0 || sheltered[p] == 0 ? 0 : MAX(since[p], sheltered[p]);
    return since;
}

/* A copy that goes with the situation. */
static gpointer keep(Situation *it, gconstpointer from, gsize bytes)
{
    gpointer copy = g_memdup2(from, bytes);

    g_ptr_array_add(it->kept, copy);
    return copy;
}

static gpointer keep_array(Situation *it, const GArray *from)
{
    return keep(it, from->data, from->len * g_array_get_element_size((GArray *)from));
}

static void keep_outlooks(Situation *it, const Service *s)
{
    g_autofree SiteOutlook *outlooks = situation_outlooks(s);
    const gsize n = (gsize)it->snapshot.n_steps + 1;

    for (int i = 0; i < s->garden->n_sites; i++) {
        SiteOutlook *o = &outlooks[i];
        o->steps = keep(it, o->steps, n * sizeof *o->steps);
        o->days = keep(it, o->days, (gsize)o->n_days * sizeof *o->days);
        if (o->tonight_spread_k != NULL)
            o->tonight_spread_k = keep(it, o->tonight_spread_k, n * sizeof *o->tonight_spread_k);
    }
    it->snapshot.sites = keep(it, outlooks, (gsize)s->garden->n_sites * sizeof *outlooks);
}

static void keep_former(Situation *it, const Service *s)
{
    g_autoptr(GArray) former = NULL, jobs = NULL;

    former_plan(s, &former, &jobs);
    it->snapshot.former = keep_array(it, former);
    it->snapshot.n_former = (int)former->len;
    it->snapshot.former_jobs = keep_array(it, jobs);
    it->snapshot.n_former_jobs = (int)jobs->len;
}

static void keep_state(Situation *it, const State *state)
{
    Snapshot *snapshot = &it->snapshot;
    const gsize n_places = (gsize)it->garden->n_places, n_chains = (gsize)state->n_chains;

    snapshot->chains = keep(it, state->chains, n_chains * sizeof *state->chains);
    snapshot->states = keep(it, state->chain_states, n_chains * sizeof *state->chain_states);
    snapshot->n_chains = state->n_chains;
    snapshot->positions = keep(it, state->positions, n_places * sizeof *state->positions);
    snapshot->batches = keep_array(it, state->batches);
    snapshot->n_batches = (int)state->batches->len;
}

Situation *situation_new(Service *s, int64_t now_utc, const CoverError *covers, GError **error)
{
    g_autoptr(Situation) it = g_new0(Situation, 1);
    const SiteWeather *w = &s->weather[0];
    const gsize n_places = (gsize)s->garden->n_places;

    it->kept = g_ptr_array_new_with_free_func(g_free);
    int64_t *shut_since = covers_shut_since(s, error);
    if (shut_since == NULL)
        return NULL;
    g_ptr_array_add(it->kept, shut_since);
    double *visit_min = visit_minutes_all(s, error);
    if (visit_min == NULL)
        return NULL;
    g_ptr_array_add(it->kept, visit_min);
    it->garden = garden_copy(s->garden);
    it->zones = g_ptr_array_new_with_free_func((GDestroyNotify)g_time_zone_unref);
    for (int i = 0; i < s->garden->n_sites; i++)
        g_ptr_array_add(it->zones, g_time_zone_ref(s->zones[i]));
    it->snapshot = (Snapshot){
        .garden = it->garden,
        .now_utc = now_utc,
        .start_utc = s->current.as_of_utc,
        .n_steps = (int)w->steps->len - 1 - (int)((s->current.as_of_utc - w->first_utc) / STEP_S),
        .shut_since = shut_since,
        .windows = keep_array(it, s->windows),
        .n_windows = (int)s->windows->len,
        .cover_errors = keep(it, covers, n_places * POSITIONS_MAX * sizeof *covers),
        .visit_min = visit_min,
        .weights = plan_weights_default()};
    keep_outlooks(it, s);
    keep_former(it, s);
    keep_state(it, &s->current);
    this_night_of(s, forecasts_learned(s->forecasts), it->snapshot.n_steps, &it->night);
    it->snapshot.tonight = it->night.places;
    it->snapshot.n_tonight = it->night.n;
    return g_steal_pointer(&it);
}

void situation_free(Situation *it)
{
    if (it == NULL)
        return;
    g_clear_pointer(&it->usual, g_array_unref);
    g_clear_pointer(&it->wishes, g_array_unref);
    this_night_clear(&it->night);
    garden_free(it->garden);
    g_clear_pointer(&it->zones, g_ptr_array_unref);
    g_ptr_array_unref(it->kept);
    g_free(it);
}

gboolean situation_plan(const Situation *it, Arena *arena, Plan *ret)
{
    for (;;) {
        if (arena->base == NULL) {
            arena->size = MAX(arena->size, ARENA_START);
            arena->base = g_malloc(arena->size);
        }
        arena->used = 0;
        arena->failed = 0;
        if (plan_make(&it->snapshot, PLAN_BUDGET, arena, ret))
            return TRUE;
        g_clear_pointer(&arena->base, g_free);
        *ret = (Plan){0};
        if (arena->size >= ARENA_MOST || (arena->stop != NULL && atomic_load(arena->stop)))
            return FALSE;
        arena->size *= 2;
    }
}

void situation_refuse(int n_batches, GError **error)
{
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_LIMIT,
                "a plan for %d batches does not fit into %zu MB", n_batches,
                (size_t)(ARENA_MOST >> 20));
}

Stage situation_grown_stage(const Crop *crop, const Batch *batch, int64_t now_utc)
{
    if (batch->bought)
        return STAGE_GROWING_ON;
    double warmth_k = fmax(1.0, SOWING_RECKONED_C - crop->emergence_base_c);
    int64_t emerged_utc = batch->sown_utc + (int64_t)(crop->emergence_kd / warmth_k * DAY_S);
    if (now_utc < emerged_utc)
        return STAGE_SOWN;
    return now_utc < emerged_utc + ESTABLISHED_S ? STAGE_EMERGED : STAGE_GROWING_ON;
}

static Stage next_stage(const Service *s, const Batch *batch, const BatchOutlook *outlook)
{
    int64_t now_utc = clock_now(s->clk);
    Stage stage = batch->stage;
    if (stage >= STAGE_PLANTED_OUT)
        return stage;
    gboolean in_the_open = stage == STAGE_HARDENING || stage == STAGE_READY;
    if (batch->settled_utc > now_utc)
        return STAGE_SETTLING;
    if (stage == STAGE_SETTLING)
        return s->garden->places[batch->place].indoors ? STAGE_GROWING_ON : STAGE_HARDENING;
    if (stage == STAGE_SOWN && now_utc < foresee_taken_as_up(s, batch))
        return STAGE_SOWN; /* the grower is asked (api-today.c) */
    if (stage <= STAGE_GROWING_ON)
        return MAX(stage, situation_grown_stage(&s->garden->crops[batch->crop], batch, now_utc));
    if (in_the_open && outlook != NULL)
        return outlook->ready_utc != 0 && !outlook->not_before && outlook->ready_utc <= now_utc
                   ? STAGE_READY
                   : STAGE_HARDENING;
    return stage;
}

void situation_stages(Service *s)
{
    for (guint i = 0; i < s->current.batches->len; i++) {
        Batch *batch = &g_array_index(s->current.batches, Batch, i);
        const BatchOutlook *outlook = s->plan.outlooks != NULL ? &s->plan.outlooks[i] : NULL;
        batch->stage = next_stage(s, batch, outlook);
        Batch *settled = state_same_batch(&s->settled, batch->id, i);
        if (settled != NULL)
            settled->stage = batch->stage;
    }
}
