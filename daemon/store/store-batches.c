/* SPDX-License-Identifier: MIT */
#include "store/store-batches.h"

#include "store/store-pack.h"
#include "store/store-private.h"

#include <math.h>
#include <string.h>

static const char *const stage_words[] = {
    [STAGE_SOWN] = "sown",
    [STAGE_EMERGED] = "emerged",
    [STAGE_GROWING_ON] = "growing-on",
    [STAGE_SETTLING] = "settling",
    [STAGE_HARDENING] = "hardening",
    [STAGE_READY] = "ready",
    [STAGE_PLANTED_OUT] = "planted-out",
    [STAGE_ENDED] = "ended",
};

/* ---- the ramp state as bytes ---- */

/*
 * Layout 1: the fields of RampState in order of their declaration, 8 bytes each, arrays whole. A
 * change of RampState or of its array sizes is a new layout, and a migration that rewrites the old.
 */
#define RAMP_LAYOUT 1
_Static_assert(MEAN_STEPS == 48 && RAMP_DAY_STEPS_MAX == 60 && NIGHTS_KEPT == 5,
               "the sizes of ramp layout 1");

static GByteArray *pack_ramp(const RampState *ramp)
{
    GByteArray *to = g_byte_array_new();
    pack_double(to, ramp->hardened_to_c);
    pack_double(to, ramp->frost_tolerance);
    pack_int(to, ramp->exposure_days);
    pack_int(to, ramp->hold_days);
    pack_int(to, ramp->unused_days);
    pack_doubles(to, ramp->mean_air_c, MEAN_STEPS);
    pack_int(to, ramp->mean_n);
    pack_int(to, ramp->mean_next);
    pack_double(to, ramp->mean_sum_c);
    pack_int(to, ramp->day_start_utc);
    pack_doubles(to, ramp->day_air_c, RAMP_DAY_STEPS_MAX);
    pack_int(to, ramp->day_steps);
    pack_double(to, ramp->exposed_h);
    pack_double(to, ramp->below_floor_kh);
    pack_double(to, ramp->night_shelter);
    pack_doubles(to, ramp->nights_shelter, NIGHTS_KEPT);
    return to;
}

/* What ramp/ uses as an index is checked here; FALSE: the bytes are not a ramp state. */
static gboolean unpack_ramp(Unpacker *from, RampState *ramp)
{
    ramp->hardened_to_c = unpack_double(from);
    ramp->frost_tolerance = unpack_double(from);
    ramp->exposure_days = unpack_int_within(from, G_MININT, G_MAXINT);
    ramp->hold_days = unpack_int_within(from, G_MININT, G_MAXINT);
    ramp->unused_days = unpack_int_within(from, G_MININT, G_MAXINT);
    unpack_doubles(from, ramp->mean_air_c, MEAN_STEPS);
    ramp->mean_n = unpack_int_within(from, 0, MEAN_STEPS);
    ramp->mean_next = unpack_int_within(from, 0, MEAN_STEPS - 1);
    ramp->mean_sum_c = unpack_double(from);
    ramp->day_start_utc = unpack_int(from);
    unpack_doubles(from, ramp->day_air_c, RAMP_DAY_STEPS_MAX);
    ramp->day_steps = unpack_int_within(from, 0, RAMP_DAY_STEPS_MAX);
    ramp->exposed_h = unpack_double(from);
    ramp->below_floor_kh = unpack_double(from);
    ramp->night_shelter = unpack_double(from);
    unpack_doubles(from, ramp->nights_shelter, NIGHTS_KEPT);
    return !from->short_of && from->left == 0;
}

/* ---- batches ---- */

