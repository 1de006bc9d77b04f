/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>

/*
 * Whether nobody on the way can read or change what goes to TEXT: an absolute https address, or one
 * of http on this machine itself (localhost, 127.0.0.0/8, ::1).
 */
gboolean url_is_safe(const char *text);

/*
 * A host, NAME@HOST, or an address, as the safe address of a server, with a path; NULL where it is
 * none of these, or has a name or password in it. Free with g_free().
 */
char *url_of_server(const char *text);
