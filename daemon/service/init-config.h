/* SPDX-License-Identifier: MIT */
/*
 * `tholed --init-config [--check] KEY=VALUE...`: a first thole.conf from answers. docs/api.md lists
 * the keys.
 */
#pragma once

#include <glib.h>

/*
 * The text of the file, or NULL and one line that names the key; `arguments` are `n` of KEY=VALUE.
 * `unfinished`: what is missing does not matter, something plausible stands in for it.
 */
char *init_config_from(int n, char *const *arguments, gboolean unfinished,
                       GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Prints that text, with --check nothing, and gives 0; or prints one line on standard error and
 * gives 1. With --check the answers may be unfinished.
 */
int init_config_main(int n, char **arguments);
