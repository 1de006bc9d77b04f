/* SPDX-License-Identifier: MIT */
/* Statements, errors and transactions: the only way to SQLite for the rest of store/. */
#include "store/store-private.h"

#include <math.h>
#include <string.h>

G_DEFINE_QUARK(store_error, store_error)

static StoreError code_of(int rc)
{
    switch (rc & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return STORE_ERROR_BUSY;
    case SQLITE_FULL:
        return STORE_ERROR_FULL;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        return STORE_ERROR_CORRUPT;
    case SQLITE_CONSTRAINT:
        return rc == SQLITE_CONSTRAINT_FOREIGNKEY ? STORE_ERROR_MISSING : STORE_ERROR_INVALID;
    default:
        return STORE_ERROR_FAILED;
    }
}

void store_set_error(Store *store, int rc, GError **error)
{
    StoreError code = code_of(rc);
    if (code == STORE_ERROR_BUSY)
        g_set_error(error, STORE_ERROR, code, "store %s: in use by another program", store->path);
    else if (code == STORE_ERROR_FULL)
        g_set_error(error, STORE_ERROR, code, "store %s: no room on the disk", store->path);
    else if (code == STORE_ERROR_MISSING)
        g_set_error(error, STORE_ERROR, code,
                    "store %s: the record belongs to a batch or visit that is not in the store",
                    store->path);
    else
        g_set_error(error, STORE_ERROR, code, "store %s: %s", store->path,
                    sqlite3_errmsg(store->db));
}

/* ---- statements ---- */

static sqlite3_stmt *cached_statement(Store *store, const char *sql, GError **error)
{
    sqlite3_stmt *statement = g_hash_table_lookup(store->statements, sql);
    if (statement != NULL)
        return statement;
    int rc = sqlite3_prepare_v3(store->db, sql, -1, SQLITE_PREPARE_PERSISTENT, &statement, NULL);
    if (rc != SQLITE_OK) {
        store_set_error(store, rc, error);
        return NULL;
    }
    g_hash_table_insert(store->statements, (gpointer)sql, statement);
    return statement;
}

static int bind_value(sqlite3_stmt *statement, int i, const StoreValue *value)
{
    switch (value->type) {
    case VALUE_TEXT:
        return sqlite3_bind_text(statement, i, value->text, -1, SQLITE_STATIC);
    case VALUE_INT:
        return sqlite3_bind_int64(statement, i, value->integer);
    case VALUE_REAL:
        return isnan(value->real) ? sqlite3_bind_null(statement, i)
                                  : sqlite3_bind_double(statement, i, value->real);
    case VALUE_BLOB:
        /* A NULL pointer would be bound as null; an empty array may hold one. */
        return sqlite3_bind_blob64(statement, i,
                                   value->blob->len > 0 ? value->blob->data : (void *)"",
                                   value->blob->len, SQLITE_STATIC);
    }
    return SQLITE_MISUSE;
}

void store_rows_done(StoreRows *rows)
{
    sqlite3_reset(rows);
    sqlite3_clear_bindings(rows);
}

StoreRows *store_query_values(Store *store, const char *sql, const StoreValue *values, size_t n,
                              GError **error)
{
    sqlite3_stmt *statement = cached_statement(store, sql, error);
    if (statement == NULL)
        return NULL;
    g_assert(!sqlite3_stmt_busy(statement));
    g_assert((size_t)sqlite3_bind_parameter_count(statement) == n);
    for (size_t i = 0; i < n; i++) {
        int rc = bind_value(statement, (int)i + 1, &values[i]);
        if (rc != SQLITE_OK) {
            store_set_error(store, rc, error);
            store_rows_done(statement);
            return NULL;
        }
    }
    return statement;
}

int store_step(Store *store, StoreRows *rows, GError **error)
{
    int rc = sqlite3_step(rows);
    if (rc == SQLITE_ROW)
        return 1;
    if (rc == SQLITE_DONE)
        return 0;
    store_set_error(store, rc, error);
    return -1;
}

gboolean store_collect(Store *store, StoreRows *rows, StoreReadRow read, gconstpointer context,
                       guint item_size, GDestroyNotify clear, GArray **ret_items, GError **error)
{
    g_autoptr(GArray) items = g_array_new(FALSE, TRUE, item_size);
    g_array_set_clear_func(items, clear);
    int step = -1;
    while (rows != NULL && (step = store_step(store, rows, error)) > 0) {
        g_array_set_size(items, items->len + 1);
        gpointer item = items->data + (size_t)(items->len - 1) * item_size;
        if (!read(rows, context, item, error)) {
            g_prefix_error(error, "store %s: ", store->path);
            return FALSE;
        }
    }
    if (step < 0)
        return FALSE;
    *ret_items = g_steal_pointer(&items);
    return TRUE;
}

