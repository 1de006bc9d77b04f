/* SPDX-License-Identifier: MIT */
#include "service/api-input.h"

#include <math.h>

#include "base/local-time.h"
#include "garden/config.h"
#include "service/api-day.h"
#include "service/wording-reading.h"

#define FROST_MOST_C 30.0
#define PAST_MAX_S (366 * 86400) /* how far back a grower may report; chosen */

gboolean api_refuse(GError **error, TholeError code, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    g_autofree char *message = g_strdup_vprintf(format, args);
    va_end(args);
    g_set_error_literal(error, THOLE_ERROR, (gint)code, message);
    return FALSE;
}

Batch *api_batch_named(const Service *service, const ControlRequest *request, const char *param,
                       int *ret_index, GError **error)
{
    return api_batch_called(service, control_param(request, param), ret_index, error);
}

Batch *api_batch_called(const Service *service, const char *name, int *ret_index, GError **error)
{
    const GArray *batches = service->current.batches;
    g_autoptr(GPtrArray) names = g_ptr_array_new();

    for (guint i = 0; i < batches->len; i++) {
        Batch *batch = &g_array_index(batches, Batch, i);
        if (g_str_equal(batch->name, name)) {
            if (ret_index != NULL)
                *ret_index = (int)i;
            return batch;
        }
        g_ptr_array_add(names, batch->name);
    }
    g_autofree char *shown = config_clip(name, NAME_SIZE);
    if (names->len == 0) {
        api_refuse(error, THOLE_ERROR_NOT_FOUND,
                   "no batch is called \"%s\"; there are no batches yet", shown);
        return NULL;
    }
    g_ptr_array_add(names, NULL);
    g_autofree char *hint = config_suggest("batches", name, (const char *const *)names->pdata);
    api_refuse(error, THOLE_ERROR_NOT_FOUND, "no batch is called \"%s\"; %s", shown, hint);
    return NULL;
}

/* "no place is called "shed"; did you mean …". */
static gboolean refuse_name(const Service *service, GError **error, TholeError code,
                            GardenThing thing, const char *what, const char *seen)
{
    g_autofree char *shown = config_clip(seen, NAME_SIZE);
    g_autofree char *hint = garden_suggest(service->garden, thing, seen);

    return api_refuse(error, code, "no %s is called \"%s\"; %s", what, shown, hint);
}

gboolean api_place_member(const Service *service, const ControlRequest *request, const char *name,
                          gboolean required, int *ret, GError **error)
{
    const char *text = NULL;

    if (!control_body_string(request, name, required, &text, error))
        return FALSE;
    if (text == NULL)
        return TRUE;
    int place = garden_find_place(service->garden, text);
    if (place < 0)
        return refuse_name(service, error, THOLE_ERROR_NOT_FOUND, GARDEN_PLACE, "place", text);
    *ret = place;
    return TRUE;
}

gboolean api_site_named(const Service *service, const char *name, int *ret, GError **error)
{
    int site = garden_find_site(service->garden, name);

    if (site < 0)
        return refuse_name(service, error, THOLE_ERROR_NOT_FOUND, GARDEN_SITE, "site", name);
    *ret = site;
    return TRUE;
}

gboolean api_container_member(const Service *service, const ControlRequest *request,
                              gboolean required, int *ret, GError **error)
{
    const char *text = NULL;

    if (!control_body_string(request, "container", required, &text, error))
        return FALSE;
    if (text == NULL)
        return TRUE;
    int container = garden_find_container(service->garden, text);
    if (container < 0)
        return refuse_name(service, error, THOLE_ERROR_INVALID, GARDEN_CONTAINER, "container",
                           text);
    *ret = container;
    return TRUE;
}

