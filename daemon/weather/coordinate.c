/* SPDX-License-Identifier: MIT */
#include "weather/coordinate.h"

#include <glib.h>
#include <math.h>

char *coordinate_text(double degrees)
{
    char text[G_ASCII_DTOSTR_BUF_SIZE];
    double hundredths = round(degrees * 100) + 0.0; /* not "-0.00" */
    return g_strdup(g_ascii_formatd(text, sizeof text, "%.2f", hundredths / 100));
}
