/* SPDX-License-Identifier: MIT */
#include "store-fixture.h"

#include <glib/gstdio.h>

static void fill_garden(Fixture *f)
{
    g_strlcpy(f->sites[0].name, "home", NAME_SIZE);
    g_strlcpy(f->sites[1].name, "plot", NAME_SIZE);
    g_strlcpy(f->places[0].name, "sill", NAME_SIZE);
    g_strlcpy(f->places[1].name, "frame", NAME_SIZE);
    g_strlcpy(f->places[2].name, "bed", NAME_SIZE);
    f->places[1].covered = true;
    f->places[1].cover.n_positions = 3;
    g_strlcpy(f->places[1].cover.positions[0].name, "closed", NAME_SIZE);
    g_strlcpy(f->places[1].cover.positions[1].name, "10 cm", NAME_SIZE);
    g_strlcpy(f->places[1].cover.positions[2].name, "open", NAME_SIZE);
    g_strlcpy(f->containers[0].name, "cells-40", NAME_SIZE);
    g_strlcpy(f->crops[0].name, "tomato", NAME_SIZE);
    g_strlcpy(f->crops[1].name, "cabbage", NAME_SIZE);
    g_strlcpy(f->growers[0].name, "one", NAME_SIZE);
    f->garden = (Garden){.sites = f->sites,
                         .places = f->places,
                         .containers = f->containers,
                         .crops = f->crops,
                         .growers = f->growers,
                         .n_sites = 2,
                         .n_places = 3,
                         .n_containers = 1,
                         .n_crops = 2,
                         .n_growers = 1};
}

int set_up(void **state)
{
    Fixture *f = g_new0(Fixture, 1);
    f->folder = g_dir_make_tmp("thole-store-XXXXXX", NULL);
    assert_non_null(f->folder);
    f->path = g_build_filename(f->folder, "thole.db", NULL);
    fill_garden(f);
    *state = f;
    assert_ok((f->store = store_open(f->path, STORE_DURABLE, T0, E)) != NULL);
    return 0;
}

int tear_down(void **state)
{
    Fixture *f = *state;
    store_close(f->store);
    g_autoptr(GDir) folder = g_dir_open(f->folder, 0, NULL);
    for (const char *name; (name = g_dir_read_name(folder)) != NULL;) {
        g_autofree char *path = g_build_filename(f->folder, name, NULL);
        g_unlink(path);
    }
    int left = g_rmdir(f->folder);
    g_free(f->folder);
    g_free(f->path);
    g_free(f);
    return left;
}

void reopen(Fixture *f)
{
    g_clear_pointer(&f->store, store_close);
    assert_ok((f->store = store_open(f->path, STORE_DURABLE, T0, E)) != NULL);
}

gboolean put_number(Store *store, const char *key, int64_t number, GError **error)
{
    g_autofree char *text = g_strdup_printf("%" G_GINT64_FORMAT, number);
    return store_put_setting(store, key, text, error);
}

gboolean get_number(Store *store, const char *key, int64_t *ret_number, GError **error)
{
    g_autofree char *text = NULL;
    if (!store_get_setting(store, key, &text, error))
        return FALSE;
    *ret_number = text != NULL ? g_ascii_strtoll(text, NULL, 10) : 0;
    return TRUE;
}

int64_t count(Store *store, const char *sql)
{
    sqlite3_stmt *statement = NULL;
    assert_int_equal(sqlite3_prepare_v2(store->db, sql, -1, &statement, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    int64_t n = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return n;
}

Batch a_batch(const char *name)
{
    Batch batch = {.crop = 0,
                   .container = 0,
                   .number = 12,
                   .trays = 1,
                   .sown_utc = T0 - 40 * DAY,
                   .stage = STAGE_GROWING_ON,
                   .place = 0,
                   .destination = 2};
    g_strlcpy(batch.name, name, sizeof batch.name);
    return batch;
}
