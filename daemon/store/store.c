/* SPDX-License-Identifier: MIT */
/*
 * Opening, migrating and copying the store. The policy: no record is ever lost by what is done
 * here. A file that cannot be understood is either left as it is (newer, foreign) or renamed
 * (damaged); an older schema is copied before it is changed.
 */
#include "store/store-pack.h"
#include "store/store-private.h"

#include <errno.h>
#include <fcntl.h>
#include <gio/gio.h>
#include <glib/gstdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/random.h>
#include <unistd.h>

/* "thol" in ASCII, in the file's header: `file` and other programs can tell whose it is. Chosen. */
#define APPLICATION_ID 0x74686f6c

/* ---- the lock, and damaged files ---- */

static gboolean take_lock(Store *store, GError **error)
{
    g_autofree char *path = g_strconcat(store->path, ".lock", NULL);
    store->lock_fd = g_open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (store->lock_fd < 0) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_FAILED, "store %s: cannot open %s: %s",
                    store->path, path, g_strerror(errno));
        return FALSE;
    }
    if (flock(store->lock_fd, LOCK_EX | LOCK_NB) == 0)
        return TRUE;
    int code = errno == EWOULDBLOCK ? STORE_ERROR_BUSY : STORE_ERROR_FAILED;
    g_set_error(error, STORE_ERROR, code, "store %s: %s", store->path,
                code == STORE_ERROR_BUSY ? "in use by another tholed" : g_strerror(errno));
    return FALSE;
}

static char *stamped(const char *path, const char *what, int64_t now_utc)
{
    g_autoptr(GDateTime) now = g_date_time_new_from_unix_utc(now_utc);
    g_autofree char *stamp =
        now != NULL ? g_date_time_format(now, "%Y%m%dT%H%M%SZ") : g_strdup("undated");
    return g_strdup_printf("%s.%s-%s", path, what, stamp);
}

/* A name that no file has: BASE, or BASE.1, BASE.2 … */
static char *free_name(const char *base)
{
    char *name = g_strdup(base);
    for (int i = 1; g_file_test(name, G_FILE_TEST_EXISTS); i++) {
        g_free(name);
        name = g_strdup_printf("%s.%d", base, i);
    }
    return name;
}

/* Renames the damaged file, and its log, which may hold what the file lacks. Sets ERROR always. */
static void keep_aside(Store *store, int64_t now_utc, const char *damage, GError **error)
{
    g_autofree char *base = stamped(store->path, "broken", now_utc);
    g_autofree char *aside = free_name(base);
    if (g_rename(store->path, aside) != 0) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_CORRUPT,
                    "store %s: damaged (%s), and it cannot be renamed to %s: %s", store->path,
                    damage, aside, g_strerror(errno));
        return;
    }
    const char *const extensions[] = {"-wal", "-shm", "-journal"};
    for (size_t i = 0; i < G_N_ELEMENTS(extensions); i++) {
        g_autofree char *from = g_strconcat(store->path, extensions[i], NULL);
        g_autofree char *to = g_strconcat(aside, extensions[i], NULL);
        if (g_rename(from, to) != 0 && errno != ENOENT) {
            g_set_error(error, STORE_ERROR, STORE_ERROR_CORRUPT,
                        "store %s: damaged (%s), kept as %s, but %s cannot be renamed: %s",
                        store->path, damage, aside, from, g_strerror(errno));
            return;
        }
    }
    g_set_error(error, STORE_ERROR, STORE_ERROR_CORRUPT, "store %s: damaged (%s), kept as %s",
                store->path, damage, aside);
}

/* ---- opening ---- */

static gboolean execute(Store *store, const char *sql, GError **error)
{
    int rc = sqlite3_exec(store->db, sql, NULL, NULL, NULL);
    if (rc != SQLITE_OK)
        store_set_error(store, rc, error);
    return rc == SQLITE_OK;
}

/* The one value that SQL gives, as text. */
static gboolean ask(Store *store, const char *sql, char **ret_text, GError **error)
{
    g_autoptr(StoreRows) rows = store_query_values(store, sql, NULL, 0, error);
    if (rows == NULL)
        return FALSE;
    int step = store_step(store, rows, error);
    if (step < 0)
        return FALSE;
    *ret_text = g_strdup(step > 0 ? (const char *)sqlite3_column_text(rows, 0) : "");
    return TRUE;
}

