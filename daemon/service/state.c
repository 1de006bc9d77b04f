/* SPDX-License-Identifier: MIT */
#include "service/state.h"

#include <string.h>

#include "base/error.h"
#include "service/forecasts.h"
#include "service/ramp-days.h"
#include "store/store-batches.h"
#include "store/store-garden-events.h"
#include "store/store-waterings.h"
#include "weather/normals.h"

G_STATIC_ASSERT(sizeof(ChainState) == 4 * CHAIN_LAYERS_MAX * sizeof(double)); /* kept as numbers */

#define DAY_STEPS_LEAST                                                                            \
    24 /* half-hours of a ramp day, for the room kept; chosen, far below any                       \
        */
#define CHAIN_NUMBERS (4 * CHAIN_LAYERS_MAX)
#define CHAIN_NUMBERS_DRY (3 * CHAIN_LAYERS_MAX) /* of a store from before there were barrels */

static char *chain_key(const Garden *garden, const Chain *chain)
{
    return g_strdup_printf("chain/%s", garden->places[chain->layers[0].place].name);
}

static gboolean build_chains(State *state, const Garden *garden, int64_t now_utc, GError **error)
{
    state->chains = g_new0(Chain, garden->n_places);
    state->chain_states = g_new0(ChainState, garden->n_places);
    state->positions = g_new0(int, garden->n_places);
    for (int p = 0; p < garden->n_places; p++) {
        if (garden->places[p].parent >= 0)
            continue;
        int c = state->n_chains++;
        if (!chain_build(garden, p, &state->chains[c])) {
            g_set_error(
                error, THOLE_ERROR, THOLE_ERROR_LIMIT,
                "place %s: more than %d places in one another; accepted are at most so many",
                garden->places[p].name, CHAIN_LAYERS_MAX);
            return FALSE;
        }
        double mean_c =
            weather_normals_mean_c(&garden->sites[garden->places[p].site].normals, now_utc);
        chain_rest(&state->chains[c], mean_c, mean_c, &state->chain_states[c]);
    }
    return TRUE;
}

/* Whether the checkpoint fits the chain as it is now: a changed garden starts that chain anew. */
static gboolean load_chain(State *state, int c, Store *store, const Garden *garden, GError **error)
{
    g_autofree char *key = chain_key(garden, &state->chains[c]);
    g_autoptr(GArray) values = NULL;
    int64_t as_of_utc = 0;
    if (!store_get_state(store, key, &as_of_utc, &values, error))
        return FALSE;
    const guint n = values->len == CHAIN_NUMBERS_DRY + 1 ? CHAIN_NUMBERS_DRY : CHAIN_NUMBERS;
    if (values->len == n + 1 && g_array_index(values, double, n) == state->chains[c].n) {
        memcpy(&state->chain_states[c], values->data, n * sizeof(double));
        if (as_of_utc > state->as_of_utc)
            state->as_of_utc = as_of_utc;
    }
    return TRUE;
}

gboolean state_load(State *state, Store *store, const Garden *garden, int64_t now_utc,
                    GError **error)
{
    State loaded = {0};
    gboolean ok = build_chains(&loaded, garden, now_utc, error);
    for (int c = 0; ok && c < loaded.n_chains; c++)
        ok = load_chain(&loaded, c, store, garden, error);
    ok = ok && store_load_positions(store, garden, loaded.positions, NULL, error) &&
         store_load_batches(store, garden, FALSE, &loaded.batches, &loaded.batch_as_of, error);
    if (!ok) {
        state_clear(&loaded);
        return FALSE;
    }
    for (int p = 0; p < garden->n_places; p++)
        loaded.positions[p] = MAX(loaded.positions[p], 0); /* a cover seen first is closed */
    if (loaded.as_of_utc == 0)
        loaded.as_of_utc = (now_utc - STATE_SPIN_UP_S) / STEP_S * STEP_S;
    *state = loaded;
    return TRUE;
}

gboolean state_save(State *state, Store *store, const Garden *garden, GError **error)
{
    for (int c = 0; c < state->n_chains; c++) {
        g_autofree char *key = chain_key(garden, &state->chains[c]);
        double values[CHAIN_NUMBERS + 1];
        memcpy(values, &state->chain_states[c], sizeof(ChainState));
        values[CHAIN_NUMBERS] = state->chains[c].n;
        if (!store_put_state(store, key, state->as_of_utc, values, G_N_ELEMENTS(values), error))
            return FALSE;
    }
    for (guint i = 0; i < state->batches->len; i++) {
        int64_t as_of_utc = MAX(state->as_of_utc, g_array_index(state->batch_as_of, int64_t, i));
        if (!store_put_batch(store, garden, &g_array_index(state->batches, Batch, i), as_of_utc,
                             error))
            return FALSE;
    }
    return ramp_days_keep(store, state->as_of_utc, &state->days, error);
}

