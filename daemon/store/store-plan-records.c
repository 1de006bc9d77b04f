/* SPDX-License-Identifier: MIT */
#include "store/store-plan-records.h"

#include <string.h>

#include "base/json-check.h"
#include "store/store-private.h"

#define DAY_S 86400
#define DECISIONS_DEPTH 16 /* far more than there are */
#define KEPT_WHOLE_D 400   /* chosen: a year, and a spring to look back on from the next */

static const char *const predicted_words[] = {
    [STORE_PREDICTED_MIN] = "min",
    [STORE_PREDICTED_MAX] = "max",
};

/* ---- predictions ---- */

static const char *name_of(const Garden *garden, const StorePrediction *p)
{
    return p->open_air ? garden->sites[p->site].name : garden->places[p->place].name;
}

gboolean store_put_prediction(Store *store, const Garden *garden, const StorePrediction *p,
                              GError **error)
{
    gboolean known = p->open_air ? store_check_index("site", p->site, garden->n_sites, error)
                                 : store_check_index("place", p->place, garden->n_places, error);
    return known &&
           store_check_index("kind of prediction", (int)p->what, STORE_N(predicted_words), error) &&
           store_run(store, error,
                     "INSERT INTO prediction(made_utc, place, night_day, what, mean_c, spread_k,"
                     " forecast_issued_utc, bias_k, outdoor_spread_k, light_wm2, position_index,"
                     " tonight) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)"
                     " ON CONFLICT(place, made_utc, night_day, what) DO UPDATE SET"
                     " mean_c = excluded.mean_c, spread_k = excluded.spread_k,"
                     " forecast_issued_utc = excluded.forecast_issued_utc,"
                     " bias_k = excluded.bias_k, outdoor_spread_k = excluded.outdoor_spread_k,"
                     " light_wm2 = excluded.light_wm2, position_index = excluded.position_index,"
                     " tonight = excluded.tonight",
                     V_INT(p->made_utc), V_TEXT(name_of(garden, p)), V_INT(p->night_day),
                     V_TEXT(predicted_words[p->what]), V_REAL(p->mean_c), V_REAL(p->spread_k),
                     V_INT(p->forecast_issued_utc), V_REAL(p->bias_k), V_REAL(p->outdoor_spread_k),
                     V_REAL(p->light_wm2), V_INT(p->position), V_INT(p->tonight));
}

static gboolean read_prediction(StoreRows *rows, gconstpointer garden, gpointer item,
                                GError **error)
{
    const char *name = (const char *)sqlite3_column_text(rows, 1);
    const char *word = (const char *)sqlite3_column_text(rows, 3);
    int what = store_word_index(predicted_words, STORE_N(predicted_words), word);
    if (what < 0) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "a prediction of unknown kind '%s'",
                    word);
        return FALSE;
    }
    int place = store_find_place(garden, name), site = store_find_site(garden, name);
    *(StorePrediction *)item = (StorePrediction){
        .made_utc = sqlite3_column_int64(rows, 0),
        .place = place,
        .night_day = (int32_t)sqlite3_column_int(rows, 2),
        .what = (StorePredicted)what,
        .mean_c = store_column_real(rows, 4),
        .spread_k = store_column_real(rows, 5),
        .forecast_issued_utc = sqlite3_column_int64(rows, 6),
        .open_air = place < 0 && site >= 0,
        .site = place < 0 ? site : -1,
        .bias_k = store_column_real(rows, 7),
        .outdoor_spread_k = store_column_real(rows, 8),
        .light_wm2 = store_column_real(rows, 9),
        .position = store_column_index(rows, 10),
        .tonight = sqlite3_column_int(rows, 11) != 0,
    };
    return TRUE;
}

gboolean store_load_predictions(Store *store, const Garden *garden, int32_t from_day,
                                int32_t to_day, GArray **ret_predictions, GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT made_utc, place, night_day, what, mean_c, spread_k,"
                    " forecast_issued_utc, bias_k, outdoor_spread_k, light_wm2, position_index,"
                    " tonight"
                    " FROM prediction WHERE night_day BETWEEN ?1 AND ?2 ORDER BY made_utc, n",
                    V_INT(from_day), V_INT(to_day));
    return store_collect(store, rows, read_prediction, garden, sizeof(StorePrediction), NULL,
                         ret_predictions, error);
}

