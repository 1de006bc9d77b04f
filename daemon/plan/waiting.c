/* SPDX-License-Identifier: MIT */
/*
 * Who waits for room: a batch that may leave the heat, stays indoors for the next day and a half,
 * and finds no place outdoors that holds its trays beside what stands there. The reason's place is
 * the one that would be free first, `predicted_c` the trays that are free there, `limit_c` those
 * that are needed, `at_utc` when it goes out as planned (0: not within the horizon).
 */
#include "plan/search.h"

#include <math.h>

#define SOON_S (36 * 3600) /* what is done by then is no waiting; chosen */

static bool carries(const Job *job)
{
    return job->kind == JOB_MOVE || job->kind == JOB_TRANSFER || job->kind == JOB_PLANT_OUT;
}

/* When the batch first goes out of the building; 0 it does not. */
static int64_t goes_out_utc(const Board *b, int batch)
{
    for (int j = 0; j < b->plan->n_jobs; j++) {
        const Job *job = &b->plan->jobs[j];
        if (job->visit >= 0 && job->batch == batch && carries(job) &&
            !board_place(b, job->place)->indoors)
            return b->plan->visits[job->visit].start_utc;
    }
    return 0;
}

/* Trays that stand there once all that is soon to be done is done. */
static int trays_taken(const Board *b, int place)
{
    int taken = 0;
    for (int i = 0; i < b->s->n_batches; i++) {
        int at = b->start.places[i];
        bool planted = b->start.stages[i] == STAGE_PLANTED_OUT;
        for (int j = 0; j < b->plan->n_jobs; j++) {
            const Job *job = &b->plan->jobs[j];
            if (job->visit < 0 || job->batch != i || !carries(job) ||
                b->plan->visits[job->visit].start_utc > b->s->now_utc + SOON_S)
                continue;
            at = job->place;
            planted = planted || job->kind == JOB_PLANT_OUT;
        }
        taken += at == place && !planted ? b->s->batches[i].trays : 0;
    }
    return taken;
}

/* Whether it would have gone, had it found room. */
static bool is_fit(const Board *b, int batch)
{
    const Batch *x = &b->s->batches[batch];
    return b->start.stages[batch] < STAGE_READY && board_place(b, x->place)->indoors &&
           b->hardens_from[batch] == 0 && x->settled_utc <= b->s->now_utc;
}

void waiting_note(Board *b)
{
    int n_places = b->s->garden->n_places;
    int *free = ARENA_NEW(b->arena, n_places, int);
    for (int p = 0; free != NULL && p < n_places; p++) {
        const Place *place = board_place(b, p);
        bool counts = !place->indoors && place_takes_trays(b, p);
        free[p] = !counts ? -1 : place->trays < 0 ? INT32_MAX : place->trays - trays_taken(b, p);
    }
    for (int i = 0; free != NULL && i < b->s->n_batches; i++) {
        int most = -1, trays = b->s->batches[i].trays;
        int64_t out_utc = goes_out_utc(b, i);
        if (!is_fit(b, i) || (out_utc != 0 && out_utc <= b->s->now_utc + SOON_S))
            continue;
        for (int p = 0; p < n_places; p++) {
            if (free[p] >= 0 && board_place(b, p)->trays != 0 && (most < 0 || free[p] > free[most]))
                most = p;
        }
        if (most < 0 || free[most] >= trays)
            continue;
        b->plan->notes[b->plan->n_notes++] = (Reason){.limit = LIMIT_CAPACITY,
                                                      .batch = i,
                                                      .place = most,
                                                      .at_utc = out_utc,
                                                      .predicted_c = free[most],
                                                      .limit_c = trays,
                                                      .odds = NAN,
                                                      .otherwise_odds = NAN,
                                                      .otherwise_c = NAN,
                                                      .spread_k = NAN};
    }
}