char *store_new_batch_name(Store *store, const Crop *crop, GError **error)
{
    /* Cut at a character where the crop's name leaves no room for a number. */
    const char *end = crop->name;
    g_utf8_validate(crop->name, (gssize)MIN(strlen(crop->name), NAME_SIZE - 12), &end);
    g_autofree char *stem = g_strndup(crop->name, (gsize)(end - crop->name));
    for (int i = 1;; i++) {
        g_autofree char *name = g_strdup_printf("%s-%d", stem, i);
        g_autoptr(StoreRows) rows =
            store_query(store, error, "SELECT 1 FROM batch WHERE name = ?1 AND ended_utc IS NULL",
                        V_TEXT(name));
        if (rows == NULL)
            return NULL;
        int step = store_step(store, rows, error);
        if (step < 0)
            return NULL;
        if (step == 0)
            return g_steal_pointer(&name);
    }
}

static gboolean check_batch(const Garden *garden, const Batch *batch, GError **error)
{
    if (batch->name[0] == '\0') {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "a batch needs a name");
        return FALSE;
    }
    return store_check_index("crop", batch->crop, garden->n_crops, error) &&
           (batch->container == -1 ||
            store_check_index("container", batch->container, garden->n_containers, error)) &&
           (batch->place == -1 ||
            store_check_index("place", batch->place, garden->n_places, error)) &&
           (batch->destination == -1 ||
            store_check_index("destination", batch->destination, garden->n_places, error)) &&
           store_check_index("stage", (int)batch->stage, STORE_N(stage_words), error);
}

static const char *place_name(const Garden *garden, int place)
{
    return place >= 0 ? garden->places[place].name : NULL;
}

/* Whether a living batch other than ID has NAME. */
static gboolean check_name_free(Store *store, const char *name, const char *id, GError **error)
{
    g_autoptr(StoreRows) rows = store_query(store, error,
                                            "SELECT 1 FROM batch WHERE name = ?1 AND id <> ?2"
                                            " AND ended_utc IS NULL",
                                            V_TEXT(name), V_TEXT(id));
    if (rows == NULL)
        return FALSE;
    int step = store_step(store, rows, error);
    if (step > 0)
        g_set_error(error, STORE_ERROR, STORE_ERROR_NAME_TAKEN,
                    "another living batch has the name %s", name);
    return step == 0;
}

static gboolean write_batch(Store *store, const Garden *garden, const Batch *b, const char *id,
                            int64_t as_of_utc, GError **error)
{
    g_autoptr(GByteArray) ramp = pack_ramp(&b->ramp);
    return store_run(
        store, error,
        "INSERT INTO batch(id, name, crop, cultivar, container, number, trays, bought, resowable,"
        " sown_utc, settled_utc, potted_utc, planted_utc, stage, place, destination,"
        " position_unknown, as_of_utc, ramp_layout, ramp, ended_utc, used_mm, emerged_utc,"
        " leaves, height_cm, height_factor, chill_h, hardening_h)"
        " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18,"
        " ?19, ?20, iif(?14 = 'ended', ?18, NULL), ?21, ?22, ?23, ?24, ?25,"
        " ?26, ?27)"
        " ON CONFLICT(id) DO UPDATE SET name = excluded.name, crop = excluded.crop,"
        " cultivar = excluded.cultivar, container = excluded.container, number = excluded.number,"
        " trays = excluded.trays, bought = excluded.bought, resowable = excluded.resowable,"
        " sown_utc = excluded.sown_utc, settled_utc = excluded.settled_utc,"
        " potted_utc = excluded.potted_utc, planted_utc = excluded.planted_utc,"
        " stage = iif(ended_utc IS NULL, excluded.stage, 'ended'), place = excluded.place,"
        " destination = excluded.destination, position_unknown = excluded.position_unknown,"
        " as_of_utc = excluded.as_of_utc, ramp_layout = excluded.ramp_layout, ramp = excluded.ramp,"
        " ended_utc = coalesce(ended_utc, excluded.ended_utc), used_mm = excluded.used_mm,"
        " emerged_utc = excluded.emerged_utc, leaves = excluded.leaves,"
        " height_cm = excluded.height_cm, height_factor = excluded.height_factor,"
        " chill_h = excluded.chill_h, hardening_h = excluded.hardening_h",
        V_TEXT(id), V_TEXT(b->name), V_TEXT(garden->crops[b->crop].name), V_TEXT(b->cultivar),
        V_TEXT(b->container >= 0 ? garden->containers[b->container].name : NULL), V_INT(b->number),
        V_INT(b->trays), V_INT(b->bought), V_INT(b->resowable), V_INT(b->sown_utc),
        V_INT(b->settled_utc), V_INT(b->potted_utc), V_INT(b->planted_utc),
        V_TEXT(stage_words[b->stage]), V_TEXT(place_name(garden, b->place)),
        V_TEXT(place_name(garden, b->destination)), V_INT(b->position_unknown), V_INT(as_of_utc),
        V_INT(RAMP_LAYOUT), V_BLOB(ramp), V_REAL(b->used_mm), V_INT(b->emerged_utc),
        V_REAL(b->growth.known ? b->growth.leaves : (double)NAN), V_REAL(b->growth.height_cm),
        V_REAL(b->growth.height_factor), V_REAL(b->growth.chill_h), V_REAL(b->growth.hardening_h));
}