gboolean store_load_outdoors(Store *store, const Garden *garden, int site, int32_t day,
                             StorePredicted what, GArray **ret_predictions, GError **error)
{
    g_autoptr(StoreRows) rows = store_query(
        store, error,
        "SELECT made_utc, place, night_day, what, mean_c, spread_k, forecast_issued_utc, bias_k,"
        " outdoor_spread_k, light_wm2, position_index, tonight FROM prediction"
        " WHERE night_day = ?1 AND place = ?2 AND what = ?3 ORDER BY made_utc, n",
        V_INT(day), V_TEXT(garden->sites[site].name), V_TEXT(predicted_words[what]));
    return store_collect(store, rows, read_prediction, garden, sizeof(StorePrediction), NULL,
                         ret_predictions, error);
}

/* ---- plans ---- */

gboolean store_put_plan(Store *store, const StorePlan *plan, GError **error)
{
    g_autoptr(GError) fault = NULL;
    if (!json_check(plan->decisions, strlen(plan->decisions), DECISIONS_DEPTH, &fault)) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID,
                    "the decisions of a plan are not JSON: %s", fault->message);
        return FALSE;
    }
    return store_run(store, error,
                     "INSERT INTO plan(made_utc, cause, decisions, value, bound_gap)"
                     " VALUES(?1, ?2, ?3, ?4, ?5)",
                     V_INT(plan->made_utc), V_TEXT(plan->trigger), V_TEXT(plan->decisions),
                     V_REAL(plan->value), V_REAL(plan->bound_gap));
}

/* ---- thinning ---- */

static gboolean thin_tables(Store *store, int64_t before_utc, GError **error)
{
    /* In each table: a row goes when a later one of the same UTC day, and of its kind, is there. */
    return store_run(store, error,
                     "DELETE FROM plan WHERE made_utc < ?1 AND EXISTS (SELECT 1 FROM plan AS q"
                     " WHERE q.made_utc >= plan.made_utc"
                     " AND q.made_utc < (plan.made_utc / 86400 + 1) * 86400"
                     " AND (q.made_utc, q.n) > (plan.made_utc, plan.n))",
                     V_INT(before_utc)) &&
           store_run(store, error,
                     "DELETE FROM prediction WHERE made_utc < ?1 AND EXISTS (SELECT 1"
                     " FROM prediction AS q WHERE q.place = prediction.place"
                     " AND q.made_utc > prediction.made_utc"
                     " AND q.made_utc < (prediction.made_utc / 86400 + 1) * 86400)",
                     V_INT(before_utc)) &&
           store_run(store, error,
                     "DELETE FROM forecast WHERE issued_utc < ?1 AND EXISTS (SELECT 1"
                     " FROM forecast AS q WHERE q.site = forecast.site"
                     " AND q.source = forecast.source AND q.issued_utc > forecast.issued_utc"
                     " AND q.issued_utc < (forecast.issued_utc / 86400 + 1) * 86400)",
                     V_INT(before_utc)) &&
           store_run(store, error, "DELETE FROM notice WHERE due_utc < ?1", V_INT(before_utc)) &&
           store_run(store, error, "DELETE FROM told WHERE at_utc < ?1", V_INT(before_utc)) &&
           store_run(store, error, "DELETE FROM outlet_edit WHERE at_utc < ?1", V_INT(before_utc));
}

gboolean store_thin(Store *store, int64_t now_utc, int *ret_removed, GError **error)
{
    gboolean own = !store->in_transaction;
    if (own && !store_begin(store, error))
        return FALSE;
    int before = sqlite3_total_changes(store->db);
    int64_t before_utc = (now_utc / DAY_S - KEPT_WHOLE_D) * DAY_S;
    gboolean thinned = thin_tables(store, before_utc, error);
    int removed = sqlite3_total_changes(store->db) - before;
    if (thinned && own)
        thinned = store_commit(store, error);
    else if (own)
        store_rollback(store);
    if (thinned)
        *ret_removed = removed;
    return thinned;
}
