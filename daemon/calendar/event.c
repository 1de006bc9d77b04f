/* SPDX-License-Identifier: MIT */
#include "calendar/event.h"

#include <string.h>

static void alarm_clear(gpointer data)
{
    EventAlarm *alarm = data;

    g_clear_pointer(&alarm->text, g_free);
}

GArray *event_alarms_new(void)
{
    GArray *alarms = g_array_new(FALSE, TRUE, sizeof(EventAlarm));

    g_array_set_clear_func(alarms, alarm_clear);
    return alarms;
}

void event_alarms_add(GArray *alarms, int minutes_before, gboolean urgent, const char *text)
{
    EventAlarm alarm = {.minutes_before = minutes_before, .urgent = urgent, .text = g_strdup(text)};

    g_array_append_val(alarms, alarm);
}

EventWanted *event_wanted_new(void)
{
    return g_new0(EventWanted, 1);
}

void event_wanted_free(EventWanted *wanted)
{
    if (wanted == NULL)
        return;
    g_free(wanted->visit_id);
    g_free(wanted->whose);
    g_free(wanted->summary);
    g_free(wanted->location);
    g_free(wanted->description);
    g_strfreev(wanted->categories);
    g_clear_pointer(&wanted->alarms, g_array_unref);
    g_free(wanted->substance);
    g_free(wanted);
}

EventMemory *event_memory_new(void)
{
    EventMemory *memory = g_new0(EventMemory, 1);

    memory->uid = g_strdup("");
    memory->visit_id = g_strdup("");
    memory->whose = g_strdup("");
    memory->hash = g_strdup("");
    memory->substance = g_strdup("");
    memory->summary = g_strdup("");
    memory->location = g_strdup("");
    memory->description = g_strdup("");
    memory->categories = g_new0(char *, 1);
    memory->alarms = event_alarms_new();
    return memory;
}

EventMemory *event_memory_copy(const EventMemory *memory)
{
    EventMemory *copy = g_new0(EventMemory, 1);

    *copy = *memory;
    copy->uid = g_strdup(memory->uid);
    copy->visit_id = g_strdup(memory->visit_id);
    copy->whose = g_strdup(memory->whose);
    copy->hash = g_strdup(memory->hash);
    copy->substance = g_strdup(memory->substance);
    copy->summary = g_strdup(memory->summary);
    copy->location = g_strdup(memory->location);
    copy->description = g_strdup(memory->description);
    copy->categories = g_strdupv(memory->categories);
    copy->alarms = event_alarms_new();
    for (guint i = 0; i < memory->alarms->len; i++) {
        const EventAlarm *alarm = &g_array_index(memory->alarms, EventAlarm, i);
        event_alarms_add(copy->alarms, alarm->minutes_before, alarm->urgent, alarm->text);
    }
    return copy;
}

void event_memory_free(EventMemory *memory)
{
    if (memory == NULL)
        return;
    g_free(memory->uid);
    g_free(memory->visit_id);
    g_free(memory->whose);
    g_free(memory->hash);
    g_free(memory->substance);
    g_free(memory->summary);
    g_free(memory->location);
    g_free(memory->description);
    g_strfreev(memory->categories);
    g_clear_pointer(&memory->alarms, g_array_unref);
    g_free(memory);
}

gboolean event_memory_is_shown(const EventMemory *memory)
{
    return !memory->ended;
}

/* The terminating zero is hashed too, so that "ab","c" and "a","bc" differ. */
static void hash_text(GChecksum *checksum, const char *text)
{
    g_checksum_update(checksum, (const guchar *)text, (gssize)strlen(text) + 1);
}

static void hash_number(GChecksum *checksum, int64_t number)
{
    g_autofree char *text = g_strdup_printf("%" G_GINT64_FORMAT, number);

    hash_text(checksum, text);
}

char *event_memory_hash(const EventMemory *memory)
{
    g_autoptr(GChecksum) checksum = g_checksum_new(G_CHECKSUM_SHA256);

    hash_number(checksum, memory->start_utc);
    hash_number(checksum, memory->end_utc);
    hash_number(checksum, memory->cancelled != FALSE);
    hash_text(checksum, memory->summary);
    hash_text(checksum, memory->location);
    hash_text(checksum, memory->description);
    hash_number(checksum, g_strv_length(memory->categories));
    for (char **category = memory->categories; *category != NULL; category++)
        hash_text(checksum, *category);
    /* Whether an alarm is urgent is not published. */
    for (guint i = 0; i < memory->alarms->len; i++) {
        const EventAlarm *alarm = &g_array_index(memory->alarms, EventAlarm, i);
        hash_number(checksum, alarm->minutes_before);
        hash_text(checksum, alarm->text);
    }
    return g_strdup(g_checksum_get_string(checksum));
}

char *event_text_clean(const char *text)
{
    g_autofree char *valid = g_utf8_make_valid(text != NULL ? text : "", -1);
    GString *clean = g_string_sized_new(strlen(valid));

    for (const char *at = valid; *at != '\0'; at = g_utf8_next_char(at)) {
        gunichar c = g_utf8_get_char(at);
        /* The line ends of old files and of typesetting: CR, next line, line and paragraph. */
        if ((c == '\r' && at[1] != '\n') || c == 0x85 || c == 0x2028 || c == 0x2029)
            c = '\n';
        if (c == '\n' || c == '\t' || !g_unichar_iscntrl(c))
            g_string_append_unichar(clean, c);
    }
    return g_string_free(clean, FALSE);
}

char *event_name_clean(const char *name)
{
    return g_strdelimit(event_text_clean(name), ",;\\\t\n", ' ');
}
