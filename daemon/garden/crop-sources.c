/* SPDX-License-Identifier: MIT */
#include "garden/crop-sources.h"

#include <string.h>

gboolean crop_source_is_published(const char *source)
{
    static const char *const words[] = {CROP_SOURCE_GROWER, CROP_SOURCE_CHOSEN, CROP_SOURCE_MEMORY,
                                        CROP_SOURCE_PRACTICE, NULL};
    return !g_strv_contains(words, source);
}

const char *crops_source_title(const Crops *crops, const char *source)
{
    for (int i = 0; i < crops->n_references; i++)
        if (g_str_equal(crops->references[i].key, source))
            return crops->references[i].title;
    return NULL;
}

CropShare crops_share(const Crops *crops, int group, int field)
{
    CropShare share = {0};

    for (int c = 0; c < crops->n; c++) {
        if (group != CROP_ALL && (int)crops->crops[c].group != group)
            continue;
        for (int i = 0; i < CROP_FIELDS; i++) {
            const char *source = crops->sources[c].of[i];
            if (field != CROP_ALL && field != i)
                continue;
            share.figures++;
            share.published += source != NULL && crop_source_is_published(source);
        }
    }
    return share;
}

CropShare crops_kind_share(const Crops *crops, int group, int kind)
{
    CropShare sum = {0};

    for (int i = 0; i < CROP_FIELDS; i++) {
        const int of = (int)crop_fields[i].kind;
        if (kind == CROP_ALL ? of == CROP_KIND_OTHER : of != kind)
            continue;
        const CropShare share = crops_share(crops, group, i);
        sum.published += share.published;
        sum.figures += share.figures;
    }
    return sum;
}

int crop_share_percent(CropShare share)
{
    return share.figures > 0 ? 100 * share.published / share.figures : 0;
}

gboolean crop_matches(const Crop *crop, const char *part)
{
    g_autofree char *wanted = g_utf8_casefold(part, -1);
    g_autofree char *name = g_utf8_casefold(crop->name, -1);
    g_autofree char *title = g_utf8_casefold(crop->title, -1);

    return *wanted != '\0' && (strstr(name, wanted) != NULL || strstr(title, wanted) != NULL);
}
