/* SPDX-License-Identifier: MIT */
#include "base/id.h"

#include <errno.h>
#include <glib.h>
#include <unistd.h>

#define ID_BYTES 16

char *id_new(void)
{
    guint8 bytes[ID_BYTES];
    GString *text = g_string_sized_new(2 * ID_BYTES);

    if (getentropy(bytes, sizeof bytes) != 0)
        g_error("no random numbers from the system: %s", g_strerror(errno));
    for (gsize i = 0; i < sizeof bytes; i++)
        g_string_append_printf(text, "%02x", bytes[i]);
    return g_string_free(text, FALSE);
}
