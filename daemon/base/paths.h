/* SPDX-License-Identifier: MIT */
#pragma once

/*
 * Where a user's own daemon keeps its files, by the XDG Base Directory Specification. The system
 * unit names its folders by option instead. The caller owns each string. Nothing is created.
 */

char *paths_default_config(void);    /* $XDG_CONFIG_HOME/thole/thole.conf */
char *paths_default_state_dir(void); /* $XDG_STATE_HOME/thole */
char *paths_default_socket(void);    /* $XDG_RUNTIME_DIR/thole/control */
