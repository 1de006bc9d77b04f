/* SPDX-License-Identifier: MIT */
/* What the pictures are drawn with: words in black on white, hatching, credits. */
#pragma once

#include <cairo.h>
#include <json-glib/json-glib.h>
#include <pango/pangocairo.h>

#include "ctl/draw/labels.h"

typedef enum Weight { PLAIN, BOLD } Weight;

typedef struct Brush {
    cairo_t *cr;         /* (unowned) */
    GPtrArray *labelled; /* (unowned) (nullable) gets a copy of each text drawn, in order */
    Labels labels;       /* (owned) */
} Brush;

Brush brush_new(cairo_t *cr, GPtrArray *labelled);
void brush_clear(Brush *brush);

/* A text without control characters; owned by the caller. */
PangoLayout *brush_layout(Brush *brush, const char *text, double size, Weight weight);

/* Drawn with its upper left corner there; `ground`: on white, so that lines do not cross it. */
void brush_put(Brush *brush, PangoLayout *layout, double x, double y, bool ground);

/* Both; cut at `width`, where that is above 0. */
void brush_text(Brush *brush, const char *text, double size, Weight weight, double x, double y,
                double width);

/* A label at the first free of its wishes, of its middle; not drawn where there is no room. */
void brush_label(Brush *brush, const char *text, double size, Weight weight,
                 const double (*middles)[2], int n);

/* Oblique lines in a box, so far apart. */
void brush_hatch(Brush *brush, const Box *box, double apart);

/* What licences ask to be shown: the texts `credits` of a reply, one a line, and how high they are.
 */
void brush_credits(Brush *brush, JsonObject *reply, double x, double y, double width);
double brush_credits_height(JsonObject *reply);
