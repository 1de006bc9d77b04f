/* SPDX-License-Identifier: MIT */
#include "garden/config-scan.h"

#include <gio/gio.h>
#include <string.h>

#include "garden/types.h"

#define NAME_RULE "letters, digits, - and _, no spaces, at most 47 bytes"

G_DEFINE_QUARK(config_error, config_error)

static void entry_free(gpointer data)
{
    ConfigEntry *entry = data;

    g_free(entry->key);
    g_free(entry->value);
    g_free(entry);
}

static void section_free(gpointer data)
{
    ConfigSection *section = data;

    g_free(section->kind);
    g_free(section->name);
    g_ptr_array_unref(section->entries);
    g_ptr_array_unref(section->asked);
    g_free(section);
}

void config_free(Config *config)
{
    if (config == NULL)
        return;
    g_free(config->file);
    g_free(config->folder);
    g_ptr_array_unref(config->sections);
    g_ptr_array_unref(config->kinds);
    g_free(config);
}

gboolean config_is_name(const char *text)
{
    if (*text == '\0' || strlen(text) >= NAME_SIZE)
        return FALSE;
    for (const char *p = text; *p != '\0'; p = g_utf8_next_char(p)) {
        gunichar c = g_utf8_get_char(p);

        if (!g_unichar_isalnum(c) && (p == text || (c != '-' && c != '_')))
            return FALSE;
    }
    return TRUE;
}

char *config_clip(const char *text, glong letters)
{
    g_autofree char *start = NULL;

    if (g_utf8_strlen(text, -1) <= letters)
        return g_strdup(text);
    start = g_utf8_substring(text, 0, letters);
    return g_strconcat(start, "...", NULL);
}

/* Refuses the line; KEY (nullable) is one of the section that the scan is in. Always FALSE. */
static gboolean G_GNUC_PRINTF(5, 6) refuse_line(const Config *config, guint line, const char *key,
                                                GError **error, const char *format, ...)
{
    g_autofree char *text = NULL;
    g_autoptr(GString) where = g_string_new(NULL);
    va_list args;

    if (key != NULL && config->sections->len > 0) {
        const ConfigSection *in = g_ptr_array_index(config->sections, config->sections->len - 1);

        g_string_printf(where, "[%s%s%s] %s: ", in->kind, in->name != NULL ? " " : "",
                        in->name != NULL ? in->name : "", key);
    }
    va_start(args, format);
    text = g_strdup_vprintf(format, args);
    va_end(args);
    g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID, "%s:%u: %s%s", config->file, line,
                where->str, text);
    return FALSE;
}

/* The first word of a line, short and printable: all of a bad line might be a coordinate. */
static char *first_word(const char *line)
{
    const char *end = line;
    glong letters = 0;

    while (*end != '\0' && letters < 24 &&
           (g_unichar_isalpha(g_utf8_get_char(end)) || *end == '-')) {
        end = g_utf8_next_char(end);
        letters++;
    }
    return g_strndup(line, (gsize)(end - line));
}

static gboolean refuse_bad_line(const Config *config, guint line, const char *text, GError **error)
{
    g_autofree char *word = first_word(text);

    if (*text == ';')
        return refuse_line(config, line, NULL, error,
                           "the line begins with \";\"; a comment begins with \"#\"");
    if (*text == '[')
        return refuse_line(config, line, NULL, error,
                           "the line begins with \"[\" but is no heading; a heading is [kind "
                           "name], alone on its line");
    return refuse_line(
        config, line, NULL, error,
        "the line that begins with \"%s\" cannot be read; accepted are [kind name], key=value "
        "and # comment",
        word);
}

