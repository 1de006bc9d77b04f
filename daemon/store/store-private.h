/* SPDX-License-Identifier: MIT */
/* What the files of store/ share, and its tests use. Nobody else includes it. */
#pragma once

#include <sqlite3.h>
#include "store/store.h"

#if SQLITE_VERSION_NUMBER < 3037000
#error "STRICT tables need SQLite 3.37"
#endif

struct Store {
    sqlite3 *db;             /* (owned) */
    char *path;              /* (owned) */
    int lock_fd;             /* holds the flock */
    GHashTable *statements;  /* (owned) SQL text, static -> sqlite3_stmt (owned) */
    gboolean in_transaction; /* as the caller sees it; SQLite may have ended it */
    gboolean spoilt;         /* a write of the transaction failed: it can only be rolled back */
};

/* The schema: step i leads from user_version i to i + 1. */
extern const char *const store_migrations[];
extern const int store_n_migrations;

/* store_open() with other migrations, so that their failure can be tried. */
Store *store_open_with(const char *path, StoreDurability durability, int64_t now_utc,
                       const char *const *migrations, int n_migrations,
                       GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* ---- statements ---- */

typedef struct StoreValue {
    enum { VALUE_TEXT, VALUE_INT, VALUE_REAL, VALUE_BLOB } type;
    const char *text; /* NULL is null */
    int64_t integer;
    double real; /* NAN is null */
    const GByteArray *blob;
} StoreValue;

#define V_TEXT(x) ((StoreValue){.type = VALUE_TEXT, .text = (x)})
#define V_INT(x) ((StoreValue){.type = VALUE_INT, .integer = (x)})
#define V_REAL(x) ((StoreValue){.type = VALUE_REAL, .real = (x)})
#define V_BLOB(x) ((StoreValue){.type = VALUE_BLOB, .blob = (x)})

/* Rows being read from a cached statement; its cleanup makes the statement free again. */
typedef sqlite3_stmt StoreRows;
void store_rows_done(StoreRows *rows);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(StoreRows, store_rows_done)

/* SQL must be a literal: it is the key of the cache. Values must live until the rows are done. */
StoreRows *store_query_values(Store *store, const char *sql, const StoreValue *values, size_t n,
                              GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_run_values(Store *store, const char *sql, const StoreValue *values, size_t n,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;

#define STORE_VALUES(...)                                                                          \
    (const StoreValue[]){__VA_ARGS__},                                                             \
        sizeof((const StoreValue[]){__VA_ARGS__}) / sizeof(StoreValue)
#define store_query(store, error, sql, ...)                                                        \
    store_query_values((store), (sql), STORE_VALUES(__VA_ARGS__), (error))
#define store_run(store, error, sql, ...)                                                          \
    store_run_values((store), (sql), STORE_VALUES(__VA_ARGS__), (error))

/* 1: a row is there; 0: no more; -1: ERROR is set. */
int store_step(Store *store, StoreRows *rows, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Makes ITEM, zeroed, of one row. CONTEXT is the caller's: what names are looked up in, say. */
typedef gboolean (*StoreReadRow)(StoreRows *rows, gconstpointer context, gpointer item,
                                 GError **error);

/* All rows, as items. ROWS NULL: the query failed, and ERROR is set. Errors name the store. */
gboolean store_collect(Store *store, StoreRows *rows, StoreReadRow read, gconstpointer context,
                       guint item_size, GDestroyNotify clear /* (nullable) */, GArray **ret_items,
                       GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Sets ERROR from what SQLite said last. */
void store_set_error(Store *store, int rc, GError **error);

/* Column I as a bounded copy (null: empty), a number (null: NAN), an index (null: -1). */
void store_column_text(StoreRows *rows, int i, char *to, size_t size);
double store_column_real(StoreRows *rows, int i);
int store_column_index(StoreRows *rows, int i);

/* ---- names ---- */

/* The index of TEXT (nullable) among N words, and of NAME in an array of structs that begin with
 * their name; -1 where there is none. */
int store_word_index(const char *const *words, int n, const char *text);
int store_find_name(const void *items, int n, size_t size, const char *name);

int store_find_place(const Garden *garden, const char *name);
int store_find_site(const Garden *garden, const char *name);
int store_find_grower(const Garden *garden, const char *name);
int store_find_position(const Garden *garden, int place, const char *name);

/* FALSE with STORE_ERROR_INVALID where INDEX is not in 0 … N - 1; WHAT names it. */
gboolean store_check_index(const char *what, int index, int n,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

#define STORE_N(words) ((int)G_N_ELEMENTS(words))
