/* SPDX-License-Identifier: MIT */
#include "service/api-sources.h"

#include <string.h>

#include "service/api-json.h"
#include "service/forecasts.h"
#include "weather/source.h"

char *api_source_words(const Service *service, int site)
{
    const WordingContext words = service_wording(service);
    const Forecast *forecast = forecasts_in_use(service->forecasts, site);
    if (forecast == NULL)
        return g_strdup("no forecast yet");
    g_autofree char *issued = wording_when(&words, site, forecast->issued_utc);
    return g_strdup_printf("%s, of %s", forecast->source, issued);
}

static bool is_in_use(const Service *service, int site, const SourceState *source)
{
    const Forecast *forecast = forecasts_in_use(service->forecasts, site);
    return forecast != NULL && strcmp(forecast->source, source->title) == 0;
}

/* "Open-Meteo is in trouble (HTTP 503); it is asked again at Wed 19:12" */
static void append_problem(GString *text, const Service *service, int site,
                           const SourceState *source)
{
    const WordingContext words = service_wording(service);
    const WeatherMemory *memory = source->memory;
    const int64_t next_utc = MAX(memory->next_utc, clock_now(service->clk));
    g_autofree char *next = wording_when(&words, site, next_utc);
    g_string_append_printf(text, "%s%s", text->len > 0 ? ". " : "", memory->problem);
    if (memory->failures > 1)
        g_string_append_printf(text, " (%d times in a row)", memory->failures);
    if (source->service)
        g_string_append_printf(text, "; asked again %s", next);
}

char *api_source_trouble(const Service *service, int site)
{
    const Sources *sources = forecasts_sources(service->forecasts, site);
    g_autoptr(GString) text = g_string_new(NULL);
    for (int i = 0; i < sources_n(sources); i++) {
        const SourceState source = sources_state(sources, i);
        if (i > 0 && is_in_use(service, site, &source)) {
            const SourceState first = sources_state(sources, 0);
            g_autofree char *instead =
                g_strdup_printf("it stands in for %s%s", first.title, text->len > 0 ? ". " : "");
            g_string_prepend(text, instead);
        }
        if (source.memory->problem != NULL)
            append_problem(text, service, site, &source);
        else if (source.memory->notice != NULL)
            g_string_append_printf(text, "%s%s", text->len > 0 ? ". " : "", source.memory->notice);
    }
    return text->len > 0 ? g_strdup(text->str) : NULL;
}

static JsonObject *source_object(const Service *service, int site, const SourceState *source)
{
    const WeatherMemory *memory = source->memory;
    JsonObject *object = json_object_new();
    api_set_text(object, "source", source->title);
    json_object_set_boolean_member(object, "in_use", is_in_use(service, site, source));
    json_object_set_boolean_member(object, "good", source->good);
    api_set_text(object, "problem", memory->problem);
    api_set_text(object, "notice", memory->notice);
    json_object_set_int_member(object, "failures", memory->failures);
    api_set_utc(object, "asked_utc", memory->asked_utc);
    api_set_utc(object, "good_utc", memory->good_utc);
    api_set_utc(object, "next_utc", source->service ? memory->next_utc : 0);
    return object;
}

JsonArray *api_sources(const Service *service, int site)
{
    const Sources *sources = forecasts_sources(service->forecasts, site);
    JsonArray *array = json_array_new();
    for (int i = 0; i < sources_n(sources); i++) {
        const SourceState source = sources_state(sources, i);
        json_array_add_object_element(array, source_object(service, site, &source));
    }
    return array;
}

/* (element-type utf8) Each once. */
static GPtrArray *credits_of(const Service *service, int site)
{
    GPtrArray *credits = g_ptr_array_new();
    for (int i = 0; i < service->garden->n_sites; i++) {
        const Forecast *forecast = forecasts_in_use(service->forecasts, i);
        const char *credit =
            forecast != NULL && (site < 0 || site == i) ? weather_credit(forecast->source) : NULL;
        if (credit != NULL && !g_ptr_array_find(credits, credit, NULL))
            g_ptr_array_add(credits, (gpointer)credit);
    }
    return credits;
}

JsonArray *api_credits(const Service *service, int site)
{
    g_autoptr(GPtrArray) credits = credits_of(service, site);
    JsonArray *array = json_array_new();
    for (guint i = 0; i < credits->len; i++)
        json_array_add_string_element(array, credits->pdata[i]);
    return array;
}

void api_write_credits(JsonText *to, const Service *service)
{
    g_autoptr(GPtrArray) credits = credits_of(service, -1);
    json_text_begin_array(to, "credits");
    for (guint i = 0; i < credits->len; i++)
        json_text_string(to, NULL, credits->pdata[i]);
    json_text_end_array(to);
}
