/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>

/*
 * Whether nobody on the way can read or change what goes to TEXT: an absolute https address, or one
 * of http on this machine itself (localhost, 127.0.0.0/8, ::1).
 */
gboolean url_is_safe(const char *text);
