/* SPDX-License-Identifier: MIT */
#include "garden/config.h"

#include <math.h>
#include <string.h>

#define SHOWN_MAX 60  /* characters of a value that a message repeats, chosen */
#define LISTED_MAX 24 /* words that a suggestion lists, chosen */
#define NEAR_MAX 8    /* of more words than that it lists the nearest, chosen */

static void remember(GPtrArray *words, const char *word)
{
    if (!g_ptr_array_find_with_equal_func(words, word, g_str_equal, NULL))
        g_ptr_array_add(words, g_strdup(word));
}

static ConfigEntry *find_entry(const ConfigSection *section, const char *key)
{
    for (guint i = 0; i < section->entries->len; i++) {
        ConfigEntry *entry = g_ptr_array_index(section->entries, i);

        if (strcmp(entry->key, key) == 0)
            return entry;
    }
    return NULL;
}

ConfigSection *config_next(Config *config, const char *kind, guint *position)
{
    remember(config->kinds, kind);
    while (*position < config->sections->len) {
        ConfigSection *section = g_ptr_array_index(config->sections, (*position)++);

        if (strcmp(section->kind, kind) == 0) {
            section->used = TRUE;
            return section;
        }
    }
    return NULL;
}

gboolean config_has(ConfigSection *section, const char *key)
{
    remember(section->asked, key);
    return find_entry(section, key) != NULL;
}

const char *config_get_text(ConfigSection *section, const char *key)
{
    ConfigEntry *entry = config_has(section, key) ? find_entry(section, key) : NULL;

    if (entry == NULL)
        return NULL;
    entry->used = TRUE;
    return entry->value;
}

gboolean config_parse_real(const char *text, double *ret)
{
    char *end = NULL;
    double value = 0;

    /* Only what a grower writes: no hexadecimal, exponent, infinity. */
    if (*text == '\0' || text[strspn(text, "+-.0123456789")] != '\0')
        return FALSE;
    value = g_ascii_strtod(text, &end);
    if (end == text || *end != '\0' || !isfinite(value))
        return FALSE;
    *ret = value;
    return TRUE;
}

gboolean config_get_real(ConfigSection *section, const char *key, double least, double most,
                         const char *unit, double *value, GError **error)
{
    const char *text = config_get_text(section, key);
    char from[G_ASCII_DTOSTR_BUF_SIZE], to[G_ASCII_DTOSTR_BUF_SIZE];
    const char *space = *unit != '\0' ? " " : "";
    double number = 0;

    if (text == NULL)
        return TRUE;
    g_ascii_formatd(from, sizeof from, "%.12g", least);
    g_ascii_formatd(to, sizeof to, "%.12g", most);
    if (!config_parse_real(text, &number)) {
        return config_refuse(section, key, error, "not a number; accepted is %s to %s%s%s", from,
                             to, space, unit);
    }
    if (number < least || number > most)
        return config_refuse(section, key, error, "out of range; accepted is %s to %s%s%s", from,
                             to, space, unit);
    *value = number;
    return TRUE;
}

gboolean config_get_whole(ConfigSection *section, const char *key, int least, int most,
                          const char *unit, int *value, GError **error)
{
    const char *text = config_get_text(section, key);
    const char *space = *unit != '\0' ? " " : "";
    gint64 number = 0;

    if (text == NULL)
        return TRUE;
    if (!g_ascii_string_to_signed(text, 10, least, most, &number, NULL)) {
        return config_refuse(section, key, error, "accepted is a whole number from %d to %d%s%s",
                             least, most, space, unit);
    }
    *value = (int)number;
    return TRUE;
}

gboolean config_get_word(ConfigSection *section, const char *key, const char *const *words,
                         int *value, GError **error)
{
    const char *text = config_get_text(section, key);
    g_autofree char *hint = NULL;

    if (text == NULL)
        return TRUE;
    for (int i = 0; words[i] != NULL; i++) {
        if (strcmp(words[i], text) == 0) {
            *value = i;
            return TRUE;
        }
    }
    hint = config_suggest("accepted", text, words);
    return config_refuse(section, key, error, "unknown; %s", hint);
}