static GArray *copy_array(GArray *from)
{
    GArray *to = g_array_sized_new(FALSE, FALSE, g_array_get_element_size(from), from->len);
    return from->len > 0 ? g_array_append_vals(to, from->data, from->len) : to;
}

void state_copy(const State *from, State *to, const Garden *garden)
{
    state_clear(to);
    *to = (State){.as_of_utc = from->as_of_utc,
                  .batches = copy_array(from->batches),
                  .batch_as_of = copy_array(from->batch_as_of),
                  .chains = g_memdup2(from->chains, (gsize)garden->n_places * sizeof(Chain)),
                  .chain_states =
                      g_memdup2(from->chain_states, (gsize)garden->n_places * sizeof(ChainState)),
                  .n_chains = from->n_chains,
                  .positions = g_memdup2(from->positions, (gsize)garden->n_places * sizeof(int))};
}

void state_clear(State *state)
{
    g_clear_pointer(&state->batches, g_array_unref);
    g_clear_pointer(&state->batch_as_of, g_array_unref);
    g_clear_pointer(&state->chains, g_free);
    g_clear_pointer(&state->chain_states, g_free);
    g_clear_pointer(&state->positions, g_free);
    g_clear_pointer(&state->days, g_array_unref);
    *state = (State){0};
}

Batch *state_find_batch(const State *state, const char *name, int *ret_index)
{
    for (guint i = 0; state->batches != NULL && i < state->batches->len; i++) {
        Batch *batch = &g_array_index(state->batches, Batch, i);
        if (g_strcmp0(batch->name, name) == 0 || g_strcmp0(batch->id, name) == 0) {
            if (ret_index != NULL)
                *ret_index = (int)i;
            return batch;
        }
    }
    return NULL;
}

Batch *state_same_batch(const State *state, const char *id, guint near)
{
    if (state->batches != NULL && near < state->batches->len) {
        Batch *batch = &g_array_index(state->batches, Batch, near);
        if (g_str_equal(batch->id, id))
            return batch;
    }
    return state_find_batch(state, id, NULL);
}

static int64_t on_grid_after(int64_t utc)
{
    return (utc + STEP_S - 1) / STEP_S * STEP_S;
}

/* Those of just this half-hour; gives when the next is. */
static int64_t apply_waterings(State *state, const GArray *waterings, int64_t utc, int64_t to_utc)
{
    int64_t next_utc = to_utc;
    for (guint i = 0; i < waterings->len; i++) {
        const StoreWatering *w = &g_array_index(waterings, StoreWatering, i);
        const int64_t at_utc = on_grid_after(w->time_utc);
        Batch *batch = at_utc == utc ? state_find_batch(state, w->batch_id, NULL) : NULL;
        if (batch != NULL)
            batch->used_mm = 0.0;
        else if (at_utc > utc)
            next_utc = MIN(next_utc, at_utc);
    }
    return next_utc;
}

/* (element-type utf8 Batch), as long as no batch is added or taken away. */
static GHashTable *batches_by_id(const State *state)
{
    GHashTable *by_id = g_hash_table_new(g_str_hash, g_str_equal);
    for (guint i = 0; i < state->batches->len; i++) {
        Batch *batch = &g_array_index(state->batches, Batch, i);
        g_hash_table_insert(by_id, batch->id, batch);
    }
    return by_id;
}

/* Applies what happened up to `utc`; gives the next moment at which something happens, at most
 * `to_utc`. */
static int64_t apply_history(State *state, GArray *placements, GArray *positions, GHashTable *by_id,
                             int64_t utc, int64_t to_utc)
{
    int64_t next_utc = to_utc;
    for (guint i = 0; i < positions->len; i++) {
        const StorePosition *p = &g_array_index(positions, StorePosition, i);
        int64_t at_utc = on_grid_after(p->from_utc);
        if (at_utc <= utc && p->place >= 0 && p->position >= 0)
            state->positions[p->place] = p->position;
        else if (at_utc > utc)
            next_utc = MIN(next_utc, at_utc);
    }
    for (guint i = 0; i < placements->len; i++) {
        const StorePlacement *p = &g_array_index(placements, StorePlacement, i);
        int64_t at_utc = on_grid_after(p->from_utc);
        Batch *batch = g_hash_table_lookup(by_id, p->batch_id);
        if (at_utc <= utc && batch != NULL && p->place >= 0)
            batch->place = p->place;
        else if (at_utc > utc)
            next_utc = MIN(next_utc, at_utc);
    }
    for (guint i = 0; i < state->batch_as_of->len; i++) {
        int64_t from_utc = g_array_index(state->batch_as_of, int64_t, i);
        if (from_utc > utc)
            next_utc = MIN(next_utc, on_grid_after(from_utc));
    }
    return next_utc;
}

