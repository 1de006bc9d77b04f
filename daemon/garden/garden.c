/* SPDX-License-Identifier: MIT */
#include "garden/garden.h"

#include <string.h>

#include "garden/feed-setup.h"
#include "garden/outlets.h"
#include "garden/read.h"

Garden *garden_copy(const Garden *garden)
{
    Garden *copy = g_memdup2(garden, sizeof *garden);

    copy->channels = NULL; /* no plan needs them, and their secrets are kept once */
    copy->n_channels = 0;
    copy->feed = NULL;
    copy->sites = g_memdup2(garden->sites, (gsize)garden->n_sites * sizeof(Site));
    copy->places = g_memdup2(garden->places, (gsize)garden->n_places * sizeof(Place));
    copy->containers =
        g_memdup2(garden->containers, (gsize)garden->n_containers * sizeof(Container));
    copy->crops = g_memdup2(garden->crops, (gsize)garden->n_crops * sizeof(Crop));
    copy->outlets = g_memdup2(garden->outlets, (gsize)garden->n_outlets * sizeof(OutletSetup));
    copy->growers = g_memdup2(garden->growers, (gsize)garden->n_growers * sizeof(Grower));
    for (int i = 0; i < garden->n_growers; i++) {
        const Grower *grower = &garden->growers[i];
        copy->growers[i].rules =
            g_memdup2(grower->rules, (gsize)grower->n_rules * sizeof(VisitRule));
    }
    return copy;
}

void garden_free(Garden *garden)
{
    if (garden == NULL)
        return;
    for (int i = 0; i < garden->n_growers; i++)
        g_free(garden->growers[i].rules);
    g_free(garden->sites);
    g_free(garden->places);
    g_free(garden->containers);
    g_free(garden->crops);
    g_free(garden->growers);
    g_free(garden->channels);
    g_free(garden->outlets);
    feed_setup_free(garden->feed);
    g_free(garden);
}

GPtrArray *read_sections(Config *config, const char *kind, gboolean needed, GError **error)
{
    g_autoptr(GPtrArray) sections = g_ptr_array_new();
    ConfigSection *section = NULL;
    guint position = 0;

    while ((section = config_next(config, kind, &position)) != NULL) {
        if (section->name == NULL) {
            config_refuse(section, NULL, error, "has no name; accepted is [%s NAME]", kind);
            return NULL;
        }
        g_ptr_array_add(sections, section);
    }
    if (needed && sections->len == 0) {
        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                    "%s: no [%s NAME] section; at least one is needed", config->file, kind);
        return NULL;
    }
    return g_steal_pointer(&sections);
}

gboolean read_whose(const Garden *garden, ConfigSection *section, int *ret_grower, GError **error)
{
    const char *name = config_get_text(section, "grower");

    *ret_grower = -1;
    if (name == NULL)
        return TRUE;
    for (int i = 0; i < garden->n_growers; i++) {
        if (strcmp(garden->growers[i].name, name) == 0)
            *ret_grower = i;
    }
    if (*ret_grower < 0) {
        g_autofree char *hint = garden_suggest(garden, GARDEN_GROWER, name);

        return config_refuse(section, "grower", error, "no such grower; %s", hint);
    }
    return TRUE;
}

static gboolean check_places_in_use(const Config *config, const Garden *garden,
                                    const char *const *places_in_use, GError **error)
{
    for (int i = 0; places_in_use != NULL && places_in_use[i] != NULL; i++) {
        if (garden_find_place(garden, places_in_use[i]) < 0) {
            g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                        "%s: [place %s] is gone but batches stand there; keep the section, or move "
                        "the batches first",
                        config->file, places_in_use[i]);
            return FALSE;
        }
    }
    return TRUE;
}

