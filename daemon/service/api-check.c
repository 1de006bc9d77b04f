/* SPDX-License-Identifier: MIT */
/* Who answers, whether all is well, the calendar, and the record as a whole. */
#include "calendar/event.h"
#include "service/api-channels.h"
#include "service/api-day.h"
#include "service/api-feed.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/api-outlets.h"
#include "service/api-sources.h"
#include "service/desktop.h"
#include "service/forecasts.h"
#include "service/outlets.h"
#include "service/post.h"
#include "service/wording-news.h"
#include "store/store-export.h"

#define PLAN_OLD_S (25 * 3600) /* at least one plan is made each midnight */

static JsonNode *get_hello(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    const ControlHello hello = {.garden = service->options.config_path,
                                .is_virtual = service->options.virtual_clock,
                                .now_utc = clock_now(service->clk)};

    return control_reject_rest(request, error) ? control_hello_node(&hello) : NULL;
}

/* ---- check ---- */

typedef struct Findings {
    JsonArray *items;
    gboolean problem;
} Findings;

typedef enum Level { LEVEL_OK, LEVEL_WARNING, LEVEL_PROBLEM } Level;

/* Takes `text` over; gives the item, which `findings` own. */
static JsonObject *add_item(Findings *findings, const char *name, const char *object, Level level,
                            char *text)
{
    static const char *const levels[] = {"ok", "warning", "problem"};
    JsonObject *item = json_object_new();

    api_set_text(item, "name", name);
    api_set_text(item, "object", object);
    api_set_text(item, "level", levels[level]);
    api_take_text(item, "text", text);
    json_object_set_null_member(item, "sources");
    json_object_set_null_member(item, "channel");
    json_array_add_object_element(findings->items, item);
    findings->problem = findings->problem || level == LEVEL_PROBLEM;
    return item;
}

static void check_files(const Service *service, Findings *findings)
{
    const WordingContext words = service_wording(service);
    g_autofree char *read = wording_when(&words, 0, service->config_read_utc);

    if (service->config_problem != NULL)
        add_item(findings, "config", service->options.config_path, LEVEL_PROBLEM,
                 g_strdup_printf(
                     "%s; the garden stays as it was. Mend the file: it is read again by itself.",
                     service->config_problem));
    else
        add_item(findings, "config", service->options.config_path, LEVEL_OK,
                 g_strdup_printf("read %s: %d places", read, service->garden->n_places));
    add_item(findings, "crops", NULL, LEVEL_OK, g_strdup_printf("%d crops", service->crops->n));
    if (service->store_problem != NULL)
        add_item(findings, "store", NULL, LEVEL_PROBLEM, g_strdup(service->store_problem));
    else
        add_item(findings, "store", NULL, LEVEL_OK,
                 g_strdup_printf("open, %u living %s", service->current.batches->len,
                                 service->current.batches->len == 1 ? "batch" : "batches"));
}

static char *forecast_words(const Service *service, int site, Level *ret_level)
{
    const SiteWeather *weather = service->weather != NULL ? &service->weather[site] : NULL;
    const char *note = service_weather_note(service, site);
    g_autofree char *used = api_source_words(service, site);
    g_autofree char *trouble = api_source_trouble(service, site);

    if (weather == NULL || weather->quality == WEATHER_MISSING) {
        *ret_level = LEVEL_PROBLEM;
        return g_strdup_printf(
            "%s%s%s. Watch the local forecast, and tell tholed with: tholectl frost",
            note != NULL ? note : "no forecast", trouble != NULL ? ". " : "",
            trouble != NULL ? trouble : "");
    }
    const gboolean is_old = weather->quality == WEATHER_OLD;
    *ret_level = is_old || trouble != NULL ? LEVEL_WARNING : LEVEL_OK;
    return g_strdup_printf(
        "%s%s%s%s", used,
        is_old ? ", over a day old; plans are more cautious until a new one comes" : "",
        trouble != NULL ? "; " : "", trouble != NULL ? trouble : "");
}

