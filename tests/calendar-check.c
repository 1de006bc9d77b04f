/* SPDX-License-Identifier: MIT */
#include "calendar-check.h"

#include <stdio.h>
#include <string.h>

#define LINE_OCTETS_MAX 75 /* RFC 5545 §3.1 */
#define UID_OCTETS_MAX 254 /* RFC 7986 §5.3: fewer than 255 */
#define DAY_S 86400

/* One component being read: how often each property was there, and the values that matter. */
typedef struct Scope {
    char *name;         /* (owned) */
    GHashTable *values; /* (owned) property name -> (owned) last value */
    GHashTable *counts; /* (owned) property name -> number */
    int components, alarms;
} Scope;

static void scope_free(gpointer data)
{
    Scope *scope = data;

    g_free(scope->name);
    g_hash_table_unref(scope->values);
    g_hash_table_unref(scope->counts);
    g_free(scope);
}

static gboolean matches(const char *pattern, const char *text)
{
    return g_regex_match_simple(pattern, text, G_REGEX_DOLLAR_ENDONLY, 0);
}

static int count(const Scope *scope, const char *name)
{
    return GPOINTER_TO_INT(g_hash_table_lookup(scope->counts, name));
}

static const char *value(const Scope *scope, const char *name)
{
    const char *found = g_hash_table_lookup(scope->values, name);

    return found != NULL ? found : "";
}

/* Octets and line ends (RFC 5545 §3.1). Gives the unfolded lines. */
static char *check_lines(const char *bytes, gsize length, GPtrArray *ret_lines)
{
    const char *at = bytes, *end = bytes + length;

    while (at < end) {
        const char *stop = g_strstr_len(at, end - at, "\r\n");
        gsize octets;
        if (stop == NULL)
            return g_strdup("a line without CRLF");
        octets = (gsize)(stop - at);
        if (octets == 0)
            return g_strdup("an empty line");
        if (octets > LINE_OCTETS_MAX)
            return g_strdup_printf("a line of %zu octets", octets);
        if (!g_utf8_validate(at, (gssize)octets, NULL))
            return g_strdup("a line that is not UTF-8, or folded inside a character");
        for (const char *c = at; c < stop; c++) {
            if (((guchar)*c < 0x20 && *c != '\t') || *c == 0x7f)
                return g_strdup_printf("control byte 0x%02x", (guint)*c);
        }
        if (*at == ' ' || *at == '\t') {
            g_autofree char *former = NULL;
            if (ret_lines->len == 0)
                return g_strdup("a fold before any line");
            former = ret_lines->pdata[ret_lines->len - 1];
            ret_lines->pdata[ret_lines->len - 1] =
                g_strdup_printf("%s%.*s", former, (int)octets - 1, at + 1);
        } else {
            g_ptr_array_add(ret_lines, g_strndup(at, octets));
        }
        at = stop + 2;
    }
    return NULL;
}

/* Escapes of a TEXT value, or of one item where it is a list (RFC 5545 §3.3.11). */
static gboolean is_text(const char *text)
{
    return matches("^([^\\\\,;]|\\\\[\\\\,;nN])*$", text);
}

static char *check_value(const char *name, const char *params, const char *text)
{
    static const char *const texts[] = {"SUMMARY", "LOCATION", "DESCRIPTION", "NAME", NULL};
    static const char *const times[] = {"DTSTAMP", "CREATED", "LAST-MODIFIED", NULL};
    static const char *const never[] = {"METHOD", "ATTENDEE", "ORGANIZER", "DURATION",
                                        "REPEAT", "RRULE",    NULL};

    if (g_strv_contains(never, name))
        return g_strdup_printf("%s is there", name);
    if (g_strv_contains(texts, name) && !is_text(text))
        return g_strdup_printf("bad escapes in %s:%s", name, text);
    if (strcmp(name, "CATEGORIES") == 0 && !matches("^([^\\\\;]|\\\\[\\\\,;nN])*$", text))
        return g_strdup_printf("bad escapes in %s:%s", name, text);
    if (g_strv_contains(times, name) && (!matches("^\\d{8}T\\d{6}Z$", text) || *params != '\0'))
        return g_strdup_printf("%s is not in UTC: %s", name, text);
    if (strcmp(name, "UID") == 0 &&
        (!matches("^[A-Za-z0-9-]+$", text) || strlen(text) > UID_OCTETS_MAX))
        return g_strdup_printf("UID outside the grammar: %s", text);
    if (strcmp(name, "REFRESH-INTERVAL") == 0 && strcmp(params, ";VALUE=DURATION") != 0)
        return g_strdup("REFRESH-INTERVAL without VALUE=DURATION");
    return NULL;
}

