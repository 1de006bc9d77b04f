/* SPDX-License-Identifier: MIT */
#include "service/established.h"

#include <math.h>

#include "plan/plan.h"
#include "service/wording-names.h"
#include "store/store-batches.h"

#define DAY_S 86400
#define ROOTED_S ((int64_t)14 * DAY_S) /* from planting; common practice, no source */

/* As long as a fleece lies over it, it is not done with. */
static gboolean is_past_danger(const Service *s, const Batch *batch, int64_t now_utc)
{
    const double accepted = s->garden->risk.damage;
    int index = -1;

    if (batch->stage != STAGE_PLANTED_OUT || batch->planted_utc == 0 ||
        batch->planted_utc + ROOTED_S > now_utc || batch->place != batch->destination ||
        plan_late_frost_odds(s->garden, batch, now_utc) > accepted)
        return FALSE;
    /* and nothing that harms it in the next night, where that is known */
    if (state_find_batch(&s->current, batch->id, &index) == NULL || s->plan.outlooks == NULL)
        return FALSE;
    return !(s->plan.outlooks[index].damage_odds > accepted);
}

gboolean established_close(Service *s, GError **error)
{
    const int64_t now_utc = clock_now(s->clk);
    gboolean any = FALSE;

    for (guint i = 0; i < s->settled.batches->len; i++) {
        Batch batch = g_array_index(s->settled.batches, Batch, i);
        if (!is_past_danger(s, &batch, now_utc))
            continue;
        const int64_t as_of_utc =
            MAX(s->settled.as_of_utc, g_array_index(s->settled.batch_as_of, int64_t, i));
        const WordingContext words = service_wording(s);
        g_autofree char *text = wording_established(&words, &batch);
        if (!store_put_batch(s->store, s->garden, &batch, as_of_utc, error) ||
            !store_put_note(s->store, batch.id, now_utc, text, error) ||
            !store_end_batch(s->store, batch.id, now_utc, error))
            return FALSE;
        any = TRUE;
    }
    return !any || service_refresh(s, error);
}
