/* SPDX-License-Identifier: MIT */
#include "base/error.h"

#include <gio/gio.h>

G_DEFINE_QUARK(thole - error, thole_error)

gboolean error_is_invalid(const GError *error)
{
    return g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID);
}

gboolean error_is_not_found(const GError *error)
{
    return g_error_matches(error, THOLE_ERROR, THOLE_ERROR_NOT_FOUND) ||
           g_error_matches(error, G_IO_ERROR, G_IO_ERROR_NOT_FOUND) ||
           g_error_matches(error, G_FILE_ERROR, G_FILE_ERROR_NOENT);
}

gboolean error_is_conflict(const GError *error)
{
    return g_error_matches(error, THOLE_ERROR, THOLE_ERROR_CONFLICT);
}

gboolean error_is_limit(const GError *error)
{
    return g_error_matches(error, THOLE_ERROR, THOLE_ERROR_LIMIT);
}

gboolean error_is_io(const GError *error)
{
    if (!error)
        return FALSE;
    return g_error_matches(error, THOLE_ERROR, THOLE_ERROR_IO) || error->domain == G_IO_ERROR ||
           error->domain == G_FILE_ERROR;
}

gboolean error_is_stale(const GError *error)
{
    return g_error_matches(error, THOLE_ERROR, THOLE_ERROR_STALE);
}
