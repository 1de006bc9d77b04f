/* SPDX-License-Identifier: MIT */
/* `tholed --init-config KEY=VALUE...`: a first thole.conf from answers. docs/api.md lists the keys.
 */
#pragma once

#include <glib.h>

/* The text of the file, or NULL and one line that names the key; `arguments` are `n` of KEY=VALUE.
 */
char *init_config_from(int n, char *const *arguments, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Prints that text and gives 0, or one line on standard error and gives 1. */
int init_config_main(int n, char **arguments);
