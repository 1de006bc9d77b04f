/* SPDX-License-Identifier: MIT */
#include "service/waiting.h"

#include "base/log.h"
#include "service/api-json.h"
#include "service/wording-people.h"
#include "service/wording-stays.h"
#include "store/store-batches.h"

#define DAY_S 86400
#define BACK_D 60 /* that are looked back; chosen */

/* When the last of those that stand in a place came; 0 not known, or nobody does. */
static int64_t filled_utc(const Service *s, int place)
{
    g_autoptr(GArray) placements = NULL;
    g_autoptr(GError) error = NULL;
    const int64_t from_utc = clock_now(s->clk) - (int64_t)BACK_D * DAY_S;
    int64_t last_utc = 0;

    if (!store_load_placements(s->store, s->garden, NULL, from_utc, &placements, &error)) {
        log_warning("service", NULL, "placements cannot be read: %s", error->message);
        return 0;
    }
    for (guint i = 0; i < s->current.batches->len; i++) {
        const Batch *batch = &g_array_index(s->current.batches, Batch, i);
        int64_t came_utc = 0;
        for (guint k = 0; batch->place == place && k < placements->len; k++) {
            const StorePlacement *p = &g_array_index(placements, StorePlacement, k);
            if (g_str_equal(p->batch_id, batch->id))
                came_utc = p->from_utc;
        }
        last_utc = MAX(last_utc, came_utc);
    }
    return last_utc;
}

/* The first of the days up to now on which it was fit to harden. */
static int64_t fit_utc(const Service *s, const Batch *batch)
{
    int64_t utc = clock_now(s->clk);
    const int64_t earliest_utc = MAX(utc - (int64_t)BACK_D * DAY_S, batch->sown_utc);

    while (utc - DAY_S > earliest_utc && plan_may_harden(s->garden, batch, utc - DAY_S))
        utc -= DAY_S;
    return utc;
}

static char *text_of(const Service *s, const Reason *note)
{
    const WordingContext words = service_wording(s);
    const Batch *batch = &g_array_index(s->current.batches, Batch, note->batch);

    return wording_waiting(&words, note, MAX(fit_utc(s, batch), filled_utc(s, note->place)));
}

/* What is said of a batch that finds no room; NULL it does. */
static const Reason *note_of(const Service *s, int batch)
{
    for (int i = 0; i < s->plan.n_notes; i++) {
        const Reason *note = &s->plan.notes[i];
        if (note->limit == LIMIT_CAPACITY && note->batch == batch)
            return note;
    }
    return NULL;
}

char *waiting_text(const Service *s, int batch)
{
    const Reason *note = note_of(s, batch);

    return note != NULL ? text_of(s, note) : NULL;
}

GPtrArray *waiting_for(const Service *s, int place)
{
    GPtrArray *texts = g_ptr_array_new_with_free_func(g_free);

    for (int i = 0; i < s->plan.n_notes; i++) {
        const Reason *note = &s->plan.notes[i];
        if (note->limit == LIMIT_CAPACITY && note->place == place)
            g_ptr_array_add(texts, text_of(s, note));
    }
    return texts;
}

char *waiting_stays(const Service *s, int batch, gboolean named)
{
    const WordingContext words = service_wording(s);
    const BatchOutlook *outlook = api_outlook(s, batch);

    if (outlook == NULL || outlook->stays.limit == LIMIT_NONE || note_of(s, batch) != NULL)
        return NULL;
    g_autofree char *text = wording_stays(&words, &outlook->stays, named);
    return *text != '\0' ? g_steal_pointer(&text) : NULL;
}
