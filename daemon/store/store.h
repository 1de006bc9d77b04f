/* SPDX-License-Identifier: MIT */
/*
 * The store: one SQLite file with everything that happens in the garden. The store has no clock;
 * the caller passes every time in, as UTC seconds. Places, crops, containers, sites and growers are
 * kept by name, so that the indices of a Garden may change between two runs.
 *
 * Unless a comment says otherwise: functions return FALSE (or NULL) with ERROR set and change
 * neither the file nor the output; arrays handed back belong to the caller and free their elements;
 * an empty result is an empty array. Single thread.
 */
#pragma once

#include <glib.h>
#include <stdint.h>

#include "garden/types.h"

typedef struct Store Store;

typedef enum StoreDurability {
    STORE_DURABLE,   /* WAL, synchronous=FULL: what was committed survives a power cut */
    STORE_THROWAWAY, /* for rehearsals: journal in memory, nothing synchronised */
} StoreDurability;

#define STORE_ERROR (store_error_quark())
GQuark store_error_quark(void);

typedef enum StoreError {
    STORE_ERROR_FAILED,     /* SQLite or the file system refused */
    STORE_ERROR_BUSY,       /* another tholed, or another program, holds the file */
    STORE_ERROR_FULL,       /* no room on the disk */
    STORE_ERROR_CORRUPT,    /* damaged; store_open() has kept the file aside under a new name */
    STORE_ERROR_NEWER,      /* written by a newer tholed */
    STORE_ERROR_FOREIGN,    /* an SQLite file of some other program */
    STORE_ERROR_NAME_TAKEN, /* another living batch has this name */
    STORE_ERROR_MISSING, /* a record names something that the garden, or the store, does not have */
    STORE_ERROR_INVALID, /* a value that cannot be kept: bad index, name too long, no transaction */
} StoreError;

/*
 * Opens the store at PATH, making it when there is none (an empty file counts as none; its folder
 * must exist). An older schema is migrated after a copy was made beside it. A damaged file is
 * renamed to PATH.broken-STAMP (STAMP is NOW_UTC), never deleted, and the error names it: a second
 * call then starts an empty store. Held exclusively (flock on PATH.lock) until closed, or the
 * process ends.
 */
Store *store_open(const char *path, StoreDurability durability, int64_t now_utc,
                  GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Rolls back what was begun and not committed, and frees the store. NULL is ignored. */
void store_close(Store *store);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Store, store_close)

/*
 * Everything written between begin and commit is one commit. Not nestable. Outside, each call that
 * writes is a commit of its own. A record that is refused (INVALID, MISSING, NAME_TAKEN) leaves the
 * transaction as it was; after any other failure, such as a full disk, every write and the commit
 * fail until store_rollback(). A commit that fails has rolled back.
 */
gboolean store_begin(Store *store, GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_commit(Store *store, GError **error) G_GNUC_WARN_UNUSED_RESULT;
void store_rollback(Store *store);

/* Fills ID with 32 hexadecimal digits: 128 random bits from the kernel. */
void store_new_id(char id[ID_SIZE]);

/*
 * Settings of the service itself. KEY is the caller's; a value put again replaces the old one.
 * get: a key never put gives NULL.
 */
gboolean store_put_setting(Store *store, const char *key, const char *value,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_get_setting(Store *store, const char *key, char **ret_value /* (nullable) */,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Checkpoints: N numbers as they stood at AS_OF_UTC, under KEY ("chain/frame"); every bit is kept,
 * NAN included. get: *RET_VALUES is an array of double; never put, it is empty and the time 0.
 */
gboolean store_put_state(Store *store, const char *key, int64_t as_of_utc, const double *values,
                         int n, GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_get_state(Store *store, const char *key, int64_t *ret_as_of_utc,
                         GArray **ret_values /* double */,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Writes a whole, consistent copy of the store to PATH, replacing a file that is there: written
 * beside it, synchronised, renamed. Not between store_begin() and store_commit().
 */
gboolean store_backup(Store *store, const char *path, GError **error) G_GNUC_WARN_UNUSED_RESULT;
