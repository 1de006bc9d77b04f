/* SPDX-License-Identifier: MIT */
#include "ctl/draw/labels.h"

#define APART 3.0 /* between two labels; chosen */

void labels_init(Labels *labels)
{
    *labels = (Labels){.taken = g_array_new(FALSE, FALSE, sizeof(Box))};
}

void labels_clear(Labels *labels)
{
    g_clear_pointer(&labels->taken, g_array_unref);
}

static bool meet(const Box *a, const Box *b)
{
    return a->x < b->x + b->width + APART && b->x < a->x + a->width + APART &&
           a->y < b->y + b->height && b->y < a->y + a->height;
}

static bool is_free(const Labels *labels, const Box *box)
{
    const Box *within = &labels->within;

    if (box->x < within->x || box->y < within->y ||
        box->x + box->width > within->x + within->width ||
        box->y + box->height > within->y + within->height)
        return false;
    for (guint i = 0; i < labels->taken->len; i++)
        if (meet(box, &g_array_index(labels->taken, Box, i)))
            return false;
    return true;
}

bool labels_place(Labels *labels, const double (*wishes)[2], int n, double width, double height,
                  Box *ret)
{
    for (int i = 0; i < n; i++) {
        const Box box = {wishes[i][0], wishes[i][1], width, height};
        if (!is_free(labels, &box))
            continue;
        g_array_append_val(labels->taken, box);
        *ret = box;
        return true;
    }
    return false;
}
