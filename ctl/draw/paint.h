/* SPDX-License-Identifier: MIT */
/* A figure on a cairo context: black, greys and one blue, so that it holds without colour. */
#pragma once

#include <cairo.h>

#include "ctl/draw/figure.h"
#include "ctl/draw/save.h"

#define PAINT_WIDTH 800.0 /* units; a point in SVG and PDF */

/* Its height, which follows from the number of panels and credits. */
double paint_height(const Figure *figure);

/* It, to be saved; valid as long as the figure. */
Picture paint_picture(const Figure *figure);

/* Paints it, PAINT_WIDTH wide. LABELLED (nullable) gets a copy of each text drawn, in order. */
void paint(cairo_t *cr, const Figure *figure, GPtrArray *labelled);
