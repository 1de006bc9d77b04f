/* SPDX-License-Identifier: MIT */
/*
 * Typed reading of a scanned key file. Each config_get_… marks its key as known and, where it is
 * given, consumes it. A key that is not given leaves *VALUE as it is, so callers put the default
 * there first. A refused value leaves it as it is as well.
 */
#pragma once

#include <stdbool.h>

#include "garden/config-scan.h"

/* The next section of KIND after *POSITION (start with 0), which it moves on, or NULL. Takes it. */
ConfigSection *config_next(Config *config, const char *kind, guint *position);

/* Whether a key is given. Marks it as known. */
gboolean config_has(ConfigSection *section, const char *key);

/* Text as given, owned by the section, or NULL where the key is not given. */
const char *config_get_text(ConfigSection *section, const char *key);

/* A number from LEAST to MOST of UNIT ("cm"; "" for none). */
gboolean config_get_real(ConfigSection *section, const char *key, double least, double most,
                         const char *unit, double *value, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* A whole number from LEAST to MOST of UNIT. */
gboolean config_get_whole(ConfigSection *section, const char *key, int least, int most,
                          const char *unit, int *value, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* One of WORDS (ends with NULL): *VALUE is its index. */
gboolean config_get_word(ConfigSection *section, const char *key, const char *const *words,
                         int *value, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* yes or no. */
gboolean config_get_yes(ConfigSection *section, const char *key, bool *value,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Sets ERROR: the place in the file, then the formatted text, which says what is wrong; what would
 * be accepted. KEY NULL: about the section. Always gives FALSE.
 */
gboolean config_refuse(const ConfigSection *section, const char *key, GError **error,
                       const char *format, ...) G_GNUC_PRINTF(4, 5);

/* Refuses the first entry that nobody asked for. */
gboolean config_section_finish(const ConfigSection *section,
                               GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Refuses the first section that nobody took. */
gboolean config_finish(const Config *config, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Whether TEXT, all of it, is a finite decimal number, put in *RET. The decimal sign is a full
 * stop. */
gboolean config_parse_real(const char *text, double *ret);

/*
 * What to say after an unknown word: `did you mean "frame"? places: bed, frame, sill`. Of
 * more than twenty words the eight nearest are listed. WHAT names them; WORDS ends with NULL. To be freed with g_free().
 */
char *config_suggest(const char *what, const char *seen,
                     const char *const *words) G_GNUC_WARN_UNUSED_RESULT;
