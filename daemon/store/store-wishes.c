/* SPDX-License-Identifier: MIT */
#include "store/store-wishes.h"

#include <string.h>

#include "store/store-private.h"

/* Indexed by StoreWishKind; never change an old one. */
static const char *const kinds[] = {"fixed", "dropped", "offered"};

void store_name_event(const char *uid, char ret_name[STORE_UID_SIZE])
{
    const char *name = uid != NULL ? uid : "";
    g_autofree char *sum = strlen(name) >= STORE_UID_SIZE
                               ? g_compute_checksum_for_string(G_CHECKSUM_SHA256, name, -1)
                               : NULL;

    g_strlcpy(ret_name, sum != NULL ? sum : name, STORE_UID_SIZE);
}

void store_wish_clear(StoreWish *wish)
{
    g_clear_pointer(&wish->cost, g_free);
}

void store_answer_clear(StoreAnswer *answer)
{
    g_clear_pointer(&answer->text, g_free);
}

gboolean store_put_wish(Store *store, const Garden *garden, StoreWish *wish, GError **error)
{
    if (!store_check_index("site", wish->site, garden->n_sites, error) ||
        !store_check_index("grower", wish->grower, garden->n_growers, error))
        return FALSE;
    const char *site = garden->sites[wish->site].name, *grower = garden->growers[wish->grower].name;
    if (wish->n != 0)
        return store_run(store, error,
                         "UPDATE visit_wish SET kind = ?2, site = ?3, grower = ?4, start_utc = ?5,"
                         " end_utc = ?6, clear_from_utc = ?7, clear_to_utc = ?8, visit_id = ?9,"
                         " uid = ?10, cost = ?11 WHERE n = ?1",
                         V_INT(wish->n), V_TEXT(kinds[wish->kind]), V_TEXT(site), V_TEXT(grower),
                         V_INT(wish->start_utc), V_INT(wish->end_utc), V_INT(wish->clear_from_utc),
                         V_INT(wish->clear_to_utc), V_TEXT(wish->visit_id), V_TEXT(wish->uid),
                         V_TEXT(wish->cost != NULL ? wish->cost : ""));
    if (!store_run(store, error,
                   "INSERT INTO visit_wish(kind, site, grower, start_utc, end_utc, clear_from_utc,"
                   " clear_to_utc, visit_id, uid) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
                   V_TEXT(kinds[wish->kind]), V_TEXT(site), V_TEXT(grower), V_INT(wish->start_utc),
                   V_INT(wish->end_utc), V_INT(wish->clear_from_utc), V_INT(wish->clear_to_utc),
                   V_TEXT(wish->visit_id), V_TEXT(wish->uid)))
        return FALSE;
    wish->n = sqlite3_last_insert_rowid(store->db);
    return TRUE;
}

gboolean store_set_wish_cost(Store *store, int64_t n, const char *cost, GError **error)
{
    return store_run(store, error, "UPDATE visit_wish SET cost = ?2 WHERE n = ?1", V_INT(n),
                     V_TEXT(cost));
}

gboolean store_remove_wish(Store *store, int64_t n, GError **error)
{
    return store_run(store, error, "DELETE FROM visit_wish WHERE n = ?1", V_INT(n));
}

static gboolean read_wish(StoreRows *rows, gconstpointer garden, gpointer item, GError **error)
{
    StoreWish *wish = item;
    const int kind =
        store_word_index(kinds, STORE_N(kinds), (const char *)sqlite3_column_text(rows, 1));
    if (kind < 0) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "visit_wish: unknown kind");
        return FALSE;
    }
    wish->n = sqlite3_column_int64(rows, 0);
    wish->kind = (StoreWishKind)kind;
    wish->site = store_find_site(garden, (const char *)sqlite3_column_text(rows, 2));
    wish->grower = store_find_grower(garden, (const char *)sqlite3_column_text(rows, 3));
    wish->start_utc = sqlite3_column_int64(rows, 4);
    wish->end_utc = sqlite3_column_int64(rows, 5);
    wish->clear_from_utc = sqlite3_column_int64(rows, 6);
    wish->clear_to_utc = sqlite3_column_int64(rows, 7);
    store_column_text(rows, 8, wish->visit_id, sizeof wish->visit_id);
    store_column_text(rows, 9, wish->uid, sizeof wish->uid);
    wish->cost = g_strdup((const char *)sqlite3_column_text(rows, 10));
    return TRUE;
}