static void check_forecasts(const Service *service, Findings *findings)
{
    for (int site = 0; site < service->garden->n_sites; site++) {
        Level level;
        char *text = forecast_words(service, site, &level);
        JsonObject *item =
            add_item(findings, "forecast", service->garden->sites[site].name, level, text);
        json_object_set_array_member(item, "sources", api_sources(service, site));
    }
}

static void check_clock(const Service *service, Findings *findings)
{
    const int64_t now_utc = clock_now(service->clk);
    const WordingContext words = service_wording(service);
    g_autofree char *now = wording_when(&words, 0, now_utc);

    if (service->settled.as_of_utc > now_utc)
        add_item(
            findings, "clock", NULL, LEVEL_PROBLEM,
            g_strdup_printf("%s is before what is already recorded; set the clock right", now));
    else if (service->options.virtual_clock)
        add_item(findings, "clock", NULL, LEVEL_WARNING,
                 g_strdup_printf("%s, a virtual clock: a rehearsal", now));
    else
        add_item(findings, "clock", NULL, LEVEL_OK, g_steal_pointer(&now));
}

static void check_delivery(const Service *service, Findings *findings)
{
    if (service->options.calendar_path == NULL)
        add_item(findings, "calendar", NULL, LEVEL_WARNING,
                 g_strdup("no calendar file is written"));
    else if (service->calendar_problem != NULL)
        add_item(findings, "calendar", service->options.calendar_path, LEVEL_PROBLEM,
                 g_strdup(service->calendar_problem));
    else
        add_item(findings, "calendar", service->options.calendar_path, LEVEL_OK,
                 g_strdup("written"));
    gboolean well = FALSE;
    char *feed = api_feed_words(service, &well);
    if (feed != NULL)
        add_item(findings, "feed", NULL, well ? LEVEL_OK : LEVEL_WARNING, feed);
}

/* The calendars of thole.conf, by their names there. */
static void check_outlets(const Service *service, Findings *findings)
{
    static const Level levels[] = {LEVEL_OK, LEVEL_WARNING, LEVEL_PROBLEM};

    for (guint i = 0; i < outlets_count(service->outlets); i++) {
        int level;
        char *text = outlets_words(service->outlets, i, &level);
        add_item(findings, "calendar", outlets_view(service->outlets, i).setup->name, levels[level],
                 text);
    }
}

static gboolean check_desktop(const Service *service, Findings *findings)
{
    DesktopHealth health;
    char *text = desktop_words(service->desktop, &health);

    add_item(findings, "desktop", NULL, health == DESKTOP_TROUBLE ? LEVEL_WARNING : LEVEL_OK, text);
    return health == DESKTOP_WELL;
}

static void check_channels(const Service *service, Findings *findings)
{
    const guint missed = post_sends(service->post) ? post_missed(service->post) : 0;

    for (int i = 0; i < service->garden->n_channels; i++) {
        char *text;
        gboolean good;
        JsonObject *channel = api_channel(service, i, &text, &good);
        JsonObject *item = add_item(findings, "channel", service->garden->channels[i].name,
                                    good ? LEVEL_OK : LEVEL_WARNING, text);
        json_object_set_object_member(item, "channel", channel);
    }
    if (missed > 0)
        add_item(findings, "delivery", NULL, LEVEL_WARNING, wording_missed(missed));
}

/* Two ways to be reminded are well; one is a warning, since a phone may see a change late. */
static void check_growers(const Service *service, gboolean desktop, Findings *findings)
{
    for (int g = 0; g < service->garden->n_growers; g++) {
        gboolean good;
        char *text = api_delivery(service, g, desktop, &good);
        add_item(findings, "delivery", service->garden->growers[g].name,
                 good ? LEVEL_OK : LEVEL_WARNING, text);
    }
}