/*
 * A transaction that lost a write must not be committed, nor go on as single commits where SQLite
 * ended it by itself.
 */
static gboolean check_whole_so_far(Store *store, GError **error)
{
    if (!store->in_transaction || (!store->spoilt && !sqlite3_get_autocommit(store->db)))
        return TRUE;
    g_set_error(error, STORE_ERROR, STORE_ERROR_FAILED,
                "store %s: an earlier failure ended the transaction; nothing of it is kept",
                store->path);
    return FALSE;
}

gboolean store_run_values(Store *store, const char *sql, const StoreValue *values, size_t n,
                          GError **error)
{
    if (!check_whole_so_far(store, error))
        return FALSE;
    g_autoptr(StoreRows) rows = store_query_values(store, sql, values, n, error);
    if (rows == NULL)
        return FALSE;
    int rc;
    while ((rc = sqlite3_step(rows)) == SQLITE_ROW)
        continue;
    if (rc == SQLITE_DONE)
        return TRUE;
    store_set_error(store, rc, error);
    /* A record that was refused is undone by itself; the transaction may go on without it. */
    if ((rc & 0xff) != SQLITE_CONSTRAINT)
        store->spoilt = store->in_transaction;
    return FALSE;
}

void store_column_text(StoreRows *rows, int i, char *to, size_t size)
{
    const char *text = (const char *)sqlite3_column_text(rows, i);
    g_strlcpy(to, text != NULL ? text : "", size);
}

double store_column_real(StoreRows *rows, int i)
{
    return sqlite3_column_type(rows, i) == SQLITE_NULL ? NAN : sqlite3_column_double(rows, i);
}

int store_column_index(StoreRows *rows, int i)
{
    return sqlite3_column_type(rows, i) == SQLITE_NULL ? -1 : sqlite3_column_int(rows, i);
}

/* ---- transactions ---- */

gboolean store_begin(Store *store, GError **error)
{
    if (store->in_transaction) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "store %s: already in a transaction",
                    store->path);
        return FALSE;
    }
    if (!store_run_values(store, "BEGIN IMMEDIATE", NULL, 0, error))
        return FALSE;
    store->in_transaction = TRUE;
    store->spoilt = FALSE;
    return TRUE;
}

void store_rollback(Store *store)
{
    if (!store->in_transaction)
        return;
    store->in_transaction = FALSE;
    if (!sqlite3_get_autocommit(store->db))
        sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
}

gboolean store_commit(Store *store, GError **error)
{
    if (!store->in_transaction) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "store %s: not in a transaction",
                    store->path);
        return FALSE;
    }
    gboolean committed = store_run_values(store, "COMMIT", NULL, 0, error);
    if (!committed)
        store_rollback(store);
    store->in_transaction = FALSE;
    return committed;
}

/* ---- names ---- */

int store_word_index(const char *const *words, int n, const char *text)
{
    for (int i = 0; text != NULL && i < n; i++) {
        if (strcmp(words[i], text) == 0)
            return i;
    }
    return -1;
}

_Static_assert(offsetof(Site, name) == 0 && offsetof(Place, name) == 0 &&
                   offsetof(Container, name) == 0 && offsetof(Crop, name) == 0 &&
                   offsetof(Grower, name) == 0 && offsetof(CoverPosition, name) == 0,
               "store_find_name() looks for the name at the start");

int store_find_name(const void *items, int n, size_t size, const char *name)
{
    for (int i = 0; name != NULL && i < n; i++) {
        if (strcmp((const char *)items + (size_t)i * size, name) == 0)
            return i;
    }
    return -1;
}

int store_find_place(const Garden *garden, const char *name)
{
    return store_find_name(garden->places, garden->n_places, sizeof(Place), name);
}

int store_find_site(const Garden *garden, const char *name)
{
    return store_find_name(garden->sites, garden->n_sites, sizeof(Site), name);
}

int store_find_grower(const Garden *garden, const char *name)
{
    return store_find_name(garden->growers, garden->n_growers, sizeof(Grower), name);
}

int store_find_position(const Garden *garden, int place, const char *name)
{
    if (place < 0 || !garden->places[place].covered)
        return -1;
    const Cover *cover = &garden->places[place].cover;
    return store_find_name(cover->positions, cover->n_positions, sizeof(CoverPosition), name);
}

gboolean store_check_index(const char *what, int index, int n, GError **error)
{
    if (index >= 0 && index < n)
        return TRUE;
    g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "no such %s: %d of %d", what, index, n);
    return FALSE;
}