static gboolean ask_number(Store *store, const char *sql, int64_t *ret_number, GError **error)
{
    g_autofree char *text = NULL;
    if (!ask(store, sql, &text, error))
        return FALSE;
    *ret_number = g_ascii_strtoll(text, NULL, 10);
    return TRUE;
}

static int64_t length_of(const char *path)
{
    GStatBuf file;
    return g_stat(path, &file) == 0 ? (int64_t)file.st_size : 0;
}

/*
 * Whether all pages are there to their last byte: SQLite takes the missing part of a last page as
 * zeros. With a log the file may still be short; the log has what is missing.
 */
static gboolean check_length(Store *store, GError **error)
{
    int64_t pages, page_size;
    g_autofree char *log = g_strconcat(store->path, "-wal", NULL);
    if (!ask_number(store, "PRAGMA page_count", &pages, error) ||
        !ask_number(store, "PRAGMA page_size", &page_size, error))
        return FALSE;
    int64_t length = length_of(store->path);
    if (length >= pages * page_size || length_of(log) > 0)
        return TRUE;
    g_set_error(error, STORE_ERROR, STORE_ERROR_CORRUPT,
                "%" G_GINT64_FORMAT " bytes, where there should be %" G_GINT64_FORMAT, length,
                pages * page_size);
    return FALSE;
}

/* Reads the whole file; a damaged one gives STORE_ERROR_CORRUPT. */
static gboolean check_whole(Store *store, GError **error)
{
    g_autofree char *verdict = NULL;
    if (!ask(store, "PRAGMA quick_check(1)", &verdict, error))
        return FALSE;
    if (strcmp(verdict, "ok") == 0)
        return check_length(store, error);
    g_set_error(error, STORE_ERROR, STORE_ERROR_CORRUPT, "%s", verdict);
    return FALSE;
}

static gboolean check_owner(Store *store, int n_migrations, int64_t *ret_version, GError **error)
{
    int64_t id, version, tables;
    if (!ask_number(store, "PRAGMA application_id", &id, error) ||
        !ask_number(store, "PRAGMA user_version", &version, error) ||
        !ask_number(store, "SELECT count(*) FROM sqlite_schema", &tables, error))
        return FALSE;
    gboolean fresh = id == 0 && version == 0 && tables == 0;
    if (!fresh && id != APPLICATION_ID) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_FOREIGN,
                    "store %s: this is a database of another program; it was not touched",
                    store->path);
        return FALSE;
    }
    if (version > n_migrations) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_NEWER,
                    "store %s: written by a newer tholed (schema %" G_GINT64_FORMAT
                    ", this one knows up to %d); it was not touched",
                    store->path, version, n_migrations);
        return FALSE;
    }
    if (sqlite3_db_readonly(store->db, "main") == 1) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_FAILED, "store %s: cannot be written to",
                    store->path);
        return FALSE;
    }
    *ret_version = version;
    return TRUE;
}

static gboolean set_durability(Store *store, StoreDurability durability, GError **error)
{
    const char *wanted = durability == STORE_DURABLE ? "wal" : "memory";
    g_autofree char *mode = NULL;
    if (!ask(store,
             durability == STORE_DURABLE ? "PRAGMA journal_mode=WAL" : "PRAGMA journal_mode=MEMORY",
             &mode, error))
        return FALSE;
    if (strcmp(mode, wanted) != 0) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_FAILED,
                    "store %s: the file system does not allow journal mode %s", store->path,
                    wanted);
        return FALSE;
    }
    return execute(
        store, durability == STORE_DURABLE ? "PRAGMA synchronous=FULL" : "PRAGMA synchronous=OFF",
        error);
}

/* One step of the schema, in one transaction. */
static gboolean migrate_step(Store *store, int64_t version, const char *sql, GError **error)
{
    if (!store_begin(store, error))
        return FALSE;
    g_autofree char *mark =
        g_strdup_printf("PRAGMA application_id=%d; PRAGMA user_version=%" G_GINT64_FORMAT,
                        APPLICATION_ID, version + 1);
    g_autoptr(GError) failure = NULL;
    if (execute(store, sql, &failure) && execute(store, mark, &failure) &&
        store_commit(store, &failure))
        return TRUE;
    store_rollback(store);
    g_propagate_prefixed_error(error, g_steal_pointer(&failure),
                               "schema %" G_GINT64_FORMAT " to %" G_GINT64_FORMAT
                               " failed, the old one was kept: ",
                               version, version + 1);
    return FALSE;
}