static gboolean scan_heading(Config *config, guint line, const char *text, GHashTable *seen,
                             GError **error)
{
    const char *close = strchr(text, ']');
    g_autofree char *title = NULL;
    ConfigSection *section = NULL;
    gpointer first = NULL;
    char *space = NULL;

    if (close == NULL || close[1] != '\0' || strchr(text + 1, '[') != NULL)
        return refuse_bad_line(config, line, text, error);
    title = g_strndup(text + 1, (gsize)(close - text - 1));
    space = strchr(title, ' ');
    if (space != NULL)
        *space = '\0';
    if (!config_is_name(title) || (space != NULL && !config_is_name(space + 1))) {
        return refuse_line(
            config, line, NULL, error,
            "the heading that begins with \"[%s\" cannot be read; accepted is [kind name] with one "
            "space, a name being " NAME_RULE,
            config_is_name(title) ? title : "");
    }
    if (config->sections->len == CONFIG_SECTIONS_MAX)
        return refuse_line(config, line, NULL, error, "more than %d sections; remove some",
                           CONFIG_SECTIONS_MAX);
    section = g_new0(ConfigSection, 1);
    section->file = config->file;
    section->kind = g_strdup(title);
    section->name = space != NULL ? g_strdup(space + 1) : NULL;
    section->line = line;
    section->entries = g_ptr_array_new_with_free_func(entry_free);
    section->asked = g_ptr_array_new_with_free_func(g_free);
    g_ptr_array_add(config->sections, section);
    if (space != NULL)
        *space = ' ';
    first = g_hash_table_lookup(seen, title);
    if (first != NULL) {
        return refuse_line(config, line, NULL, error,
                           "[%s] is there already, on line %u; keep one of the two", title,
                           GPOINTER_TO_UINT(first));
    }
    g_hash_table_insert(seen, g_steal_pointer(&title), GUINT_TO_POINTER(line));
    return TRUE;
}

static gboolean check_value(const Config *config, guint line, const char *key, const char *value,
                            GError **error)
{
    if (*value == '\0')
        return refuse_line(config, line, key, error,
                           "no value after \"=\"; give one or leave the line out");
    if (strchr(value, '\\') != NULL)
        return refuse_line(config, line, key, error,
                           "the value holds a backslash; accepted is plain text");
    for (const char *p = strchr(value, '#'); p != NULL; p = strchr(p + 1, '#')) {
        if (p == value || g_ascii_isspace(p[-1])) {
            return refuse_line(
                config, line, key, error,
                "a \"#\" in the value is no comment; a comment needs a line of its own");
        }
    }
    return TRUE;
}

static gboolean scan_entry(Config *config, guint line, const char *text, GError **error)
{
    const char *equals = strchr(text, '=');
    ConfigSection *section = NULL;
    ConfigEntry *entry = NULL;
    g_autofree char *key = NULL;
    g_autofree char *value = NULL;

    if (equals == NULL)
        return refuse_bad_line(config, line, text, error);
    key = g_strchomp(g_strndup(text, (gsize)(equals - text)));
    value = g_strstrip(g_strdup(equals + 1));
    for (const char *p = key; *p != '\0' || p == key; p = g_utf8_next_char(p)) {
        gunichar c = g_utf8_get_char(p);

        if (!g_unichar_isalnum(c) && (p == key || (c != '-' && c != '_')))
            return refuse_bad_line(config, line, text, error);
    }
    if (config->sections->len == 0) {
        return refuse_line(config, line, NULL, error,
                           "the key \"%s\" stands before the first heading; accepted is a heading "
                           "such as [garden] "
                           "above it",
                           key);
    }
    section = g_ptr_array_index(config->sections, config->sections->len - 1);
    for (guint i = 0; i < section->entries->len; i++) {
        const ConfigEntry *other = g_ptr_array_index(section->entries, i);

        if (strcmp(other->key, key) == 0)
            return refuse_line(config, line, key, error,
                               "is there already, on line %u; keep one of the two", other->line);
    }
    if (!check_value(config, line, key, value, error))
        return FALSE;
    if (section->entries->len == CONFIG_ENTRIES_MAX)
        return refuse_line(config, line, key, error, "more than %d keys in a section; remove some",
                           CONFIG_ENTRIES_MAX);
    entry = g_new0(ConfigEntry, 1);
    entry->key = g_steal_pointer(&key);
    entry->value = g_steal_pointer(&value);
    entry->line = line;
    g_ptr_array_add(section->entries, entry);
    return TRUE;
}