gboolean store_put_batch(Store *store, const Garden *garden, Batch *batch, int64_t as_of_utc,
                         GError **error)
{
    char id[ID_SIZE];
    if (!check_batch(garden, batch, error))
        return FALSE;
    if (batch->id[0] != '\0')
        g_strlcpy(id, batch->id, sizeof id);
    else
        store_new_id(id);
    if (batch->stage != STAGE_ENDED && !check_name_free(store, batch->name, id, error))
        return FALSE;
    if (!write_batch(store, garden, batch, id, as_of_utc, error))
        return FALSE;
    g_strlcpy(batch->id, id, sizeof batch->id);
    return TRUE;
}

gboolean store_end_batch(Store *store, const char *batch_id, int64_t at_utc, GError **error)
{
    if (!store_run(store, error,
                   "UPDATE batch SET ended_utc = coalesce(ended_utc, ?2), stage = 'ended'"
                   " WHERE id = ?1",
                   V_TEXT(batch_id), V_INT(at_utc)))
        return FALSE;
    if (sqlite3_changes(store->db) > 0)
        return TRUE;
    g_set_error(error, STORE_ERROR, STORE_ERROR_MISSING, "no batch has the id %s", batch_id);
    return FALSE;
}

/* The index of the name in a column; a living batch must find it. A null name is -1. */
static gboolean resolve(StoreRows *rows, int column, const char *what, const void *items, int n,
                        size_t size, int *ret_index, GError **error)
{
    const char *name = (const char *)sqlite3_column_text(rows, column);
    int index = store_find_name(items, n, size, name);
    gboolean ended = sqlite3_column_type(rows, 20) != SQLITE_NULL;
    if (index < 0 && name != NULL && !ended) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_MISSING,
                    "batch %s: its %s '%s' is not in the garden", sqlite3_column_text(rows, 1),
                    what, name);
        return FALSE;
    }
    *ret_index = index;
    return TRUE;
}

