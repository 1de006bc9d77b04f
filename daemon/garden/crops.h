/* SPDX-License-Identifier: MIT */
/*
 * The crop data: one key file, a source beside every figure, and the grower's own file over it.
 * One table of fields serves the reader, the printer and the tests. docs/crops.md says it in words.
 */
#pragma once

#include <glib.h>

#include "garden/config-scan.h"
#include "garden/types.h"

#define CROP_FIELDS 28 /* figures of a Crop */

#define CROP_SOURCE_GROWER "grower"            /* the grower's own file gave it */
#define CROP_SOURCE_CHOSEN "chosen"            /* ours, without a source */
#define CROP_SOURCE_MEMORY "from memory"       /* a published figure that was not seen again */
#define CROP_SOURCE_PRACTICE "common practice" /* of the trade; no source */

/* What a figure is about, for the share of figures with a published source (crop-sources.h). */
typedef enum CropKind {
    CROP_KIND_OTHER,
    CROP_KIND_GROWING_ON,
    CROP_KIND_GERMINATION,
    CROP_KIND_SOIL,
    CROP_KIND_FROST,
} CropKind;

/* One figure of a Crop. */
typedef struct CropField {
    const char *key;     /* in the key file */
    const char *unit;    /* "°C", "K", "°C·d", "weeks", "days"; "" where it is a word */
    const char *meaning; /* one line, for the grower */
    size_t offset;       /* in Crop; a double, or an int where `whole` */
    double min, max;     /* accepted, both included */
    bool whole;
    CropKind kind;
    bool optional;            /* only shown, so it may be left out; then its source is NULL */
    const char *const *words; /* a word instead of a number, whose index is the value; or NULL */
} CropField;

extern const CropField crop_fields[CROP_FIELDS];

/* Words of a CropGroup and of a FrostClass, each list ends with NULL. */
extern const char *const crop_group_words[];
extern const char *const crop_frost_words[];
extern const char *const crop_chill_words[]; /* by ChillHarm, NULL at the end */

/* Where the figures of one crop come from, in the order of crop_fields. */
typedef struct CropSource {
    char *of[CROP_FIELDS];         /* (owned) a [source KEY] of the file, or one of CROP_SOURCE_…;
                                      (nullable) where an optional figure is not given */
    gboolean derived[CROP_FIELDS]; /* worked out from what a published source prints */
} CropSource;

/* A published source: its key, which is a heading of docs/references.md, and what to call it. */
typedef struct CropReference {
    char *key, *title; /* (owned) */
} CropReference;

typedef struct Crops {
    int n;
    Crop *crops;         /* (owned) (array length=n) */
    CropSource *sources; /* (owned) (array length=n) of the crop with the same index */
    int n_references;
    CropReference *references; /* (owned) (array length=n_references) in file order */
} Crops;

/*
 * Reads the shipped data from `bytes`, then the grower's `overrides` (nullable) over them: single
 * figures replace, a crop that is not in the shipped data needs every figure. The names are for the
 * messages. Every crop read has all its figures, in range and in order. A file of no crop is
 * refused, empty overrides are not. CONFIG_ERROR_INVALID names file, line, section and key. Free
 * the result with crops_free(). For the tests, which need no file; crops_load() goes through it.
 */
gboolean crops_parse(const char *bytes, gsize length, const char *file_name, const char *overrides,
                     gsize overrides_length, const char *overrides_name, Crops **ret_crops,
                     GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The same from files, each at most CONFIG_BYTES_MAX long; CONFIG_ERROR_UNREADABLE besides, also
 * for the overrides: pass NULL where the grower has none.
 */
gboolean crops_load(const char *path, const char *overrides_path, Crops **ret_crops,
                    GError **error) G_GNUC_WARN_UNUSED_RESULT;

void crops_free(Crops *crops);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Crops, crops_free)

/* Index of the crop of that name, -1 where there is none. */
int crops_find(const Crops *crops, const char *name);

/* A figure of the crop as a number, whatever its type. */
double crop_field_value(const Crop *crop, const CropField *field);

/* Source of a figure; NULL where there is no such crop or key. Valid as long as `crops`. */
const char *crops_source(const Crops *crops, int crop, const char *key);
