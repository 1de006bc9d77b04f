/* SPDX-License-Identifier: MIT */
/* `water`: the grower watered a batch, or all that stands in a place, whether or not a job asked.
 */
#include "garden/config.h"
#include "service/api-change.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-report.h"
#include "service/jobs.h"

typedef struct Watered {
    int place, batch; /* batch -1: all that stands in the place */
    int64_t at_utc;
} Watered;

/* A batch of that name, else a place. */
static gboolean find_subject(const Service *service, const char *name, Watered *ret, GError **error)
{
    int index = -1;
    const Batch *batch = state_find_batch(&service->current, name, &index);

    if (batch != NULL) {
        *ret = (Watered){.place = batch->place, .batch = index};
        return TRUE;
    }
    const int place = garden_find_place(service->garden, name);
    if (place < 0) {
        g_autofree char *shown = config_clip(name, NAME_SIZE);
        g_autofree char *hint = garden_suggest(service->garden, GARDEN_PLACE, name);
        return api_refuse(error, THOLE_ERROR_NOT_FOUND, "no batch or place is called \"%s\"; %s",
                          shown, hint);
    }
    *ret = (Watered){.place = place, .batch = -1};
    for (guint i = 0; i < service->current.batches->len; i++)
        if (g_array_index(service->current.batches, Batch, i).place == place)
            return TRUE;
    return api_refuse(error, THOLE_ERROR_CONFLICT, "nothing stands in %s", name);
}

static gboolean write_watering(Service *service, gpointer change, GError **error)
{
    const Watered *w = change;

    return jobs_water(service, w->place, w->batch, w->at_utc, error);
}

static JsonNode *post_watering(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    const WordingContext words = service_wording(service);
    const char *name = NULL;
    Watered watered = {.batch = -1};
    int64_t at_utc = 0;

    if (!control_body_string(request, "of", TRUE, &name, error) ||
        !find_subject(service, name, &watered, error))
        return NULL;
    const int site = service->garden->places[watered.place].site;
    if (!api_past_time(service, request, "at", site, &at_utc, error) ||
        !control_reject_rest(request, error))
        return NULL;
    watered.at_utc = api_grid(at_utc);
    g_autofree char *when = wording_when(&words, site, at_utc);
    g_autofree char *text = g_strdup_printf("%s watered %s.", name, when);
    text[0] = g_ascii_toupper(text[0]);
    const Job what = {.kind = JOB_WATER, .batch = -1, .place = watered.place};
    if (watered.batch < 0 && api_report_asking(service, request, &what, at_utc, text, error))
        return NULL;
    g_autoptr(ApiBefore) before = api_before_new(service);
    if (!api_commit(service, write_watering, &watered, error))
        return NULL;
    const ApiDone done = {.trigger = "watered", .text = text};
    return api_done(service, request, g_steal_pointer(&before), &done);
}

void api_add_water(Service *service, Control *control)
{
    control_add(control, "POST", "/v1/waterings", post_watering, service);
}