gboolean config_get_yes(ConfigSection *section, const char *key, bool *value, GError **error)
{
    static const char *const words[] = {"no", "yes", NULL};
    int index = *value ? 1 : 0;

    if (!config_get_word(section, key, words, &index, error))
        return FALSE;
    *value = index == 1;
    return TRUE;
}

/* Coordinates say where somebody lives. */
static gboolean is_private(const char *key)
{
    return strcmp(key, "latitude") == 0 || strcmp(key, "longitude") == 0;
}

/* Of a web address only the host: a path may be what keeps it secret, a name has a password behind.
 */
static char *shown(const char *value)
{
    const char *host = strstr(value, "://");

    if (host == NULL)
        return config_clip(value, SHOWN_MAX);
    host += strlen("://");
    g_autofree char *scheme = g_strndup(value, (gsize)(host - value));
    const char *at = strrchr(host, '@');
    const char *from = at != NULL ? at + 1 : host;
    const gsize length = strcspn(from, "/?#");
    const char *path = from + length;
    g_autofree char *name = g_strndup(from, length);
    g_autofree char *text =
        g_strconcat(scheme, at != NULL ? "…@" : "", name,
                    *path == '\0' || g_str_equal(path, "/") ? path : "/…", NULL);

    return config_clip(text, SHOWN_MAX);
}

gboolean config_refuse(const ConfigSection *section, const char *key, GError **error,
                       const char *format, ...)
{
    const ConfigEntry *entry = key != NULL ? find_entry(section, key) : NULL;
    g_autoptr(GString) message = g_string_new(NULL);
    va_list args;

    g_string_printf(message, "%s:%u: [%s", section->file,
                    entry != NULL ? entry->line : section->line, section->kind);
    if (section->name != NULL)
        g_string_append_printf(message, " %s", section->name);
    g_string_append_c(message, ']');
    if (key != NULL)
        g_string_append_printf(message, " %s", key);
    if (entry != NULL && !is_private(key)) {
        g_autofree char *value = shown(entry->value);

        g_string_append_printf(message, "=%s", value);
    }
    g_string_append(message, ": ");
    va_start(args, format);
    g_string_append_vprintf(message, format, args);
    va_end(args);
    g_set_error_literal(error, CONFIG_ERROR, CONFIG_ERROR_INVALID, message->str);
    return FALSE;
}

gboolean config_section_finish(const ConfigSection *section, GError **error)
{
    for (guint i = 0; i < section->entries->len; i++) {
        const ConfigEntry *entry = g_ptr_array_index(section->entries, i);
        g_autoptr(GPtrArray) words = NULL;
        g_autofree char *hint = NULL;

        if (entry->used)
            continue;
        words = g_ptr_array_new();
        for (guint j = 0; j < section->asked->len; j++)
            g_ptr_array_add(words, g_ptr_array_index(section->asked, j));
        g_ptr_array_add(words, NULL);
        hint = config_suggest("keys here", entry->key, (const char *const *)words->pdata);
        /* The value of a key misspelt may be a coordinate, so it is not repeated. */
        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                    "%s:%u: [%s%s%s] %s: unknown key; %s", section->file, entry->line,
                    section->kind, section->name != NULL ? " " : "",
                    section->name != NULL ? section->name : "", entry->key, hint);
        return FALSE;
    }
    return TRUE;
}

gboolean config_finish(const Config *config, GError **error)
{
    for (guint i = 0; i < config->sections->len; i++) {
        const ConfigSection *section = g_ptr_array_index(config->sections, i);
        g_autoptr(GPtrArray) words = NULL;
        g_autofree char *hint = NULL;

        if (section->used)
            continue;
        words = g_ptr_array_new();
        for (guint j = 0; j < config->kinds->len; j++)
            g_ptr_array_add(words, g_ptr_array_index(config->kinds, j));
        g_ptr_array_add(words, NULL);
        hint = config_suggest("sections", section->kind, (const char *const *)words->pdata);
        return config_refuse(section, NULL, error, "unknown section; %s", hint);
    }
    return TRUE;
}