/* How near the choice of the next days is to the best there is; docs/plan.md, "The gap". */
static void count_proofs(const Plan *plan, int *ret_near, int *ret_proved)
{
    *ret_near = *ret_proved = 0;
    for (int i = 0; i < plan->n_proofs; i++) {
        *ret_near += plan->proofs[i].near;
        *ret_proved += plan->proofs[i].near && plan->proofs[i].proved;
    }
}

/* When the plan was made, and how good it is for the next days that somebody can be at a site. */
static char *plan_text(const Service *service)
{
    const WordingContext words = service_wording(service);
    g_autofree char *made = wording_when(&words, 0, service->planned_utc);
    int near, proved;

    count_proofs(&service->plan, &near, &proved);
    if (near == 0)
        return g_strdup_printf("made %s", made);
    if (proved == near)
        return g_strdup_printf("made %s; for the next days proved the best there is", made);
    return g_strdup_printf(
        "made %s; proved the best there is for %d of the next %d days at a site, "
        "for the others at most %.1f batch-days from it",
        made, proved, near, service->plan.gap);
}

static void set_proof(const Service *service, JsonObject *object)
{
    int near, proved;

    count_proofs(&service->plan, &near, &proved);
    if (service->plans == 0 || near == 0) {
        json_object_set_null_member(object, "proof");
        return;
    }
    JsonObject *proof = json_object_new();
    json_object_set_int_member(proof, "near", near);
    json_object_set_int_member(proof, "proved", proved);
    json_object_set_double_member(proof, "gap_batch_days", service->plan.gap);
    json_object_set_double_member(proof, "later_gap_batch_days", service->plan.later_gap);
    json_object_set_object_member(object, "proof", proof);
}

/* The first limit that no visit keeps, with its batch: " The leaves of …"; nothing without one. */
static char *first_breach(const Service *service, const WordingContext *words)
{
    const Reason *first = NULL;

    for (int i = 0; i < service->plan.n_breaches; i++) {
        const Reason *reason = &service->plan.breaches[i];
        if (first == NULL || reason->at_utc < first->at_utc)
            first = reason;
    }
    if (first == NULL)
        return g_strdup("");
    g_autofree char *text = wording_reason_plain(words, first, api_site_of(service, first->place));
    return g_strconcat(" ", text, NULL);
}

static void check_plan(const Service *service, Findings *findings)
{
    const WordingContext words = service_wording(service);
    const int64_t now_utc = clock_now(service->clk);
    g_autofree char *made = wording_when(&words, 0, service->planned_utc);

    if (service->plans == 0)
        add_item(findings, "plan", NULL, LEVEL_PROBLEM, g_strdup("none has been made yet"));
    else if (now_utc - service->planned_utc > PLAN_OLD_S)
        add_item(findings, "plan", NULL, LEVEL_PROBLEM,
                 g_strdup_printf("the last one was made %s", made));
    else if (service->plan.outlooks != NULL && !service->plan.within_limits) {
        g_autofree char *breach = first_breach(service, &words);
        add_item(findings, "plan", NULL, LEVEL_WARNING,
                 g_strdup_printf("made %s: no visit keeps every batch within its limits.%s "
                                 "What can be done is in tholectl week",
                                 made, breach));
    } else
        add_item(findings, "plan", NULL, LEVEL_OK, plan_text(service));
}

static JsonNode *get_check(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;

    if (!control_reject_rest(request, error))
        return NULL;
    Findings findings = {.items = json_array_new()};
    check_files(service, &findings);
    check_forecasts(service, &findings);
    check_clock(service, &findings);
    check_delivery(service, &findings);
    check_outlets(service, &findings);
    const gboolean desktop = check_desktop(service, &findings);
    check_channels(service, &findings);
    check_growers(service, desktop, &findings);
    check_plan(service, &findings);
    JsonObject *object = json_object_new();
    json_object_set_boolean_member(object, "ok", !findings.problem);
    json_object_set_array_member(object, "items", findings.items);
    set_proof(service, object);
    json_object_set_array_member(object, "credits", api_credits(service, -1));
    return api_reply(object);
}

