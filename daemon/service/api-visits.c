/* SPDX-License-Identifier: MIT */
/* Visits that the grower sets, leaves out or offers by hand; what was said of visits anywhere. */
#include <string.h>

#include "service/api-change.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/edits.h"
#include "service/wishes.h"

#define ANSWERS_S (2 * 86400) /* answers are listed so long; as told by today */

static const char *const kind_words[] = {"fixed", "dropped", "offered"};

/* ---- list ---- */

static JsonObject *visit_object(const Service *s, const OpenVisit *open)
{
    const WordingContext words = service_wording(s);
    JsonObject *object = json_object_new();
    JsonArray *jobs = json_array_new();

    for (guint i = 0; i < open->jobs->len; i++) {
        const OpenJob *job = &g_array_index(open->jobs, OpenJob, i);
        if (job->state == STORE_JOB_PLANNED)
            json_array_add_int_element(jobs, job->handle);
    }
    api_set_text(object, "id", open->visit.id);
    api_set_text(object, "site", s->garden->sites[open->visit.site].name);
    api_set_text(object, "grower", s->garden->growers[open->visit.grower].name);
    api_set_utc(object, "start_utc", open->visit.start_utc);
    api_take_text(object, "when", wording_when(&words, open->visit.site, open->visit.start_utc));
    json_object_set_boolean_member(object, "fixed", open->visit.fixed);
    json_object_set_boolean_member(object, "begun", open->begun);
    json_object_set_array_member(object, "jobs", jobs);
    return object;
}

static JsonObject *wish_object(const Service *s, const StoreWish *wish)
{
    const WordingContext words = service_wording(s);
    JsonObject *object = json_object_new();

    json_object_set_int_member(object, "number", wish->n);
    api_set_text(object, "kind", kind_words[wish->kind]);
    api_set_text(object, "site", s->garden->sites[wish->site].name);
    api_set_text(object, "grower", s->garden->growers[wish->grower].name);
    api_set_utc(object, "start_utc", wish->start_utc);
    api_set_utc(object, "end_utc", wish->end_utc);
    json_object_set_boolean_member(object, "calendar", wish->uid[0] != '\0');
    api_take_text(
        object, "text",
        wording_edit_list(&words, wish->kind, wish->site, wish->start_utc, wish->end_utc));
    api_set_text(object, "cost", wish->cost);
    return object;
}

static JsonNode *get_visits(const ControlRequest *request, gpointer data, GError **error)
{
    const Service *s = data;
    g_autoptr(GArray) wishes = NULL, answers = NULL;

    if (!control_reject_rest(request, error) || !wishes_load(s, &wishes, error) ||
        !store_load_answers(s->store, clock_now(s->clk) - ANSWERS_S, &answers, error))
        return NULL;
    JsonObject *object = json_object_new();
    JsonArray *visits = json_array_new(), *said = json_array_new(), *told = json_array_new();
    for (guint i = 0; i < s->visits->len; i++)
        json_array_add_object_element(visits, visit_object(s, s->visits->pdata[i]));
    for (guint i = 0; i < wishes->len; i++) {
        const StoreWish *wish = &g_array_index(wishes, StoreWish, i);
        if (wish->site >= 0 && wish->grower >= 0)
            json_array_add_object_element(said, wish_object(s, wish));
    }
    for (guint i = 0; i < answers->len; i++) {
        const StoreAnswer *answer = &g_array_index(answers, StoreAnswer, i);
        JsonObject *one = json_object_new();
        api_set_utc(one, "at_utc", answer->at_utc);
        json_object_set_boolean_member(one, "refused", answer->refused);
        api_set_text(one, "text", answer->text);
        json_array_add_object_element(told, one);
    }
    json_object_set_array_member(object, "visits", visits);
    json_object_set_array_member(object, "wishes", said);
    json_object_set_array_member(object, "answers", told);
    return api_reply(object);
}

/* ---- changes ---- */

/* What is asked for. */
typedef struct Change {
    StoreWishKind kind;
    Visit visit;
    OpenVisit *open;
    int64_t from_utc, to_utc;
    char *refused; /* (owned) (nullable) */
} Change;