/* Letters to add, drop, change or swap with their neighbour to come from A to B; both in lower
 * case. */
static glong letters_apart(const char *a, const char *b)
{
    glong n = 0, m = 0;
    g_autofree gunichar *x = g_utf8_to_ucs4_fast(a, -1, &n);
    g_autofree gunichar *y = g_utf8_to_ucs4_fast(b, -1, &m);
    g_autofree glong *rows = g_new(glong, (gsize)(3 * (m + 1)));
    glong *before = rows, *above = rows + m + 1, *row = rows + 2 * (m + 1);

    for (glong j = 0; j <= m; j++)
        above[j] = j;
    for (glong i = 1; i <= n; i++) {
        glong *spare = before;

        row[0] = i;
        for (glong j = 1; j <= m; j++) {
            glong changed = above[j - 1] + (x[i - 1] != y[j - 1]);

            row[j] = MIN(changed, 1 + MIN(above[j], row[j - 1]));
            if (i > 1 && j > 1 && x[i - 1] == y[j - 2] && x[i - 2] == y[j - 1])
                row[j] = MIN(row[j], before[j - 2] + 1);
        }
        before = above;
        above = row;
        row = spare;
    }
    return above[m];
}

/* The word nearest to SEEN, where a slip of the finger or two explains it; else NULL. */
static const char *nearest_word(const char *seen, const char *const *words)
{
    g_autofree char *folded = NULL;
    const char *best = NULL;
    glong least = 0;

    if (strlen(seen) > 100 || !g_utf8_validate(seen, -1, NULL))
        return NULL;
    folded = g_utf8_casefold(seen, -1);
    least = MIN(2, g_utf8_strlen(seen, -1) / 3) + 1;
    for (int i = 0; words[i] != NULL; i++) {
        g_autofree char *word = g_utf8_casefold(words[i], -1);
        glong apart = letters_apart(folded, word);

        if (apart < least) {
            least = apart;
            best = words[i];
        }
    }
    return best;
}

/* How far a word is from what was seen, and where it stands. */
typedef struct Nearness {
    glong apart;
    int word;
} Nearness;

static gint by_nearness(gconstpointer a, gconstpointer b)
{
    const Nearness *x = a, *y = b;
    return x->apart != y->apart ? (x->apart < y->apart ? -1 : 1) : x->word - y->word;
}

/* The places of all words, nearest first; one that has all of SEEN in it is the nearest. */
static GArray *order_words(const char *seen, const char *const *words)
{
    GArray *order = g_array_new(FALSE, FALSE, sizeof(Nearness));
    const gboolean readable = strlen(seen) <= 100 && g_utf8_validate(seen, -1, NULL);
    g_autofree char *folded = readable ? g_utf8_casefold(seen, -1) : g_strdup("");

    for (int i = 0; words[i] != NULL; i++) {
        g_autofree char *word = g_utf8_casefold(words[i], -1);
        const gboolean within = strstr(word, folded) != NULL;
        const Nearness nearness = {.apart = within ? 0 : letters_apart(folded, word), .word = i};
        g_array_append_val(order, nearness);
    }
    g_array_sort(order, by_nearness);
    return order;
}

char *config_suggest(const char *what, const char *seen, const char *const *words)
{
    const char *near_word = nearest_word(seen, words);
    g_autoptr(GString) text = g_string_new(NULL);
    const int n = (int)g_strv_length((char **)words);
    const int listed = n <= LISTED_MAX ? n : NEAR_MAX;
    g_autoptr(GArray) order = n > listed ? order_words(seen, words) : NULL;

    if (near_word != NULL)
        g_string_printf(text, "did you mean \"%s\"? ", near_word);
    g_string_append_printf(text, "%s:", what);
    for (int i = 0; i < listed; i++)
        g_string_append_printf(text, "%s %s", i > 0 ? "," : "",
                               words[order != NULL ? g_array_index(order, Nearness, i).word : i]);
    if (n == 0)
        g_string_append(text, " none");
    if (n > listed)
        g_string_append_printf(text, " and %d more", n - listed);
    return g_string_free(g_steal_pointer(&text), FALSE);
}
