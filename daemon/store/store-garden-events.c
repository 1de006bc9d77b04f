/* SPDX-License-Identifier: MIT */
#include "store/store-garden-events.h"

#include "store/store-private.h"

#include <math.h>
#include <string.h>

/* ---- cover positions ---- */

gboolean store_put_position(Store *store, const Garden *garden, const StorePosition *position,
                            GError **error)
{
    if (!store_check_index("place", position->place, garden->n_places, error))
        return FALSE;
    const Place *place = &garden->places[position->place];
    if (!place->covered) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "%s has no cover to put", place->name);
        return FALSE;
    }
    return store_check_index("position", position->position, place->cover.n_positions, error) &&
           store_run(store, error,
                     "INSERT INTO position(place, position, position_index, known, from_utc)"
                     " VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT(place, from_utc) DO UPDATE SET"
                     " position = excluded.position, position_index = excluded.position_index,"
                     " known = excluded.known",
                     V_TEXT(place->name), V_TEXT(place->cover.positions[position->position].name),
                     V_INT(position->position), V_INT(position->known), V_INT(position->from_utc));
}

static gboolean read_position(StoreRows *rows, gconstpointer garden, gpointer item, GError **error)
{
    int place = store_find_place(garden, (const char *)sqlite3_column_text(rows, 0));
    (void)error;
    *(StorePosition *)item = (StorePosition){
        .place = place,
        .position = store_find_position(garden, place, (const char *)sqlite3_column_text(rows, 1)),
        .known = sqlite3_column_int(rows, 2) != 0,
        .from_utc = sqlite3_column_int64(rows, 3),
    };
    return TRUE;
}

gboolean store_load_position_history(Store *store, const Garden *garden, int64_t from_utc,
                                     GArray **ret_positions, GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT place, position, known, from_utc FROM position AS p"
                    " WHERE from_utc >= coalesce((SELECT max(from_utc) FROM position AS q"
                    " WHERE q.place = p.place AND q.from_utc <= ?1), ?1) ORDER BY from_utc, n",
                    V_INT(from_utc));
    return store_collect(store, rows, read_position, garden, sizeof(StorePosition), NULL,
                         ret_positions, error);
}

gboolean store_load_positions(Store *store, const Garden *garden, int *ret_positions,
                              bool *ret_known, GError **error)
{
    g_autoptr(GArray) last = NULL;
    if (!store_load_position_history(store, garden, G_MAXINT64, &last, error))
        return FALSE;
    for (int i = 0; i < garden->n_places; i++) {
        ret_positions[i] = -1;
        if (ret_known != NULL)
            ret_known[i] = true;
    }
    for (guint i = 0; i < last->len; i++) {
        const StorePosition *position = &g_array_index(last, StorePosition, i);
        if (position->place < 0)
            continue;
        ret_positions[position->place] = position->position;
        if (ret_known != NULL)
            ret_known[position->place] = position->known;
    }
    return TRUE;
}

/* ---- absences ---- */

gboolean store_put_away(Store *store, const Garden *garden, StoreAway *away, GError **error)
{
    char id[ID_SIZE];
    if (!store_check_index("grower", away->grower, garden->n_growers, error))
        return FALSE;
    if (away->from_utc >= away->to_utc) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "an absence must end after it begins");
        return FALSE;
    }
    const bool helped = away->helper[0] != '\0';
    if (helped && !store_check_index("site", away->helper_site, garden->n_sites, error))
        return FALSE;
    store_new_id(id);
    if (!store_run(store, error,
                   "INSERT INTO away(id, grower, from_utc, to_utc, helper, helper_site,"
                   " helper_from_min, helper_to_min) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                   V_TEXT(id), V_TEXT(garden->growers[away->grower].name), V_INT(away->from_utc),
                   V_INT(away->to_utc), V_TEXT(helped ? away->helper : NULL),
                   V_TEXT(helped ? garden->sites[away->helper_site].name : NULL),
                   V_INT(away->helper_from_min), V_INT(away->helper_to_min)))
        return FALSE;
    g_strlcpy(away->id, id, sizeof away->id);
    return TRUE;
}

