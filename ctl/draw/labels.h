/* SPDX-License-Identifier: MIT */
/* Text on a drawing that never covers other text: each label knows those before it. */
#pragma once

#include <glib.h>
#include <stdbool.h>

typedef struct Box {
    double x, y, width, height;
} Box;

typedef struct Labels {
    GArray *taken; /* (owned) (element-type Box) */
    Box within;    /* where the next ones must lie */
} Labels;

void labels_init(Labels *labels);
void labels_clear(Labels *labels);

/*
 * Finds room for a label of `width` by `height` at the first of its `n` wishes (upper left corners)
 * that is free, and takes it. False where none is.
 */
bool labels_place(Labels *labels, const double (*wishes)[2], int n, double width, double height,
                  Box *ret);
