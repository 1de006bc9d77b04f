/* SPDX-License-Identifier: MIT */
#include "ctl/draw/brush.h"

#include "ctl/print.h"
#include "ctl/read.h"

#define WISHES_MOST 8
#define CREDIT 24.0 /* a line of credits */
#define CREDITS_MOST 8

Brush brush_new(cairo_t *cr, GPtrArray *labelled)
{
    Brush brush = {.cr = cr, .labelled = labelled};

    labels_init(&brush.labels);
    return brush;
}

void brush_clear(Brush *brush)
{
    labels_clear(&brush->labels);
}

PangoLayout *brush_layout(Brush *brush, const char *text, double size, Weight weight)
{
    PangoLayout *layout = pango_cairo_create_layout(brush->cr);
    PangoFontDescription *font = pango_font_description_from_string("Sans");
    g_autofree char *clean = print_clean(text, false);

    pango_font_description_set_absolute_size(font, size * PANGO_SCALE);
    pango_font_description_set_weight(font,
                                      weight == BOLD ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    pango_layout_set_text(layout, clean, -1);
    return layout;
}

void brush_put(Brush *brush, PangoLayout *layout, double x, double y, bool ground)
{
    int width, height;

    pango_layout_get_pixel_size(layout, &width, &height);
    if (ground) {
        cairo_set_source_rgba(brush->cr, 1, 1, 1, 0.85);
        cairo_rectangle(brush->cr, x - 2, y, width + 4, height);
        cairo_fill(brush->cr);
    }
    cairo_set_source_rgb(brush->cr, 0, 0, 0);
    cairo_move_to(brush->cr, x, y);
    pango_cairo_show_layout(brush->cr, layout);
    if (brush->labelled != NULL)
        g_ptr_array_add(brush->labelled, g_strdup(pango_layout_get_text(layout)));
}

void brush_text(Brush *brush, const char *text, double size, Weight weight, double x, double y,
                double width)
{
    g_autoptr(PangoLayout) layout = brush_layout(brush, text, size, weight);

    if (width > 0) {
        pango_layout_set_width(layout, (int)(width * PANGO_SCALE));
        pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
    }
    brush_put(brush, layout, x, y, false);
}

void brush_label(Brush *brush, const char *text, double size, Weight weight,
                 const double (*middles)[2], int n)
{
    g_autoptr(PangoLayout) layout = brush_layout(brush, text, size, weight);
    int width, height;
    double wishes[WISHES_MOST][2];
    Box box;

    pango_layout_get_pixel_size(layout, &width, &height);
    for (int i = 0; i < n && i < WISHES_MOST; i++) {
        wishes[i][0] = middles[i][0] - 0.5 * width;
        wishes[i][1] = middles[i][1] - 0.5 * height;
    }
    if (labels_place(&brush->labels, wishes, MIN(n, WISHES_MOST), width, height, &box))
        brush_put(brush, layout, box.x, box.y, true);
}

void brush_hatch(Brush *brush, const Box *box, double apart)
{
    cairo_save(brush->cr);
    cairo_rectangle(brush->cr, box->x, box->y, box->width, box->height);
    cairo_clip(brush->cr);
    cairo_set_source_rgb(brush->cr, 0.35, 0.35, 0.35);
    cairo_set_line_width(brush->cr, 1.5);
    for (int i = 0; i * apart < box->width + box->height; i++) {
        const double at = box->x - box->height + i * apart;
        cairo_move_to(brush->cr, at, box->y + box->height);
        cairo_line_to(brush->cr, at + box->height, box->y);
    }
    cairo_stroke(brush->cr);
    cairo_restore(brush->cr);
}

void brush_credits(Brush *brush, JsonObject *reply, double x, double y, double width)
{
    g_autofree char *joined = read_joined(reply, "credits", "\n");
    g_auto(GStrv) credits = g_strsplit(joined, "\n", -1);

    for (int i = 0; i < CREDITS_MOST && credits[i] != NULL; i++)
        if (*credits[i] != '\0')
            brush_text(brush, credits[i], 17, PLAIN, x, y + CREDIT * i, width);
}

double brush_credits_height(JsonObject *reply)
{
    return CREDIT * MIN(read_count(reply, "credits"), CREDITS_MOST);
}
