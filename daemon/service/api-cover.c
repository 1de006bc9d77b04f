/* SPDX-License-Identifier: MIT */
/* `cover`: the grower set a cover, whether or not a job asked for it. */
#include "garden/config.h"
#include "service/api-change.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/api-report.h"
#include "service/jobs.h"
#include "store/store-garden-events.h"

typedef struct CoverSet {
    int place, position;
    int64_t at_utc;
} CoverSet;

static gboolean find_place(const Service *service, const ControlRequest *request, int *ret,
                           GError **error)
{
    const char *name = control_param(request, "name");
    const int place = garden_find_place(service->garden, name);

    if (place < 0) {
        g_autofree char *shown = config_clip(name, NAME_SIZE);
        g_autofree char *hint = garden_suggest(service->garden, GARDEN_PLACE, name);
        return api_refuse(error, THOLE_ERROR_NOT_FOUND, "no place is called \"%s\"; %s", shown,
                          hint);
    }
    const Place *p = &service->garden->places[place];
    if (!p->covered)
        return api_refuse(error, THOLE_ERROR_CONFLICT, "%s has no cover that could be set",
                          p->name);
    if (p->cover.n_positions == 1)
        return api_refuse(error, THOLE_ERROR_CONFLICT, "the cover of %s is fixed: it stays %s",
                          p->name, p->cover.positions[0].name);
    *ret = place;
    return TRUE;
}

/* Without blanks and capitals; a number alone is in cm. The caller owns it. */
static char *bare(const char *name)
{
    g_autofree char *lower = g_utf8_strdown(name, -1);
    g_autoptr(GString) text = g_string_new(NULL);

    for (const char *p = lower; *p != '\0'; p = g_utf8_next_char(p))
        if (!g_unichar_isspace(g_utf8_get_char(p)))
            g_string_append_unichar(text, g_utf8_get_char(p));
    if (text->len > 0 && strspn(text->str, "0123456789.") == text->len)
        g_string_append(text, "cm");
    return g_strdup(text->str);
}

static gboolean find_position(const Place *place, const char *text, int *ret, GError **error)
{
    g_autofree char *wanted = bare(text);
    g_autoptr(GPtrArray) names = g_ptr_array_new();

    for (int i = 0; i < place->cover.n_positions; i++) {
        const char *name = place->cover.positions[i].name;
        g_autofree char *known = bare(name);
        if (g_str_equal(known, wanted)) {
            *ret = i;
            return TRUE;
        }
        g_ptr_array_add(names, (char *)name);
    }
    g_ptr_array_add(names, NULL);
    g_autofree char *shown = config_clip(text, NAME_SIZE);
    g_autofree char *hint = config_suggest("positions", wanted, (const char *const *)names->pdata);
    return api_refuse(error, THOLE_ERROR_INVALID, "position: %s has no \"%s\"; %s", place->name,
                      shown, hint);
}

/* What the record has of it after that time. */
static gboolean tell_later(const Service *service, const CoverSet *set, GString *text,
                           GError **error)
{
    const Place *place = &service->garden->places[set->place];
    const WordingContext words = service_wording(service);
    g_autoptr(GArray) history = NULL;

    if (!store_load_position_history(service->store, service->garden, set->at_utc, &history, error))
        return FALSE;
    for (guint i = 0; i < history->len; i++) {
        const StorePosition *p = &g_array_index(history, StorePosition, i);
        if (p->place != set->place || p->from_utc <= set->at_utc || p->position < 0)
            continue;
        g_autofree char *when = wording_when(&words, place->site, p->from_utc);
        g_string_append_printf(text, " After that: %s since %s.",
                               place->cover.positions[p->position].name, when);
    }
    return TRUE;
}

static gboolean write_cover(Service *service, gpointer change, GError **error)
{
    const CoverSet *set = change;

    return jobs_cover_set(service, set->place, set->position, set->at_utc, error);
}

static JsonNode *post_cover(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    const WordingContext words = service_wording(service);
    const char *position = NULL;
    CoverSet set = {0};
    int64_t at_utc = 0;

    if (!find_place(service, request, &set.place, error) ||
        !control_body_string(request, "position", TRUE, &position, error))
        return NULL;
    const Place *place = &service->garden->places[set.place];
    if (!find_position(place, position, &set.position, error) ||
        !api_past_time(service, request, "at", place->site, &at_utc, error) ||
        !control_reject_rest(request, error))
        return NULL;
    g_autoptr(GString) text = g_string_new(place->name);
    g_autofree char *when = wording_when(&words, place->site, at_utc);
    set.at_utc = api_grid(at_utc);
    text->str[0] = g_ascii_toupper(text->str[0]);
    g_string_append_printf(text, ": %s since %s.", place->cover.positions[set.position].name, when);
    const Job what = {
        .kind = JOB_SET_COVER, .batch = -1, .place = set.place, .position = set.position};
    if (api_report_asking(service, request, &what, at_utc, text->str, error))
        return NULL;
    if (!tell_later(service, &set, text, error))
        return NULL;
    g_autoptr(ApiBefore) before = api_before_new(service);
    if (!api_commit(service, write_cover, &set, error))
        return NULL;
    const ApiDone done = {.trigger = "cover set", .text = text->str};
    return api_done(service, request, g_steal_pointer(&before), &done);
}

void api_add_cover(Service *service, Control *control)
{
    control_add(control, "POST", "/v1/places/{name}/cover", post_cover, service);
}