gboolean store_end_away(Store *store, const char *away_id, int64_t at_utc, GError **error)
{
    if (!store_run(store, error,
                   "UPDATE away SET ended_utc = min(coalesce(ended_utc, ?2), ?2) WHERE id = ?1",
                   V_TEXT(away_id), V_INT(at_utc)))
        return FALSE;
    if (sqlite3_changes(store->db) > 0)
        return TRUE;
    g_set_error(error, STORE_ERROR, STORE_ERROR_MISSING, "no absence has the id %s", away_id);
    return FALSE;
}

static gboolean read_away(StoreRows *rows, gconstpointer garden, gpointer item, GError **error)
{
    StoreAway *away = item;
    (void)error;
    store_column_text(rows, 0, away->id, sizeof away->id);
    away->grower = store_find_grower(garden, (const char *)sqlite3_column_text(rows, 1));
    away->from_utc = sqlite3_column_int64(rows, 2);
    away->to_utc = sqlite3_column_int64(rows, 3);
    away->helper_site = -1;
    if (sqlite3_column_text(rows, 4) != NULL)
        away->helper_site = store_find_site(garden, (const char *)sqlite3_column_text(rows, 5));
    if (away->helper_site >= 0)
        store_column_text(rows, 4, away->helper, sizeof away->helper);
    away->helper_from_min = sqlite3_column_int(rows, 6);
    away->helper_to_min = sqlite3_column_int(rows, 7);
    return TRUE;
}

gboolean store_load_aways(Store *store, const Garden *garden, int64_t from_utc, GArray **ret_aways,
                          GError **error)
{
    /* One that was ended before it began never was. */
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT id, grower, from_utc, min(to_utc, coalesce(ended_utc, to_utc))"
                    " AS back_utc, helper, helper_site, helper_from_min, helper_to_min FROM away"
                    " WHERE back_utc > max(?1, from_utc) ORDER BY from_utc, n",
                    V_INT(from_utc));
    return store_collect(store, rows, read_away, garden, sizeof(StoreAway), NULL, ret_aways, error);
}

/* ---- warnings ---- */

gboolean store_put_warning(Store *store, const Garden *garden, const StoreWarning *warning,
                           GError **error)
{
    if (!store_check_index("site", warning->site, garden->n_sites, error))
        return FALSE;
    if (!isfinite(warning->low_c)) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID,
                    "a warned low must be a number, in °C");
        return FALSE;
    }
    return store_run(
        store, error,
        "INSERT INTO warning(site, night_day, low_c, heard_utc) VALUES(?1, ?2, ?3, ?4)",
        V_TEXT(garden->sites[warning->site].name), V_INT(warning->night_day),
        V_REAL(warning->low_c), V_INT(warning->heard_utc));
}

static gboolean read_warning(StoreRows *rows, gconstpointer garden, gpointer item, GError **error)
{
    (void)error;
    *(StoreWarning *)item = (StoreWarning){
        .site = store_find_site(garden, (const char *)sqlite3_column_text(rows, 0)),
        .night_day = (int32_t)sqlite3_column_int(rows, 1),
        .low_c = sqlite3_column_double(rows, 2),
        .heard_utc = sqlite3_column_int64(rows, 3),
    };
    return TRUE;
}

gboolean store_load_warnings(Store *store, const Garden *garden, int32_t night_day,
                             GArray **ret_warnings, GError **error)
{
    g_autoptr(StoreRows) rows = store_query(
        store, error,
        "SELECT site, night_day, low_c, heard_utc FROM warning AS w WHERE night_day >= ?1"
        " AND NOT EXISTS (SELECT 1 FROM warning AS v WHERE v.site = w.site"
        " AND v.night_day = w.night_day AND (v.heard_utc, v.n) > (w.heard_utc, w.n))"
        " ORDER BY night_day, n",
        V_INT(night_day));
    return store_collect(store, rows, read_warning, garden, sizeof(StoreWarning), NULL,
                         ret_warnings, error);
}
