/* SPDX-License-Identifier: MIT */
/*
 * The grower's file, thole.conf: what the garden has. Reading it gives one whole, checked Garden or
 * one error; nothing in between. docs/thole.conf.md has every section and key.
 */
#pragma once

#include <glib.h>

#include "garden/config.h"
#include "garden/types.h"

#define GARDEN_CHAIN_PLACES_MAX                                                                    \
    12 /* places in one another, counted from the outermost, its own included */

/*
 * Reads and checks LENGTH bytes of a thole.conf. FILE_NAME is its path: messages show its last
 * part, and relative paths in the file start from its folder. CROPS are copied. PLACES_IN_USE
 * (nullable, ends with NULL) are the places that hold batches: a file without one of them is
 * refused. The only other file read is a site's normals=FILE. Gives a Garden to be freed with
 * garden_free(), or NULL with CONFIG_ERROR_INVALID and a message that holds no coordinates.
 */
Garden *garden_parse(const char *bytes, gsize length, const char *file_name, const Crop *crops,
                     int n_crops, const char *const *places_in_use,
                     GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The same from a file already scanned, for a file whose other sections belong to other readers:
 * only the garden's own sections are taken. The caller ends with config_finish().
 */
Garden *garden_read(Config *config, const Crop *crops, int n_crops,
                    const char *const *places_in_use, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* garden_parse() of the file at PATH, at most CONFIG_BYTES_MAX long; CONFIG_ERROR_UNREADABLE
 * besides. */
Garden *garden_load(const char *path, const Crop *crops, int n_crops,
                    const char *const *places_in_use, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* One with nothing in common with the other, without channels and feed. The caller owns it. */
Garden *garden_copy(const Garden *garden) G_GNUC_WARN_UNUSED_RESULT;

/* Frees the garden and all in it. NULL is ignored. */
void garden_free(Garden *garden);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Garden, garden_free)

/* Index of what has exactly this name, or -1. A crop is found by its title too, in any case. */
int garden_find_site(const Garden *garden, const char *name);
int garden_find_place(const Garden *garden, const char *name);
int garden_find_crop(const Garden *garden, const char *name);
int garden_find_container(const Garden *garden, const char *name);

typedef enum GardenThing {
    GARDEN_SITE,
    GARDEN_PLACE,
    GARDEN_CROP,
    GARDEN_CONTAINER,
    GARDEN_GROWER,
} GardenThing;

/*
 * What to say after an unknown name: `did you mean "frame"? places: bed, frame, sill`, at most
 * twenty names. To be freed with g_free().
 */
char *garden_suggest(const Garden *garden, GardenThing thing,
                     const char *seen) G_GNUC_WARN_UNUSED_RESULT;
