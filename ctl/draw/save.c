/* SPDX-License-Identifier: MIT */
#include "ctl/draw/save.h"

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <math.h>

#define PNG_SCALE 2.0 /* for screens of today; chosen */

SaveAs save_format(const char *path)
{
    static const struct {
        const char *ending;
        SaveAs as;
    } formats[] = {{".svg", SAVE_SVG}, {".png", SAVE_PNG}, {".pdf", SAVE_PDF}};
    g_autofree char *lower = g_ascii_strdown(path, -1);

    for (gsize i = 0; i < G_N_ELEMENTS(formats); i++)
        if (g_str_has_suffix(lower, formats[i].ending))
            return formats[i].as;
    return SAVE_NONE;
}

static cairo_status_t append(void *closure, const unsigned char *data, unsigned int length)
{
    g_byte_array_append(closure, data, length);
    return CAIRO_STATUS_SUCCESS;
}

static cairo_surface_t *surface_new(SaveAs as, double width, double height, GByteArray *bytes)
{
    if (as == SAVE_SVG)
        return cairo_svg_surface_create_for_stream(append, bytes, width, height);
    if (as == SAVE_PDF)
        return cairo_pdf_surface_create_for_stream(append, bytes, width, height);
    return cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)lround(width * PNG_SCALE),
                                      (int)lround(height * PNG_SCALE));
}

GBytes *save_bytes(const Picture *picture, SaveAs as, char **ret_why)
{
    GByteArray *bytes = g_byte_array_new();
    cairo_surface_t *surface = surface_new(as, picture->width, picture->height, bytes);
    cairo_t *cr = cairo_create(surface);

    if (as == SAVE_PDF) /* the same picture is the same file */
        cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE,
                                       "2000-01-01T00:00:00Z");
    if (as == SAVE_PNG)
        cairo_scale(cr, PNG_SCALE, PNG_SCALE);
    picture->paint(cr, picture->figure, NULL);
    cairo_status_t status = cairo_status(cr);
    cairo_destroy(cr);
    if (status == CAIRO_STATUS_SUCCESS && as == SAVE_PNG)
        status = cairo_surface_write_to_png_stream(surface, append, bytes);
    cairo_surface_finish(surface);
    if (status == CAIRO_STATUS_SUCCESS)
        status = cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    if (status != CAIRO_STATUS_SUCCESS) {
        *ret_why = g_strdup(cairo_status_to_string(status));
        g_byte_array_unref(bytes);
        return NULL;
    }
    return g_byte_array_free_to_bytes(bytes);
}
