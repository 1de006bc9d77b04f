/* SPDX-License-Identifier: MIT */
#pragma once

/*
 * Where a user's own daemon keeps its files, by the XDG Base Directory Specification. The system
 * unit names its folders by option instead. The caller owns each string. Nothing is created.
 */

char *paths_default_config(void);    /* $XDG_CONFIG_HOME/thole/thole.conf */
char *paths_default_state_dir(void); /* $XDG_STATE_HOME/thole */
char *paths_default_socket(void);    /* $XDG_RUNTIME_DIR/thole/control */

/*
 * Where a secret file called NAME in a file of FOLDER is. A name without a folder of its own is
 * looked for first among the credentials that the service manager handed over
 * ($CREDENTIALS_DIRECTORY, systemd.exec(5)), then in FOLDER; others are relative to FOLDER.
 */
char *paths_secret(const char *name, const char *folder);