static gboolean write_change(Service *s, gpointer data, GError **error)
{
    Change *c = data;
    const Visit *v = &c->visit;
    gboolean kept = FALSE;

    switch (c->kind) {
    case STORE_WISH_FIXED:
        kept = wishes_fix(s, v, c->open, c->to_utc, "", &c->refused, error);
        break;
    case STORE_WISH_DROPPED:
        kept = wishes_drop(s, v, c->open, "", &c->refused, error);
        break;
    case STORE_WISH_OFFERED:
        kept = wishes_offer(s, v->grower, v->site, c->from_utc, c->to_utc, "", &c->refused, error);
        break;
    }
    if (!kept || c->refused == NULL)
        return kept;
    c->refused[strlen(c->refused) - 1] = '\0'; /* its full stop */
    return api_refuse(error, THOLE_ERROR_CONFLICT, "%s", c->refused);
}

/* The visit of a job by its number, else the next one to a site. */
static gboolean read_visit(const Service *s, const ControlRequest *request, Change *ret,
                           GError **error)
{
    const char *name = NULL;
    int64_t handle = 0;
    int site = -1;

    if (!control_body_int(request, "job", FALSE, 1, G_MAXINT32, &handle, error) ||
        !control_body_string(request, "site", FALSE, &name, error) ||
        (name != NULL && !api_site_named(s, name, &site, error)))
        return FALSE;
    if ((handle == 0) == (name == NULL))
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "give job, the number of a job of the visit, or site, for the next visit "
                          "there");
    for (guint i = 0; i < s->visits->len && ret->open == NULL; i++) {
        OpenVisit *open = s->visits->pdata[i];
        if (site >= 0 && open->visit.site == site && !open->begun)
            ret->open = open;
        for (guint k = 0; handle > 0 && k < open->jobs->len; k++)
            if (g_array_index(open->jobs, OpenJob, k).handle == handle)
                ret->open = open;
    }
    if (ret->open == NULL)
        return name != NULL ? api_refuse(error, THOLE_ERROR_NOT_FOUND,
                                         "no visit to %s is to come; tholectl visit list", name)
                            : api_refuse(error, THOLE_ERROR_NOT_FOUND,
                                         "no open job has the number %d; tholectl week lists them",
                                         (int)handle);
    ret->visit = ret->open->visit;
    return TRUE;
}

/* The wish costs what the plan that was made since says. */
static void tell_cost(const Service *s, gconstpointer told, GString *text)
{
    const StoreWish *said = told;
    g_autoptr(GArray) wishes = NULL;
    g_autoptr(GError) error = NULL;

    if (!wishes_load(s, &wishes, &error))
        return; /* it is in the list */
    for (guint i = 0; i < wishes->len; i++) {
        const StoreWish *wish = &g_array_index(wishes, StoreWish, i);
        if (wish->kind == said->kind && wish->site == said->site &&
            wish->start_utc == said->start_utc && wish->cost[0] != '\0')
            g_string_append_printf(text, "\n%s", wish->cost);
    }
}

static JsonNode *change(Service *s, const ControlRequest *request, Change *c, GError **error)
{
    const WordingContext words = service_wording(s);
    g_autoptr(ApiBefore) before = api_before_new(s);
    const StoreWish told = {.kind = c->kind,
                            .site = c->visit.site,
                            .start_utc = c->kind == STORE_WISH_FIXED     ? c->to_utc
                                         : c->kind == STORE_WISH_OFFERED ? c->from_utc
                                                                         : c->visit.start_utc};

    if (!api_commit(s, write_change, c, error)) {
        if (c->refused == NULL)
            edits_undo(s);
        g_free(c->refused);
        return NULL;
    }
    g_autofree char *said =
        wording_edit_list(&words, c->kind, c->visit.site, told.start_utc, c->to_utc);
    g_autofree char *text = g_strdup_printf("Visit %s.", said);
    const ApiDone done = {.trigger = "visit",
                          .text = text,
                          .keep_states = TRUE,
                          .tell = tell_cost,
                          .told = &told,
                          .told_size = sizeof told};
    return api_done(s, request, g_steal_pointer(&before), &done);
}

static JsonNode *post_move(const ControlRequest *request, gpointer data, GError **error)
{
    Service *s = data;
    Change c = {.kind = STORE_WISH_FIXED};

    /* "19:30" is of the visit's day. */
    if (!read_visit(s, request, &c, error) ||
        !control_body_time(request, "at", TRUE, s->zones[c.visit.site], c.visit.start_utc,
                           &c.to_utc, error) ||
        !control_reject_rest(request, error))
        return NULL;
    return change(s, request, &c, error);
}

