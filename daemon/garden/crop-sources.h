/* SPDX-License-Identifier: MIT */
/*
 * Where the crop figures come from: what a source is called, how many figures have a published
 * one; and crops found by part of a name. docs/crops.md says what is counted.
 */
#pragma once

#include "garden/crops.h"

/* Whether a source of a figure is a published one: none of the CROP_SOURCE_… words. */
gboolean crop_source_is_published(const char *source);

/* What to call a published source; NULL for the words and for one not known. Valid as long as
 * `crops`. */
const char *crops_source_title(const Crops *crops, const char *source);

/* How many figures there are, and how many of them have a published source. */
typedef struct CropShare {
    int published, figures;
} CropShare;

#define CROP_ALL (-1)

/*
 * Over the crops of a CropGroup, or CROP_ALL: of one figure, an index of crop_fields, or CROP_ALL.
 * A figure that is not given counts as one without a source.
 */
CropShare crops_share(const Crops *crops, int group, int field);

/* The same, of the figures of one kind; CROP_ALL: of all kinds but CROP_KIND_OTHER. */
CropShare crops_kind_share(const Crops *crops, int group, int kind);

/* Per cent, rounded down, so that it promises no more than there is. 0 of nothing is 0. */
int crop_share_percent(CropShare share);

/* Whether the crop's name or title has `part` in it, small and capital letters alike. */
gboolean crop_matches(const Crop *crop, const char *part);