static void add_day(State *state, const Batch *batch, const PastDay *day)
{
    EndedDay ended = {.day = *day};

    g_strlcpy(ended.batch_id, batch->id, sizeof ended.batch_id);
    if (state->days == NULL)
        state->days = g_array_new(FALSE, FALSE, sizeof(EndedDay));
    g_array_append_val(state->days, ended);
}

/* One stretch in which nothing is touched; batches that do not exist yet stand aside. */
static void advance_stretch(State *state, Service *service, int64_t from_utc, int64_t to_utc,
                            GPtrArray *checked)
{
    g_autofree guint *index = g_new0(guint, state->batches->len + 1);
    g_autofree bool *had_check = g_new0(bool, state->batches->len + 1);
    g_autoptr(GArray) living = g_array_new(FALSE, FALSE, sizeof(Batch));
    const int n_steps = (int)((to_utc - from_utc) / STEP_S);
    const int days_size = (n_steps / DAY_STEPS_LEAST + 2) * (int)state->batches->len;
    g_autofree PastDay *days = g_new0(PastDay, (gsize)days_size + 1);
    int n_days = 0;
    for (guint i = 0; i < state->batches->len; i++) {
        if (g_array_index(state->batch_as_of, int64_t, i) > from_utc)
            continue;
        index[living->len] = i;
        g_array_append_val(living, g_array_index(state->batches, Batch, i));
    }
    for (int site = 0; site < service->garden->n_sites; site++) {
        const SiteWeather *weather = &service->weather[site];
        SiteOutlook outlook = {.steps = &g_array_index(weather->steps, OutdoorStep,
                                                       (from_utc - weather->first_utc) / STEP_S),
                               .days = (const SolarDay *)(gconstpointer)weather->days->data,
                               .n_days = (int)weather->days->len,
                               .deep_c = weather->deep_c};
        PlanPast past = {.garden = service->garden,
                         .site = site,
                         .start_utc = from_utc,
                         .n = n_steps,
                         .outlook = &outlook,
                         .chains = state->chains,
                         .n_chains = state->n_chains,
                         .positions = state->positions,
                         .n_batches = (int)living->len,
                         .cover_errors = forecasts_learned(service->forecasts)->covers,
                         .days = days,
                         .days_size = days_size,
                         .n_days = &n_days};
        plan_advance(&past, state->chain_states, (Batch *)(gpointer)living->data, had_check);
    }
    for (int k = 0; k < n_days; k++)
        add_day(state, &g_array_index(living, Batch, days[k].batch), &days[k]);
    for (guint k = 0; k < living->len; k++) {
        Batch *batch = &g_array_index(state->batches, Batch, index[k]);
        batch->ramp = g_array_index(living, Batch, k).ramp;
        batch->used_mm = g_array_index(living, Batch, k).used_mm;
        batch->growth = g_array_index(living, Batch, k).growth;
        if (had_check[k] && checked != NULL)
            g_ptr_array_add(checked, g_strdup(batch->id));
    }
}

gboolean state_move_on(State *state, Service *service, int64_t to_utc, GPtrArray *checked,
                       GError **error)
{
    g_autoptr(GArray) placements = NULL, positions = NULL, waterings = NULL;
    g_autoptr(GHashTable) by_id = batches_by_id(state);
    if (!store_load_placements(service->store, service->garden, NULL, state->as_of_utc, &placements,
                               error) ||
        !store_load_position_history(service->store, service->garden, state->as_of_utc, &positions,
                                     error) ||
        !store_load_waterings(service->store, state->as_of_utc - STEP_S, &waterings, error))
        return FALSE;
    for (;;) {
        int64_t next_utc =
            apply_history(state, placements, positions, by_id, state->as_of_utc, to_utc);
        /* What the settled state ends with may still be taken back. */
        if (state->as_of_utc < to_utc || state != &service->settled)
            next_utc = MIN(next_utc, apply_waterings(state, waterings, state->as_of_utc, to_utc));
        if (state->as_of_utc >= to_utc)
            return TRUE;
        advance_stretch(state, service, state->as_of_utc, next_utc, checked);
        state->as_of_utc = next_utc;
    }
}