static JsonNode *post_drop(const ControlRequest *request, gpointer data, GError **error)
{
    Service *s = data;
    Change c = {.kind = STORE_WISH_DROPPED};

    if (!read_visit(s, request, &c, error) || !control_reject_rest(request, error))
        return NULL;
    return change(s, request, &c, error);
}

static gboolean read_grower(const Service *s, const ControlRequest *request, int *ret,
                            GError **error)
{
    const char *name = NULL;

    if (!control_body_string(request, "grower", FALSE, &name, error))
        return FALSE;
    if (s->garden->n_growers == 0)
        return api_refuse(error, THOLE_ERROR_CONFLICT,
                          "the garden's file has no grower who could come");
    *ret = 0;
    for (int i = 0; name != NULL && i < s->garden->n_growers; i++)
        if (g_str_equal(s->garden->growers[i].name, name))
            *ret = i;
    return name == NULL || g_str_equal(s->garden->growers[*ret].name, name) ||
           api_refuse(error, THOLE_ERROR_NOT_FOUND, "there is no grower \"%.40s\"", name);
}

static JsonNode *post_offer(const ControlRequest *request, gpointer data, GError **error)
{
    Service *s = data;
    Change c = {.kind = STORE_WISH_OFFERED};
    const char *name = NULL;

    if (!control_body_string(request, "site", TRUE, &name, error) ||
        !api_site_named(s, name, &c.visit.site, error) ||
        !read_grower(s, request, &c.visit.grower, error))
        return NULL;
    GTimeZone *zone = s->zones[c.visit.site];
    /* "12:00" as its end is of the day of its beginning. */
    if (!control_body_time(request, "from", TRUE, zone, clock_now(s->clk), &c.from_utc, error) ||
        !control_body_time(request, "to", TRUE, zone, c.from_utc, &c.to_utc, error) ||
        !control_reject_rest(request, error))
        return NULL;
    if (c.to_utc <= c.from_utc) {
        api_refuse(error, THOLE_ERROR_INVALID, "to: it must lie after from");
        return NULL;
    }
    return change(s, request, &c, error);
}

static gboolean write_undo(Service *s, gpointer wish, GError **error)
{
    return store_remove_wish(s->store, ((const StoreWish *)wish)->n, error);
}

static JsonNode *post_undo(const ControlRequest *request, gpointer data, GError **error)
{
    Service *s = data;
    const WordingContext words = service_wording(s);
    g_autoptr(GArray) wishes = NULL;
    StoreWish *found = NULL;
    int64_t number = 0;

    if (!control_body_int(request, "number", TRUE, 1, G_MAXINT32, &number, error) ||
        !control_reject_rest(request, error) || !wishes_load(s, &wishes, error))
        return NULL;
    for (guint i = 0; i < wishes->len; i++)
        if (g_array_index(wishes, StoreWish, i).n == number)
            found = &g_array_index(wishes, StoreWish, i);
    if (found == NULL || found->site < 0) {
        api_refuse(error, THOLE_ERROR_NOT_FOUND,
                   "nothing that was said of visits has the number %d; tholectl visit list",
                   (int)number);
        return NULL;
    }
    g_autoptr(ApiBefore) before = api_before_new(s);
    if (!api_commit(s, write_undo, found, error))
        return NULL;
    g_autofree char *said =
        wording_edit_list(&words, found->kind, found->site, found->start_utc, found->end_utc);
    g_autofree char *text = g_strdup_printf("Taken back: %s.", said);
    const ApiDone done = {.trigger = "visit", .text = text, .keep_states = TRUE};
    return api_done(s, request, g_steal_pointer(&before), &done);
}

void api_add_visits(Service *service, Control *control)
{
    control_add(control, "GET", "/v1/visits", get_visits, service);
    control_add(control, "POST", "/v1/visits/drop", post_drop, service);
    control_add(control, "POST", "/v1/visits/move", post_move, service);
    control_add(control, "POST", "/v1/visits/offer", post_offer, service);
    control_add(control, "POST", "/v1/visits/undo", post_undo, service);
}
