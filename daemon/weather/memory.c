/* SPDX-License-Identifier: MIT */
#include "weather/memory.h"

#include <gio/gio.h>

WeatherMemory *weather_memory_new(void)
{
    return g_new0(WeatherMemory, 1);
}

WeatherMemory *weather_memory_copy(const WeatherMemory *memory)
{
    WeatherMemory *copy = g_memdup2(memory, sizeof *memory);
    copy->what = g_strdup(memory->what);
    copy->problem = g_strdup(memory->problem);
    copy->notice = g_strdup(memory->notice);
    copy->last_modified = g_strdup(memory->last_modified);
    return copy;
}

void weather_memory_free(WeatherMemory *memory)
{
    if (memory == NULL)
        return;
    g_free(memory->what);
    g_free(memory->problem);
    g_free(memory->notice);
    g_free(memory->last_modified);
    g_free(memory);
}

int64_t weather_memory_next_utc(const WeatherMemory *memory, const char *what, int64_t now_utc)
{
    /* Asked in the future: the clock was wrong then. */
    if (g_strcmp0(memory->what, what) != 0 || memory->asked_utc > now_utc)
        return now_utc;
    return MIN(memory->next_utc, memory->asked_utc + WEATHER_TOLD_MAX_S + 2 * WEATHER_ASK_SPREAD_S);
}

/* Whole seconds, never the same ones on two machines. */
static int64_t spread_s(void)
{
    return g_random_int_range(1, WEATHER_ASK_SPREAD_S + 1);
}

void weather_memory_begin(WeatherMemory *memory, const char *what, int64_t now_utc)
{
    if (g_strcmp0(memory->what, what) != 0) {
        g_free(memory->what);
        memory->what = g_strdup(what);
        g_clear_pointer(&memory->last_modified, g_free);
        g_clear_pointer(&memory->problem, g_free);
        g_clear_pointer(&memory->notice, g_free);
        memory->failures = 0;
        memory->good_utc = 0;
    }
    memory->asked_utc = now_utc;
    memory->next_utc = now_utc + WEATHER_ASK_S + spread_s();
    memory->told_utc = 0;
}

/* The name was not found, or there is no way out of this network: no server heard of it. */
static bool is_offline(const GError *error)
{
    return error->domain == G_RESOLVER_ERROR ||
           g_error_matches(error, G_IO_ERROR, G_IO_ERROR_NETWORK_UNREACHABLE) ||
           g_error_matches(error, G_IO_ERROR, G_IO_ERROR_HOST_UNREACHABLE);
}

void weather_memory_end(WeatherMemory *memory, const GError *error, int64_t now_utc)
{
    int64_t wait_s = WEATHER_ASK_S;
    g_clear_pointer(&memory->problem, g_free);
    if (error == NULL) {
        memory->failures = 0;
        memory->good_utc = now_utc;
    } else {
        memory->problem = g_strdup(error->message);
        g_clear_pointer(&memory->notice, g_free);
        memory->failures = MIN(memory->failures + 1, 1000);
        if (is_offline(error))
            wait_s = WEATHER_OFFLINE_S;
        else
            wait_s =
                memory->failures > 3 ? WEATHER_BACKOFF_S : WEATHER_ASK_S << (memory->failures - 1);
    }
    int64_t told_utc = MIN(memory->told_utc, now_utc + WEATHER_TOLD_MAX_S);
    memory->next_utc = MAX(memory->asked_utc + wait_s, told_utc) + spread_s();
    memory->told_utc = 0;
}