static gboolean migrate(Store *store, int64_t version, int64_t now_utc,
                        const char *const *migrations, int n_migrations, GError **error)
{
    if (version > 0 && version < n_migrations) {
        g_autofree char *what = g_strdup_printf("schema-%" G_GINT64_FORMAT, version);
        g_autofree char *base = stamped(store->path, what, now_utc);
        g_autofree char *copy = free_name(base);
        if (!store_backup(store, copy, error))
            return FALSE;
    }
    for (int64_t v = version; v < n_migrations; v++) {
        if (!migrate_step(store, v, migrations[v], error))
            return FALSE;
    }
    return TRUE;
}

static gboolean open_database(Store *store, GError **error)
{
    int rc =
        sqlite3_open_v2(store->path, &store->db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL);
    if (rc != SQLITE_OK) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_FAILED, "store %s: cannot be opened: %s",
                    store->path, store->db != NULL ? sqlite3_errmsg(store->db) : "no memory");
        return FALSE;
    }
    sqlite3_extended_result_codes(store->db, 1);
    sqlite3_busy_timeout(store->db, 0);
    return execute(store,
                   "PRAGMA foreign_keys=ON; PRAGMA trusted_schema=OFF; PRAGMA cell_size_check=ON",
                   error) &&
           check_whole(store, error);
}

static void close_database(Store *store)
{
    g_hash_table_remove_all(store->statements);
    if (sqlite3_close(store->db) != SQLITE_OK)
        g_error("store %s: a statement was left open", store->path);
    store->db = NULL;
}

static void finalize(gpointer statement)
{
    sqlite3_finalize(statement);
}

Store *store_open_with(const char *path, StoreDurability durability, int64_t now_utc,
                       const char *const *migrations, int n_migrations, GError **error)
{
    g_autoptr(Store) store = g_new0(Store, 1);
    store->path = g_strdup(path);
    store->lock_fd = -1;
    store->statements = g_hash_table_new_full(g_str_hash, g_str_equal, NULL, finalize);
    if (!take_lock(store, error))
        return NULL;

    g_autoptr(GError) failure = NULL;
    int64_t version = 0;
    if (!open_database(store, &failure) || !check_owner(store, n_migrations, &version, &failure) ||
        !set_durability(store, durability, &failure)) {
        if (g_error_matches(failure, STORE_ERROR, STORE_ERROR_CORRUPT)) {
            /* What the log holds stays in the log: nothing of a damaged store is written over. */
            sqlite3_db_config(store->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
            close_database(store);
            keep_aside(store, now_utc, failure->message, error);
        } else {
            g_propagate_error(error, g_steal_pointer(&failure));
        }
        return NULL;
    }
    if (!migrate(store, version, now_utc, migrations, n_migrations, error))
        return NULL;
    return g_steal_pointer(&store);
}

Store *store_open(const char *path, StoreDurability durability, int64_t now_utc, GError **error)
{
    return store_open_with(path, durability, now_utc, store_migrations, store_n_migrations, error);
}

void store_close(Store *store)
{
    if (store == NULL)
        return;
    store_rollback(store);
    close_database(store);
    g_hash_table_unref(store->statements);
    if (store->lock_fd >= 0)
        close(store->lock_fd);
    g_free(store->path);
    g_free(store);
}

/* ---- copies ---- */

static gboolean file_error(Store *store, const char *what, const char *path, GError **error)
{
    int number = errno;
    g_set_error(error, STORE_ERROR, number == ENOSPC ? STORE_ERROR_FULL : STORE_ERROR_FAILED,
                "store %s: cannot %s %s: %s", store->path, what, path, g_strerror(number));
    return FALSE;
}

static gboolean synchronise(Store *store, const char *path, GError **error)
{
    int fd = g_open(path, O_RDONLY | O_CLOEXEC, 0);
    if (fd < 0)
        return file_error(store, "open", path, error);
    if (fsync(fd) != 0) {
        file_error(store, "synchronise", path, error);
        close(fd);
        return FALSE;
    }
    close(fd);
    return TRUE;
}

static gboolean same_file(const char *a, const char *b)
{
    GStatBuf sa, sb;
    return g_stat(a, &sa) == 0 && g_stat(b, &sb) == 0 && sa.st_dev == sb.st_dev &&
           sa.st_ino == sb.st_ino;
}

static gboolean copy_to(Store *store, const char *part, const char *path, GError **error)
{
    g_autofree char *folder = g_path_get_dirname(path);
    if (!store_run(store, error, "VACUUM INTO ?1", V_TEXT(part)) ||
        !synchronise(store, part, error))
        return FALSE;
    if (g_rename(part, path) != 0)
        return file_error(store, "rename to", path, error);
    return synchronise(store, folder, error);
}

gboolean store_backup(Store *store, const char *path, GError **error)
{
    if (store->in_transaction || same_file(store->path, path)) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "store %s: no copy to %s: %s",
                    store->path, path,
                    store->in_transaction ? "a transaction is open" : "that is the store itself");
        return FALSE;
    }
    /* A part left behind by a crash would make VACUUM INTO refuse. */
    g_autofree char *part = g_strconcat(path, ".part", NULL);
    if (g_unlink(part) != 0 && errno != ENOENT && errno != ENOTDIR)
        return file_error(store, "remove", part, error);
    if (copy_to(store, part, path, error))
        return TRUE;
    g_unlink(part);
    return FALSE;
}