static char *check_once(const Scope *scope, const char *const *names)
{
    for (; *names != NULL; names++) {
        if (count(scope, *names) != 1)
            return g_strdup_printf("%s %d times in %s", *names, count(scope, *names), scope->name);
    }
    return NULL;
}

static char *check_event(const Scope *scope, GHashTable *uids)
{
    static const char *const once[] = {"UID",     "DTSTAMP",       "DTSTART",  "DTEND",
                                       "CREATED", "LAST-MODIFIED", "SEQUENCE", "STATUS",
                                       "TRANSP",  "SUMMARY",       NULL};
    char *complaint = check_once(scope, once);

    if (complaint != NULL)
        return complaint;
    if (!matches("^\\d{8}T\\d{6}Z$", value(scope, "DTSTART")) ||
        !matches("^\\d{8}T\\d{6}Z$", value(scope, "DTEND")))
        return g_strdup("DTSTART or DTEND is not in UTC");
    if (strcmp(value(scope, "DTSTART"), value(scope, "DTEND")) >= 0)
        return g_strdup("DTEND not after DTSTART");
    if (strcmp(value(scope, "DTSTAMP"), value(scope, "LAST-MODIFIED")) != 0)
        return g_strdup("without METHOD, DTSTAMP is LAST-MODIFIED (RFC 5545 §3.8.7.2)");
    if (!matches("^(TENTATIVE|CONFIRMED|CANCELLED)$", value(scope, "STATUS")))
        return g_strdup("STATUS unknown");
    if (!matches("^\\d+$", value(scope, "SEQUENCE")))
        return g_strdup("SEQUENCE is no number");
    if (strcmp(value(scope, "TRANSP"), "TRANSPARENT") != 0)
        return g_strdup("takes up free time");
    if (strcmp(value(scope, "STATUS"), "CANCELLED") == 0 && scope->alarms > 0)
        return g_strdup("a cancelled event with an alarm");
    if (!g_hash_table_add(uids, g_strdup(value(scope, "UID"))))
        return g_strdup_printf("UID twice: %s", value(scope, "UID"));
    return NULL;
}

static char *check_alarm(const Scope *scope, GHashTable *uids)
{
    static const char *const once[] = {"ACTION", "TRIGGER", "DESCRIPTION", "UID", NULL};
    char *complaint = check_once(scope, once);

    if (complaint != NULL)
        return complaint;
    if (strcmp(value(scope, "ACTION"), "DISPLAY") != 0)
        return g_strdup_printf("ACTION %s", value(scope, "ACTION"));
    if (!matches("^(PT0S|-P(\\d+W|\\d+D|(\\d+D)?T(\\d+H)?(\\d+M)?(?<!T)))$",
                 value(scope, "TRIGGER")))
        return g_strdup_printf("TRIGGER not in whole minutes before the start: %s",
                               value(scope, "TRIGGER"));
    if (!g_hash_table_add(uids, g_strdup(value(scope, "UID"))))
        return g_strdup_printf("UID twice: %s", value(scope, "UID"));
    return NULL;
}

static char *check_calendar(const Scope *scope)
{
    static const char *const once[] = {"VERSION", "PRODID", NULL};
    char *complaint = check_once(scope, once);

    if (complaint != NULL)
        return complaint;
    if (strcmp(value(scope, "VERSION"), "2.0") != 0)
        return g_strdup_printf("VERSION %s", value(scope, "VERSION"));
    if (scope->components == 0)
        return g_strdup("no component (RFC 5545 §3.6)");
    return NULL;
}

static char *close_scope(const Scope *scope, Scope *outer, GHashTable *uids)
{
    if (outer != NULL) {
        outer->components++;
        outer->alarms += strcmp(scope->name, "VALARM") == 0;
    }
    if (strcmp(scope->name, "VCALENDAR") == 0)
        return outer == NULL ? check_calendar(scope) : g_strdup("VCALENDAR inside another");
    if (outer == NULL)
        return g_strdup_printf("%s outside VCALENDAR", scope->name);
    if (strcmp(scope->name, "VEVENT") == 0)
        return check_event(scope, uids);
    if (strcmp(scope->name, "VALARM") == 0)
        return check_alarm(scope, uids);
    if (strcmp(scope->name, "VTIMEZONE") == 0 || strcmp(scope->name, "STANDARD") == 0)
        return NULL;
    return g_strdup_printf("component %s", scope->name);
}

static Scope *open_scope(const char *name)
{
    Scope *scope = g_new0(Scope, 1);

    scope->name = g_strdup(name);
    scope->values = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
    scope->counts = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    return scope;
}

