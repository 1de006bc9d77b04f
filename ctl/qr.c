/* SPDX-License-Identifier: MIT */
#include "ctl/qr.h"

#include <glib.h>
#include <qrencode.h>
#include <stdbool.h>

/*
 * Black on white of the 256 colours, which themes leave alone; with the sixteen of the terminal
 * "white" may be any colour. A reader needs dark on light, so a dark terminal's own will not do.
 */
#define COLOURS "\033[38;5;16;48;5;231m"
#define COLOURS_END "\033[0m"

static bool is_dark(const QRcode *code, int x, int y)
{
    return x >= 0 && y >= 0 && x < code->width && y < code->width &&
           (code->data[y * code->width + x] & 1) != 0;
}

char *qr_text(const char *text, int *ret_columns)
{
    static const char *const halves[] = {" ", "▀", "▄", "█"}; /* upper dark, lower dark */
    QRcode *code = QRcode_encodeString8bit(text, 0, QR_ECLEVEL_M);

    if (code == NULL)
        return NULL;
    GString *out = g_string_new(NULL);
    const int end = code->width + QR_QUIET;
    for (int y = -QR_QUIET; y < end; y += 2) {
        g_string_append(out, out->len > 0 ? "\n" COLOURS : COLOURS);
        for (int x = -QR_QUIET; x < end; x++)
            g_string_append(out, halves[is_dark(code, x, y) + 2 * is_dark(code, x, y + 1)]);
        g_string_append(out, COLOURS_END);
    }
    *ret_columns = code->width + 2 * QR_QUIET;
    QRcode_free(code);
    return g_string_free(out, FALSE);
}