Garden *garden_read(Config *config, const Crop *crops, int n_crops,
                    const char *const *places_in_use, GError **error)
{
    g_autoptr(Garden) garden = g_new0(Garden, 1);

    if (!read_settings(config, garden, error) || !read_weather(config, garden, error) ||
        !read_sites(config, garden, error) || !read_containers(config, garden, error) ||
        !read_places(config, garden, error) || !read_growers(config, garden, error) ||
        !read_channels(config, garden, error) || !read_outlets(config, garden, error) ||
        !read_feed(config, garden, error) ||
        !check_places_in_use(config, garden, places_in_use, error))
        return NULL;
    if (n_crops > 0)
        garden->crops = g_memdup2(crops, sizeof *crops * (gsize)n_crops);
    garden->n_crops = n_crops;
    return g_steal_pointer(&garden);
}

Garden *garden_parse(const char *bytes, gsize length, const char *file_name, const Crop *crops,
                     int n_crops, const char *const *places_in_use, GError **error)
{
    g_autoptr(Config) config = config_scan(bytes, length, file_name, error);
    g_autoptr(Garden) garden = NULL;

    if (config == NULL)
        return NULL;
    garden = garden_read(config, crops, n_crops, places_in_use, error);
    if (garden == NULL || !config_finish(config, error))
        return NULL;
    return g_steal_pointer(&garden);
}

Garden *garden_load(const char *path, const Crop *crops, int n_crops,
                    const char *const *places_in_use, GError **error)
{
    gsize length = 0;
    g_autofree char *bytes = config_read_file(path, CONFIG_BYTES_MAX, &length, error);

    return bytes != NULL ? garden_parse(bytes, length, path, crops, n_crops, places_in_use, error)
                         : NULL;
}

int garden_find_site(const Garden *garden, const char *name)
{
    for (int i = 0; i < garden->n_sites; i++) {
        if (strcmp(garden->sites[i].name, name) == 0)
            return i;
    }
    return -1;
}

int garden_find_place(const Garden *garden, const char *name)
{
    for (int i = 0; i < garden->n_places; i++) {
        if (strcmp(garden->places[i].name, name) == 0)
            return i;
    }
    return -1;
}

int garden_find_crop(const Garden *garden, const char *name)
{
    g_autofree char *folded = NULL;

    for (int i = 0; i < garden->n_crops; i++) {
        if (strcmp(garden->crops[i].name, name) == 0)
            return i;
    }
    if (!g_utf8_validate(name, -1, NULL))
        return -1;
    folded = g_utf8_casefold(name, -1);
    for (int i = 0; i < garden->n_crops; i++) {
        g_autofree char *title = g_utf8_casefold(garden->crops[i].title, -1);

        if (strcmp(title, folded) == 0)
            return i;
    }
    return -1;
}

int garden_find_container(const Garden *garden, const char *name)
{
    for (int i = 0; i < garden->n_containers; i++) {
        if (strcmp(garden->containers[i].name, name) == 0)
            return i;
    }
    return -1;
}

char *garden_suggest(const Garden *garden, GardenThing thing, const char *seen)
{
    g_autoptr(GPtrArray) names = g_ptr_array_new();
    const char *what = NULL;

    switch (thing) {
    case GARDEN_SITE:
        what = "sites";
        for (int i = 0; i < garden->n_sites; i++)
            g_ptr_array_add(names, garden->sites[i].name);
        break;
    case GARDEN_PLACE:
        what = "places";
        for (int i = 0; i < garden->n_places; i++)
            g_ptr_array_add(names, garden->places[i].name);
        break;
    case GARDEN_CROP:
        what = "crops";
        for (int i = 0; i < garden->n_crops; i++)
            g_ptr_array_add(names, garden->crops[i].name);
        break;
    case GARDEN_CONTAINER:
        what = "containers";
        for (int i = 0; i < garden->n_containers; i++)
            g_ptr_array_add(names, garden->containers[i].name);
        break;
    case GARDEN_GROWER:
        what = "growers";
        for (int i = 0; i < garden->n_growers; i++)
            g_ptr_array_add(names, garden->growers[i].name);
        break;
    }
    g_ptr_array_add(names, NULL);
    return config_suggest(what, seen, (const char *const *)names->pdata);
}