/* One unfolded line; *calendars counts the VCALENDARs. */
static char *check_line(const char *line, GPtrArray *scopes, GHashTable *uids, int *calendars)
{
    g_autoptr(GRegex) grammar = g_regex_new("^([A-Za-z0-9-]+)((?:;[A-Za-z0-9-]+=[^:;\"]*)*):(.*)$",
                                            G_REGEX_DOTALL, 0, NULL);
    g_autoptr(GMatchInfo) match = NULL;
    g_autofree char *name = NULL, *params = NULL, *text = NULL;
    Scope *scope = scopes->len > 0 ? scopes->pdata[scopes->len - 1] : NULL;

    if (!g_regex_match(grammar, line, 0, &match))
        return g_strdup_printf("no content line: %s", line);
    name = g_match_info_fetch(match, 1);
    params = g_match_info_fetch(match, 2);
    text = g_match_info_fetch(match, 3);
    if (strcmp(name, "BEGIN") == 0) {
        *calendars += scope == NULL;
        g_ptr_array_add(scopes, open_scope(text));
        return NULL;
    }
    if (scope == NULL)
        return g_strdup_printf("outside any component: %s", line);
    if (strcmp(name, "END") == 0) {
        char *complaint;
        if (strcmp(text, scope->name) != 0)
            return g_strdup_printf("END:%s in %s", text, scope->name);
        complaint =
            close_scope(scope, scopes->len > 1 ? scopes->pdata[scopes->len - 2] : NULL, uids);
        g_ptr_array_remove_index(scopes, scopes->len - 1);
        return complaint;
    }
    g_hash_table_replace(scope->counts, g_strdup(name), GINT_TO_POINTER(count(scope, name) + 1));
    g_hash_table_replace(scope->values, g_strdup(name), g_strdup(text));
    return check_value(name, params, text);
}

char *calendar_check(const char *bytes, gsize length)
{
    g_autoptr(GPtrArray) lines = g_ptr_array_new_with_free_func(g_free);
    g_autoptr(GPtrArray) scopes = g_ptr_array_new_with_free_func(scope_free);
    g_autoptr(GHashTable) uids = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    char *complaint = check_lines(bytes, length, lines);
    int calendars = 0;

    for (guint i = 0; complaint == NULL && i < lines->len; i++)
        complaint = check_line(lines->pdata[i], scopes, uids, &calendars);
    if (complaint == NULL && scopes->len > 0)
        return g_strdup("a component is not closed");
    if (complaint == NULL && calendars != 1)
        return g_strdup_printf("%d calendars", calendars);
    return complaint;
}

EventWanted *calendar_sample(const char *visit_id, int64_t start_utc, const char *summary,
                             const char *substance)
{
    EventWanted *wanted = event_wanted_new();

    wanted->visit_id = g_strdup(visit_id);
    wanted->start_utc = start_utc;
    wanted->end_utc = start_utc + 1800;
    wanted->day_end_utc = (start_utc / DAY_S + 1) * DAY_S;
    wanted->summary = g_strdup(summary);
    wanted->location = g_strdup("Plot");
    wanted->description = g_strdup("Take the fleece.");
    wanted->alarms = event_alarms_new();
    event_alarms_add(wanted->alarms, 20, FALSE, "Leave now.");
    wanted->substance = g_strdup(substance);
    return wanted;
}

static void wanted_free(gpointer data)
{
    event_wanted_free(data);
}

GPtrArray *calendar_sample_array(void)
{
    return g_ptr_array_new_with_free_func(wanted_free);
}

char *calendar_content(const EventMemory *event)
{
    GString *content = g_string_new(NULL);
    g_autofree char *categories = g_strjoinv("\x1f", event->categories);

    g_string_printf(content,
                    "%" G_GINT64_FORMAT "\x1e%" G_GINT64_FORMAT "\x1e%d\x1e%s\x1e%s\x1e%s\x1e%s",
                    event->start_utc, event->end_utc, event->cancelled, event->summary,
                    event->location, event->description, categories);
    for (guint i = 0; i < event->alarms->len; i++) {
        const EventAlarm *alarm = &g_array_index(event->alarms, EventAlarm, i);
        g_string_append_printf(content, "\x1e%d\x1f%s", alarm->minutes_before, alarm->text);
    }
    return g_string_free(content, FALSE);
}

guint32 calendar_seed(const char *test)
{
    const char *given = g_getenv("THOLE_TEST_SEED");
    guint32 seed = given != NULL ? (guint32)g_ascii_strtoull(given, NULL, 10) : g_random_int();

    printf("# %s: seed %u (THOLE_TEST_SEED repeats it)\n", test, seed);
    fflush(stdout);
    return seed;
}