gboolean api_past_time(const Service *service, const ControlRequest *request, const char *name,
                       int site, int64_t *ret, GError **error)
{
    const int64_t now_utc = clock_now(service->clk);
    const WordingContext words = service_wording(service);
    int64_t at_utc = now_utc;

    if (!control_body_time(request, name, FALSE, service->zones[site], now_utc, &at_utc, error))
        return FALSE;
    if (at_utc > now_utc || at_utc < now_utc - PAST_MAX_S) {
        g_autofree char *when = wording_when(&words, site, at_utc);
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "%s: %s is %s; give a time of the last 366 days, up to now", name, when,
                          at_utc > now_utc ? "still to come" : "too long ago");
    }
    *ret = at_utc;
    return TRUE;
}

int64_t api_grid(int64_t utc)
{
    return utc - utc % STEP_S;
}

/* Trays that stand in a place; who they are is added to `who` (nullable). */
static int trays_in(const Service *service, int place, int except, GString *who)
{
    const GArray *batches = service->current.batches;
    int trays = 0;

    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        if (batch->place != place || batch->stage >= STAGE_PLANTED_OUT || (int)i == except ||
            batch->trays == 0)
            continue;
        trays += batch->trays;
        if (who != NULL)
            g_string_append_printf(who, "%s%s (%d)", who->len > 0 ? ", " : "", batch->name,
                                   batch->trays);
    }
    return trays;
}

gboolean api_has_room(const Service *service, int place, int trays, int except)
{
    const int capacity = service->garden->places[place].trays;

    return capacity < 0 || trays_in(service, place, except, NULL) + trays <= capacity;
}

gboolean api_check_room(const Service *service, int place, int trays, int except, const char *name,
                        GError **error)
{
    g_autoptr(GString) who = g_string_new(NULL);
    const Place *p = &service->garden->places[place];

    if (api_has_room(service, place, trays, except))
        return TRUE;
    int taken = trays_in(service, place, except, who);
    return api_refuse(error, THOLE_ERROR_CONFLICT,
                      "%s holds %d %s; %s needs %d, and %d %s taken%s%s", p->name, p->trays,
                      p->trays == 1 ? "tray" : "trays", name, trays, taken,
                      taken == 1 ? "is" : "are", taken > 0 ? ": " : "", who->str);
}

gboolean api_temperature_member(const Service *service, const ControlRequest *request,
                                const char *name, double least_c, double most_c, double *ret_c,
                                GError **error)
{
    const char *unit = service->garden->fahrenheit ? "F" : "C";

    if (!control_body_string(request, "unit", FALSE, &unit, error))
        return FALSE;
    gboolean fahrenheit = g_str_equal(unit, "F");
    if (!fahrenheit && !g_str_equal(unit, "C"))
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "unit: \"%.20s\" is not accepted; give C or F", unit);
    double least = fahrenheit ? least_c * 1.8 + 32.0 : least_c,
           most = fahrenheit ? most_c * 1.8 + 32.0 : most_c;
    double value = NAN;
    if (!control_body_double(request, name, TRUE, least, most, &value, error))
        return FALSE;
    *ret_c = fahrenheit ? (value - 32.0) / 1.8 : value;
    return TRUE;
}

gboolean api_frost_members(const Service *service, const ControlRequest *request, StoreWarning *ret,
                           GError **error)
{
    StoreWarning warning = {.heard_utc = clock_now(service->clk)};
    const char *name = NULL;
    int day = 0;

    if (!control_body_string(request, "site", TRUE, &name, error) ||
        !api_site_named(service, name, &warning.site, error) ||
        !control_body_day(request, "night", TRUE, service->zones[warning.site], warning.heard_utc,
                          &day, error) ||
        !api_temperature_member(service, request, "low", READING_LEAST_C, FROST_MOST_C,
                                &warning.low_c, error))
        return FALSE;
    const int first = api_tonight(service, warning.site),
              last = api_today(service, warning.site) + SERVICE_HORIZON_D - 1;
    if (day < first || day > last) {
        g_autofree char *date = api_day_short(day);
        g_autofree char *from = local_day_format(first), *to = local_day_format(last);
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "night: %s is %s; give a day from %s to %s, on which the night begins",
                          date, day < first ? "over" : "too far ahead", from, to);
    }
    warning.night_day = day;
    *ret = warning;
    return TRUE;
}