/* One line without its line feed. */
static gboolean scan_line(Config *config, guint line, const char *bytes, gsize length,
                          GHashTable *seen, GError **error)
{
    g_autofree char *text = NULL;

    if (length > 0 && bytes[length - 1] == '\r')
        length--;
    if (!g_utf8_validate_len(bytes, length, NULL))
        return refuse_line(config, line, NULL, error,
                           "the line is not UTF-8 text; save the file as UTF-8");
    text = g_strndup(bytes, length);
    if (line == 1 && g_str_has_prefix(text, "\357\273\277")) {
        return refuse_line(config, line, NULL, error,
                           "the file begins with a byte order mark; save it as UTF-8 without one");
    }
    for (const char *p = text; *p != '\0'; p++) {
        if (g_ascii_iscntrl(*p) && *p != '\t') {
            return refuse_line(
                config, line, NULL, error,
                "the line holds the control character 0x%02x; accepted is plain text", (guchar)*p);
        }
    }
    g_strstrip(text);
    if (*text == '\0' || *text == '#')
        return TRUE;
    if (*text == '[')
        return scan_heading(config, line, text, seen, error);
    return scan_entry(config, line, text, error);
}

Config *config_scan(const char *bytes, gsize length, const char *path, GError **error)
{
    g_autoptr(Config) config = g_new0(Config, 1);
    g_autoptr(GHashTable) seen = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    g_autofree char *full = g_canonicalize_filename(path, NULL);
    guint line = 0;

    config->file = g_filename_display_basename(full);
    config->folder = g_path_get_dirname(full);
    config->sections = g_ptr_array_new_with_free_func(section_free);
    config->kinds = g_ptr_array_new_with_free_func(g_free);
    if (length > CONFIG_BYTES_MAX) {
        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                    "%s: %" G_GSIZE_FORMAT " bytes; accepted are at most %d", config->file, length,
                    CONFIG_BYTES_MAX);
        return NULL;
    }
    for (gsize start = 0; start < length;) {
        const char *end = memchr(bytes + start, '\n', length - start);
        gsize size = end != NULL ? (gsize)(end - (bytes + start)) : length - start;

        if (!scan_line(config, ++line, bytes + start, size, seen, error))
            return NULL;
        start += size + 1;
    }
    return g_steal_pointer(&config);
}

char *config_read_file(const char *path, gsize max, gsize *ret_length, GError **error)
{
    g_autoptr(GFile) file = g_file_new_for_path(path);
    g_autoptr(GFileInputStream) stream = NULL;
    g_autoptr(GError) cause = NULL;
    g_autofree char *bytes = NULL;
    g_autofree char *shown = g_filename_display_basename(path);
    GFileType type = g_file_query_file_type(file, G_FILE_QUERY_INFO_NONE, NULL);
    gsize length = 0;

    /* Opening a pipe could wait for ever. */
    if (type != G_FILE_TYPE_REGULAR && type != G_FILE_TYPE_UNKNOWN) {
        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_UNREADABLE,
                    "%s: is not a file; accepted is a text file", shown);
        return NULL;
    }
    stream = g_file_read(file, NULL, &cause);
    bytes = g_malloc(max + 2);
    if (stream == NULL ||
        !g_input_stream_read_all(G_INPUT_STREAM(stream), bytes, max + 1, &length, NULL, &cause)) {
        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_UNREADABLE, "%s: cannot be read: %s", shown,
                    cause->message);
        return NULL;
    }
    if (length > max) {
        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                    "%s: is too long; accepted are at most %" G_GSIZE_FORMAT " bytes", shown, max);
        return NULL;
    }
    bytes[length] = '\0';
    *ret_length = length;
    return g_steal_pointer(&bytes);
}