static void clear_wish(gpointer wish)
{
    store_wish_clear(wish);
}

gboolean store_load_wishes(Store *store, const Garden *garden, int64_t from_utc,
                           GArray **ret_wishes, GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT n, kind, site, grower, start_utc, end_utc, clear_from_utc,"
                    " clear_to_utc, visit_id, uid, cost FROM visit_wish WHERE end_utc >= ?1"
                    " ORDER BY start_utc, n",
                    V_INT(from_utc));
    return store_collect(store, rows, read_wish, garden, sizeof(StoreWish), clear_wish, ret_wishes,
                         error);
}

gboolean store_put_answer(Store *store, const StoreAnswer *answer, GError **error)
{
    return store_run(
        store, error, "INSERT INTO visit_answer(uid, at_utc, refused, text) VALUES(?1, ?2, ?3, ?4)",
        V_TEXT(answer->uid), V_INT(answer->at_utc), V_INT(answer->refused), V_TEXT(answer->text));
}

static gboolean read_answer(StoreRows *rows, gconstpointer context, gpointer item, GError **error)
{
    StoreAnswer *answer = item;
    (void)context;
    (void)error;
    store_column_text(rows, 0, answer->uid, sizeof answer->uid);
    answer->at_utc = sqlite3_column_int64(rows, 1);
    answer->refused = sqlite3_column_int(rows, 2) != 0;
    answer->text = g_strdup((const char *)sqlite3_column_text(rows, 3));
    return TRUE;
}

static void clear_answer(gpointer answer)
{
    store_answer_clear(answer);
}

gboolean store_load_answers(Store *store, int64_t from_utc, GArray **ret_answers, GError **error)
{
    g_autoptr(StoreRows) rows = store_query(
        store, error,
        "SELECT uid, at_utc, refused, text FROM visit_answer WHERE at_utc >= ?1 ORDER BY n",
        V_INT(from_utc));
    return store_collect(store, rows, read_answer, NULL, sizeof(StoreAnswer), clear_answer,
                         ret_answers, error);
}

gboolean store_forget_wishes(Store *store, int64_t before_utc, GError **error)
{
    return store_run(store, error, "DELETE FROM visit_wish WHERE end_utc < ?1",
                     V_INT(before_utc)) &&
           store_run(store, error, "DELETE FROM visit_answer WHERE at_utc < ?1",
                     V_INT(before_utc)) &&
           store_run(store, error, "DELETE FROM visit_edits WHERE at_utc < ?1", V_INT(before_utc));
}

gboolean store_put_edits_taken(Store *store, const char *uid, guint edits, int64_t at_utc,
                               GError **error)
{
    return store_run(store, error,
                     "INSERT INTO visit_edits(uid, taken, planned, at_utc) VALUES(?1, ?2, 0, ?3)"
                     " ON CONFLICT(uid) DO UPDATE SET taken = max(taken, excluded.taken),"
                     " at_utc = excluded.at_utc",
                     V_TEXT(uid), V_INT(edits), V_INT(at_utc));
}

gboolean store_set_edits_planned(Store *store, GError **error)
{
    return store_run(store, error, "UPDATE visit_edits SET planned = taken WHERE taken > ?1",
                     V_INT(0));
}

gboolean store_get_edits_planned(Store *store, const char *uid, guint *ret, GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error, "SELECT planned FROM visit_edits WHERE uid = ?1", V_TEXT(uid));
    const int found = rows != NULL ? store_step(store, rows, error) : -1;
    *ret = found == 1 ? (guint)sqlite3_column_int64(rows, 0) : 0;
    return found >= 0;
}