/* ---- ids, settings, states ---- */

void store_new_id(char id[ID_SIZE])
{
    uint8_t bytes[16];
    /* Once the kernel's pool is ready, up to 256 bytes come whole: getrandom(2). */
    if (getrandom(bytes, sizeof bytes, 0) != (ssize_t)sizeof bytes)
        g_error("no random numbers from the kernel: %s", g_strerror(errno));
    for (size_t i = 0; i < sizeof bytes; i++)
        g_snprintf(id + 2 * i, 3, "%02x", bytes[i]);
}

gboolean store_put_setting(Store *store, const char *key, const char *value, GError **error)
{
    return store_run(store, error,
                     "INSERT INTO setting(key, value) VALUES(?1, ?2)"
                     " ON CONFLICT(key) DO UPDATE SET value = excluded.value",
                     V_TEXT(key), V_TEXT(value));
}

gboolean store_get_setting(Store *store, const char *key, char **ret_value, GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error, "SELECT value FROM setting WHERE key = ?1", V_TEXT(key));
    if (rows == NULL)
        return FALSE;
    int step = store_step(store, rows, error);
    if (step < 0)
        return FALSE;
    *ret_value = step > 0 ? g_strdup((const char *)sqlite3_column_text(rows, 0)) : NULL;
    return TRUE;
}

gboolean store_put_state(Store *store, const char *key, int64_t as_of_utc, const double *values,
                         int n, GError **error)
{
    g_autoptr(GByteArray) numbers = g_byte_array_new();
    pack_doubles(numbers, values, n);
    return store_run(
        store, error,
        "INSERT INTO state(key, as_of_utc, numbers) VALUES(?1, ?2, ?3) ON CONFLICT(key)"
        " DO UPDATE SET as_of_utc = excluded.as_of_utc, numbers = excluded.numbers",
        V_TEXT(key), V_INT(as_of_utc), V_BLOB(numbers));
}

gboolean store_get_state(Store *store, const char *key, int64_t *ret_as_of_utc, GArray **ret_values,
                         GError **error)
{
    g_autoptr(StoreRows) rows = store_query(
        store, error, "SELECT as_of_utc, numbers FROM state WHERE key = ?1", V_TEXT(key));
    if (rows == NULL)
        return FALSE;
    int step = store_step(store, rows, error);
    if (step < 0)
        return FALSE;
    g_autoptr(GArray) values = g_array_new(FALSE, FALSE, sizeof(double));
    int64_t as_of_utc = 0;
    if (step > 0) {
        as_of_utc = sqlite3_column_int64(rows, 0);
        int bytes = sqlite3_column_bytes(rows, 1);
        Unpacker from = {.data = sqlite3_column_blob(rows, 1), .left = (size_t)bytes};
        g_array_set_size(values, (guint)bytes / sizeof(double));
        unpack_doubles(&from, (double *)values->data, (int)values->len);
    }
    *ret_as_of_utc = as_of_utc;
    *ret_values = g_steal_pointer(&values);
    return TRUE;
}