/* ---- calendar ---- */

static int find_site(const Service *service, const char *location)
{
    const int site = location != NULL ? garden_find_site(service->garden, location) : -1;

    return MAX(site, 0);
}

static guint jobs_of(const Service *service, const char *visit_id)
{
    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *visit = service->visits->pdata[i];
        if (g_str_equal(visit->visit.id, visit_id))
            return visit->jobs->len;
    }
    return 0;
}

static JsonObject *event_object(const Service *service, const EventMemory *event)
{
    const WordingContext words = service_wording(service);
    const int site = find_site(service, event->location);
    g_autofree char *from = wording_when(&words, site, event->start_utc);
    g_autofree char *to = api_clock(service, site, event->end_utc);
    JsonObject *object = json_object_new();

    api_set_text(object, "uid", event->uid);
    api_set_text(object, "summary", event->summary);
    api_set_text(object, "site",
                 event->location != NULL && *event->location != '\0' ? event->location : NULL);
    api_set_utc(object, "start_utc", event->start_utc);
    api_set_utc(object, "end_utc", event->end_utc);
    api_take_text(object, "when", g_strdup_printf("%s–%s", from, to));
    api_set_text(object, "status", event->cancelled ? "CANCELLED" : "CONFIRMED");
    json_object_set_int_member(object, "sequence", event->sequence);
    json_object_set_int_member(object, "jobs", jobs_of(service, event->visit_id));
    return object;
}

static gint by_start(gconstpointer a, gconstpointer b)
{
    const EventMemory *x = *(EventMemory *const *)a, *y = *(EventMemory *const *)b;

    return x->start_utc < y->start_utc ? -1 : x->start_utc > y->start_utc;
}

JsonNode *api_calendar(const Service *service)
{
    const WordingContext words = service_wording(service);
    g_autofree char *made = wording_when(&words, 0, service->planned_utc);
    g_autoptr(GPtrArray) shown = g_ptr_array_new();
    const char *path = service->options.calendar_path;

    for (guint i = 0; i < service->memory->len; i++)
        if (event_memory_is_shown(service->memory->pdata[i]))
            g_ptr_array_add(shown, service->memory->pdata[i]);
    g_ptr_array_sort(shown, by_start);
    JsonArray *events = json_array_new();
    for (guint i = 0; i < shown->len; i++)
        json_array_add_object_element(events, event_object(service, shown->pdata[i]));
    JsonObject *object = json_object_new();
    api_set_text(object, "file", path);
    if (path == NULL)
        api_set_text(object, "text", "No file is written.");
    else if (service->calendar_problem != NULL)
        api_take_text(object, "text",
                      g_strdup_printf("The file was not written: %s", service->calendar_problem));
    else
        api_take_text(
            object, "text",
            g_strdup_printf("%s%s%sImport the file, or let your calendar program follow it; a "
                            "phone may see a change late.",
                            *made != '\0' ? "As of " : "", made, *made != '\0' ? ". " : ""));
    json_object_set_array_member(object, "events", events);
    json_object_set_array_member(object, "outlets", api_outlets(service));
    json_object_set_member(object, "feed", api_feed(service));
    return api_reply(object);
}

static JsonNode *get_calendar(const ControlRequest *request, gpointer data, GError **error)
{
    return control_reject_rest(request, error) ? api_calendar(data) : NULL;
}

/* ---- export ---- */

static JsonNode *get_export(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;

    if (!control_reject_rest(request, error))
        return NULL;
    g_autofree char *text = store_export(service->store, error);
    return text != NULL ? json_from_string(text, error) : NULL;
}

void api_add_check(Service *service, Control *control)
{
    control_add(control, "GET", "/v1/", get_hello, service);
    control_add(control, "GET", "/v1/check", get_check, service);
    control_add(control, "GET", "/v1/calendar", get_calendar, service);
    control_add(control, "GET", "/v1/export", get_export, service);
}
