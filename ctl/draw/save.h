/* SPDX-License-Identifier: MIT */
/* A picture as a file. */
#pragma once

#include <cairo.h>
#include <glib.h>

typedef enum SaveAs { SAVE_SVG, SAVE_PNG, SAVE_PDF, SAVE_NONE } SaveAs;

/* By the ending of PATH, in any case; SAVE_NONE for any other. */
SaveAs save_format(const char *path);

typedef struct Picture {
    double width, height; /* units; a point in SVG and PDF */
    void (*paint)(cairo_t *cr, gconstpointer figure, GPtrArray *labelled);
    gconstpointer figure; /* (unowned) */
} Picture;

/* The bytes of the file; NULL and why (the caller's) where cairo fails. */
GBytes *save_bytes(const Picture *picture, SaveAs as, char **ret_why);
