/* SPDX-License-Identifier: MIT */
/* The calendar file: replaced whole, only when it differs, and never one that is not ours. */
#pragma once

#include <glib.h>

/*
 * Make the file at path hold bytes. A file that already does is not touched. Otherwise it is
 * replaced in one step, so that a reader, or a crash, meets the old calendar or the new one.
 * ret_written (nullable) tells which. FALSE, file untouched, when it cannot be read or written
 * (THOLE_ERROR_IO, or as GLib tells it), and with THOLE_ERROR_CONFLICT when path is a link, a
 * folder or a device, or holds something that this program did not write.
 */
gboolean calendar_file_publish(const char *path, GBytes *bytes, gboolean *ret_written,
                               GError **error) G_GNUC_WARN_UNUSED_RESULT;
