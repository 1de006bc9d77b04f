/* SPDX-License-Identifier: MIT */
#include "base/log.h"

#include "base/names.h"

#include <stdarg.h>

#define PRIORITY_WARNING "4" /* syslog(3) */
#define PRIORITY_INFO "6"

typedef struct Rate {
    gint64 window_start_us; /* CLOCK_MONOTONIC */
    guint written;
    guint left_out;
} Rate;

static GMutex rates_lock;
static GHashTable *rates; /* (owned) message -> Rate; as many as the program has messages */

/* Whether the message may be written now, and how many of its kind were left out before it. */
static gboolean rate_allows(const char *topic, const char *format, guint *ret_left_out)
{
    g_autoptr(GMutexLocker) locker = g_mutex_locker_new(&rates_lock);
    g_autofree char *key = g_strconcat(topic, "\n", format, NULL);
    const gint64 now_us = g_get_monotonic_time();

    if (!rates)
        rates = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
    Rate *rate = g_hash_table_lookup(rates, key);
    if (!rate) {
        rate = g_new0(Rate, 1);
        rate->window_start_us = now_us;
        g_hash_table_insert(rates, g_steal_pointer(&key), rate);
    }
    if (now_us - rate->window_start_us >= LOG_WINDOW_S * G_USEC_PER_SEC) {
        *ret_left_out = rate->left_out;
        *rate = (Rate){.window_start_us = now_us, .written = 1};
        return TRUE;
    }
    if (rate->written == LOG_BURST) {
        rate->left_out++;
        return FALSE;
    }
    rate->written++;
    *ret_left_out = 0;
    return TRUE;
}

/*
 * GLib's level is the same for all: its "warning" is for faults in the program, and G_DEBUG makes
 * it fatal in tests. How grave a line is, its PRIORITY tells.
 */
static void G_GNUC_PRINTF(4, 0) log_line(const char *priority, const char *topic,
                                         const char *object, const char *format, va_list args)
{
    guint left_out;

    if (!rate_allows(topic, format, &left_out))
        return;

    g_autoptr(GString) line = g_string_new(topic);
    if (object)
        g_string_append_printf(line, " %s", object);
    g_string_append(line, ": ");
    g_string_append_vprintf(line, format, args);
    if (left_out > 0)
        g_string_append_printf(line, " (%u like it were left out)", left_out);

    const GLogField fields[] = {
        {"MESSAGE", line->str, -1},
        {"PRIORITY", priority, -1},
        {"GLIB_DOMAIN", NAME_PROGRAM, -1},
        {NAME_LOG_TOPIC, topic, -1},
        {NAME_LOG_OBJECT, object ? object : "", -1},
    };
    g_log_structured_array(G_LOG_LEVEL_MESSAGE, fields, G_N_ELEMENTS(fields));
}

void log_info(const char *topic, const char *object, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    log_line(PRIORITY_INFO, topic, object, format, args);
    va_end(args);
}

void log_warning(const char *topic, const char *object, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    log_line(PRIORITY_WARNING, topic, object, format, args);
    va_end(args);
}
