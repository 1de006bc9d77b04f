/* SPDX-License-Identifier: MIT */
/*
 * Where every batch, cover and chain stands at one moment, and how it gets to a later one.
 *
 * The store holds the settled state: up to there nothing can change any more. What happened since
 * (places, positions) is history in the store, so the present is always the settled state moved on
 * through it, and a job reported late, or denied, is put right by moving on once more.
 */
#pragma once

#include <glib.h>

#include "plan/plan.h"
#include "store/store.h"

typedef struct State {
    int64_t as_of_utc;   /* on the half-hour grid; 0 nothing yet */
    GArray *batches;     /* (owned) (element-type Batch) the living */
    GArray *batch_as_of; /* (owned) (element-type int64_t) parallel; later than as_of_utc: not there
                            before */
    Chain *chains;       /* (owned) */
    ChainState *chain_states; /* (owned) */
    int n_chains;
    int *positions; /* (owned) per place */
    GArray *days;   /* (owned) (nullable) (element-type EndedDay) ended while it was moved on */
} State;

/* A ramp day of a batch of the state. */
typedef struct EndedDay {
    char batch_id[ID_SIZE];
    PastDay day; /* its batch is not used */
} EndedDay;

struct Service;

#define STATE_SPIN_UP_S                                                                            \
    (3 * 86400) /* a chain never seen starts at rest so long before now; chosen */

/* Chains of the garden, batches and checkpoints from the store; without any, at rest before
 * `now_utc`. */
gboolean state_load(State *state, Store *store, const Garden *garden, int64_t now_utc,
                    GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Writes the batches and chains as checkpoints of state->as_of_utc, and adds state->days to the
 * record (ramp-days.h), which it empties. */
gboolean state_save(State *state, Store *store, const Garden *garden,
                    GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* All but the days: the copy begins with none. */
void state_copy(const State *from, State *to, const Garden *garden);
void state_clear(State *state);

/*
 * Moves the state on to `to_utc` (on the grid) through the store's history. The service's site
 * weather must reach from state->as_of_utc to there. `checked` (nullable): ids of batches that had
 * a check are added.
 */
gboolean state_move_on(State *state, struct Service *service, int64_t to_utc, GPtrArray *checked,
                       GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The batch of that name, or NULL; its index in *ret_index (nullable). */
Batch *state_find_batch(const State *state, const char *name, int *ret_index);

/* The batch of that id, or NULL, where it is likely at the index `near`. */
Batch *state_same_batch(const State *state, const char *id, guint near);