static gboolean read_batch(StoreRows *rows, const Garden *garden, Batch *b, GError **error)
{
    store_column_text(rows, 0, b->id, sizeof b->id);
    store_column_text(rows, 1, b->name, sizeof b->name);
    store_column_text(rows, 3, b->cultivar, sizeof b->cultivar);
    if (!resolve(rows, 2, "crop", garden->crops, garden->n_crops, sizeof(Crop), &b->crop, error) ||
        !resolve(rows, 4, "container", garden->containers, garden->n_containers, sizeof(Container),
                 &b->container, error) ||
        !resolve(rows, 14, "place", garden->places, garden->n_places, sizeof(Place), &b->place,
                 error) ||
        !resolve(rows, 15, "destination", garden->places, garden->n_places, sizeof(Place),
                 &b->destination, error))
        return FALSE;
    b->used_mm = sqlite3_column_double(rows, 21);
    b->number = sqlite3_column_int(rows, 5);
    b->trays = sqlite3_column_int(rows, 6);
    b->bought = sqlite3_column_int(rows, 7) != 0;
    b->resowable = sqlite3_column_int(rows, 8) != 0;
    b->sown_utc = sqlite3_column_int64(rows, 9);
    b->settled_utc = sqlite3_column_int64(rows, 10);
    b->potted_utc = sqlite3_column_int64(rows, 11);
    b->planted_utc = sqlite3_column_int64(rows, 12);
    b->emerged_utc = sqlite3_column_int64(rows, 22);
    b->growth = (Growth){.known = sqlite3_column_type(rows, 23) != SQLITE_NULL,
                         .leaves = sqlite3_column_double(rows, 23),
                         .height_cm = sqlite3_column_double(rows, 24),
                         .height_factor = sqlite3_column_double(rows, 25),
                         .chill_h = sqlite3_column_double(rows, 26),
                         .hardening_h = sqlite3_column_double(rows, 27)};
    int stage = store_word_index(stage_words, STORE_N(stage_words),
                                 (const char *)sqlite3_column_text(rows, 13));
    b->position_unknown = sqlite3_column_int(rows, 16) != 0;
    Unpacker from = {.data = sqlite3_column_blob(rows, 19),
                     .left = (size_t)sqlite3_column_bytes(rows, 19)};
    if (stage < 0 || sqlite3_column_int(rows, 18) != RAMP_LAYOUT || !unpack_ramp(&from, &b->ramp)) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID,
                    "batch %s: its stage or its ramp state in the store cannot be read", b->name);
        return FALSE;
    }
    b->stage = (Stage)stage;
    return TRUE;
}

gboolean store_load_batches(Store *store, const Garden *garden, gboolean include_ended,
                            GArray **ret_batches, GArray **ret_as_of_utc, GError **error)
{
    g_autoptr(GArray) batches = g_array_new(FALSE, TRUE, sizeof(Batch));
    g_autoptr(GArray) as_of = g_array_new(FALSE, FALSE, sizeof(int64_t));
    g_autoptr(StoreRows) rows = store_query(
        store, error,
        "SELECT id, name, crop, cultivar, container, number, trays, bought, resowable, sown_utc,"
        " settled_utc, potted_utc, planted_utc, stage, place, destination, position_unknown,"
        " as_of_utc, ramp_layout, ramp, ended_utc, used_mm, emerged_utc, leaves, height_cm,"
        " height_factor, chill_h, hardening_h FROM batch"
        " WHERE ?1 OR ended_utc IS NULL"
        " ORDER BY n",
        V_INT(include_ended));
    if (rows == NULL)
        return FALSE;
    int step;
    while ((step = store_step(store, rows, error)) > 0) {
        Batch batch = {0};
        int64_t as_of_utc = sqlite3_column_int64(rows, 17);
        if (!read_batch(rows, garden, &batch, error))
            return FALSE;
        g_array_append_val(batches, batch);
        g_array_append_val(as_of, as_of_utc);
    }
    if (step < 0)
        return FALSE;
    *ret_batches = g_steal_pointer(&batches);
    if (ret_as_of_utc != NULL)
        *ret_as_of_utc = g_steal_pointer(&as_of);
    return TRUE;
}

gboolean store_places_in_use(Store *store, GStrv *ret_names, GError **error)
{
    g_autoptr(GStrvBuilder) names = g_strv_builder_new();
    g_autoptr(StoreRows) rows =
        store_query_values(store,
                           "SELECT place FROM batch WHERE ended_utc IS NULL AND place NOT NULL"
                           " UNION SELECT destination FROM batch WHERE ended_utc IS NULL"
                           " AND destination NOT NULL ORDER BY 1",
                           NULL, 0, error);
    if (rows == NULL)
        return FALSE;
    int step;
    while ((step = store_step(store, rows, error)) > 0)
        g_strv_builder_add(names, (const char *)sqlite3_column_text(rows, 0));
    if (step < 0)
        return FALSE;
    *ret_names = g_strv_builder_end(names);
    return TRUE;
}
