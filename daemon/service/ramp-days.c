/* SPDX-License-Identifier: MIT */
#include "service/ramp-days.h"

#include <string.h>

/* What is kept of a day, in this order: never change it, only add a key of another name. */
typedef struct Kept {
    double end_utc, low_c, cold_c, exposed_h, allowance_h, allowed_c, damage_c, hardened_to_c,
        check;
} Kept;

#define NUMBERS (sizeof(Kept) / sizeof(double))

static char *key_of(const char *batch_id)
{
    return g_strdup_printf("ramp-days/%s", batch_id);
}

static Kept kept_of(const PastDay *day)
{
    return (Kept){.end_utc = (double)day->end_utc, /* exact: far below 2^53 */
                  .low_c = day->low_c,
                  .cold_c = day->cold_c,
                  .exposed_h = day->exposed_h,
                  .allowance_h = day->allowance_h,
                  .allowed_c = day->allowed_c,
                  .damage_c = day->damage_c,
                  .hardened_to_c = day->hardened_to_c,
                  .check = day->check ? 1.0 : 0.0};
}

static PastDay day_of(const Kept *kept)
{
    return (PastDay){.batch = -1,
                     .end_utc = (int64_t)kept->end_utc,
                     .low_c = kept->low_c,
                     .cold_c = kept->cold_c,
                     .exposed_h = kept->exposed_h,
                     .allowance_h = kept->allowance_h,
                     .allowed_c = kept->allowed_c,
                     .damage_c = kept->damage_c,
                     .hardened_to_c = kept->hardened_to_c,
                     .check = kept->check > 0.5};
}

/* The days of the batch of the first one; they are taken out of `days`. */
static gboolean keep_first(Store *store, int64_t as_of_utc, GArray *days, GError **error)
{
    char batch_id[ID_SIZE];
    int64_t before_utc = 0;
    g_autoptr(GArray) numbers = NULL;

    g_strlcpy(batch_id, g_array_index(days, EndedDay, 0).batch_id, sizeof batch_id);
    g_autofree char *key = key_of(batch_id);
    if (!store_get_state(store, key, &before_utc, &numbers, error))
        return FALSE;
    g_array_set_size(numbers, numbers->len / NUMBERS * NUMBERS);
    for (guint i = 0; i < days->len;) {
        const EndedDay *one = &g_array_index(days, EndedDay, i);
        if (!g_str_equal(one->batch_id, batch_id)) {
            i++;
            continue;
        }
        const Kept kept = kept_of(&one->day);
        g_array_append_vals(numbers, &kept, NUMBERS);
        g_array_remove_index(days, i);
    }
    if (numbers->len > RAMP_DAYS_KEPT * NUMBERS)
        g_array_remove_range(numbers, 0, numbers->len - RAMP_DAYS_KEPT * NUMBERS);
    return store_put_state(store, key, as_of_utc, (const double *)(gconstpointer)numbers->data,
                           (int)numbers->len, error);
}

gboolean ramp_days_keep(Store *store, int64_t as_of_utc, GArray **days, GError **error)
{
    while (*days != NULL && (*days)->len > 0)
        if (!keep_first(store, as_of_utc, *days, error))
            return FALSE;
    g_clear_pointer(days, g_array_unref);
    return TRUE;
}

gboolean ramp_days_load(const Service *service, const Batch *batch, GArray **ret, GError **error)
{
    g_autofree char *key = key_of(batch->id);
    g_autoptr(GArray) numbers = NULL, days = g_array_new(FALSE, FALSE, sizeof(PastDay));
    int64_t as_of_utc = 0;

    if (!store_get_state(service->store, key, &as_of_utc, &numbers, error))
        return FALSE;
    for (guint i = 0; (i + 1) * NUMBERS <= numbers->len; i++) {
        Kept kept;
        memcpy(&kept, &g_array_index(numbers, double, i *NUMBERS), sizeof kept);
        const PastDay day = day_of(&kept);
        g_array_append_val(days, day);
    }
    /* and what may still be taken back */
    for (guint i = 0; service->current.days != NULL && i < service->current.days->len; i++) {
        const EndedDay *ended = &g_array_index(service->current.days, EndedDay, i);
        if (g_str_equal(ended->batch_id, batch->id))
            g_array_append_val(days, ended->day);
    }
    *ret = g_steal_pointer(&days);
    return TRUE;
}
