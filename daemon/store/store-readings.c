/* SPDX-License-Identifier: MIT */
#include "store/store-readings.h"

#include "store/store-private.h"

#include <math.h>

static const char *const reading_words[] = {
    [STORE_READING_INSTANT] = "instant",
    [STORE_READING_MINIMUM] = "minimum",
    [STORE_READING_MAXIMUM] = "maximum",
};

gboolean store_put_reading(Store *store, const Garden *garden, const StoreReading *reading,
                           GError **error)
{
    const Reading *r = &reading->reading;
    const StoreBasis *b = &reading->basis;
    gboolean known = reading->site >= 0
                         ? store_check_index("site", reading->site, garden->n_sites, error)
                         : store_check_index("place", r->place, garden->n_places, error);
    if (!known ||
        !store_check_index("kind of reading", (int)reading->kind, STORE_N(reading_words), error))
        return FALSE;
    if (!isfinite(r->value_c)) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "a reading must be a number, in °C");
        return FALSE;
    }
    return store_run(
        store, error,
        "INSERT INTO reading(place, time_utc, value_c, kind, moved, computed_c, spread_k, bias_k,"
        " outdoor_c, outdoor_spread_k, light_wm2, position_index, since_utc, day)"
        " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)"
        " ON CONFLICT(place, time_utc, kind) DO UPDATE SET value_c = excluded.value_c,"
        " moved = max(moved, excluded.moved), computed_c = coalesce(excluded.computed_c, "
        "computed_c),"
        " spread_k = coalesce(excluded.spread_k, spread_k), bias_k = coalesce(excluded.bias_k, "
        "bias_k), outdoor_c = coalesce(excluded.outdoor_c, outdoor_c),"
        " outdoor_spread_k = coalesce(excluded.outdoor_spread_k, outdoor_spread_k), light_wm2 = "
        "coalesce(excluded.light_wm2, light_wm2),"
        " position_index = max(position_index, excluded.position_index),"
        " since_utc = excluded.since_utc, day = excluded.day",
        V_TEXT(reading->site >= 0 ? garden->sites[reading->site].name
                                  : garden->places[r->place].name),
        V_INT(r->time_utc), V_REAL(r->value_c), V_TEXT(reading_words[reading->kind]),
        V_INT(reading->moved), V_REAL(b->computed_c), V_REAL(b->spread_k), V_REAL(b->bias_k),
        V_REAL(b->outdoor_c), V_REAL(b->outdoor_spread_k), V_REAL(b->light_wm2), V_INT(b->position),
        V_INT(reading->since_utc), V_INT(reading->day));
}

static gboolean read_reading(StoreRows *rows, gconstpointer garden, gpointer item, GError **error)
{
    const char *name = (const char *)sqlite3_column_text(rows, 0);
    const char *word = (const char *)sqlite3_column_text(rows, 3);
    int kind = store_word_index(reading_words, STORE_N(reading_words), word);
    if (kind < 0) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "a reading of unknown kind '%s'",
                    word);
        return FALSE;
    }
    int place = store_find_place(garden, name);
    *(StoreReading *)item = (StoreReading){
        .reading = {.place = place,
                    .time_utc = sqlite3_column_int64(rows, 1),
                    .value_c = sqlite3_column_double(rows, 2)},
        .kind = (StoreReadingKind)kind,
        .site = place < 0 ? store_find_site(garden, name) : -1,
        .moved = sqlite3_column_int(rows, 4) != 0,
        .since_utc = sqlite3_column_int64(rows, 12),
        .day = sqlite3_column_int(rows, 13),
        .basis = {.computed_c = store_column_real(rows, 5),
                  .spread_k = store_column_real(rows, 6),
                  .bias_k = store_column_real(rows, 7),
                  .outdoor_c = store_column_real(rows, 8),
                  .outdoor_spread_k = store_column_real(rows, 9),
                  .light_wm2 = store_column_real(rows, 10),
                  .position = store_column_index(rows, 11)},
    };
    return TRUE;
}

gboolean store_load_readings(Store *store, const Garden *garden, int64_t from_utc, int64_t to_utc,
                             GArray **ret_readings, GError **error)
{
    g_autoptr(StoreRows) rows = store_query(
        store, error,
        "SELECT place, time_utc, value_c, kind, moved, computed_c, spread_k, bias_k,"
        " outdoor_c, outdoor_spread_k, light_wm2, position_index, since_utc, day FROM reading"
        " WHERE time_utc >= ?1 AND time_utc < ?2 ORDER BY time_utc, n",
        V_INT(from_utc), V_INT(to_utc));
    return store_collect(store, rows, read_reading, garden, sizeof(StoreReading), NULL,
                         ret_readings, error);
}
