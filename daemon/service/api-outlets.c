/* SPDX-License-Identifier: MIT */
#include "service/api-outlets.h"

#include <string.h>

#include "base/log.h"
#include "calendar/event.h"
#include "service/api-json.h"
#include "service/outlets.h"
#include "service/wording-outlet.h"
#include "store/store-wishes.h"

#define EDITS_SHOWN_S (7 * 86400) /* what a grower did is shown so long; chosen */

static const EventMemory *event_of(const Service *service, const char *uid)
{
    for (guint i = 0; i < service->memory->len; i++) {
        const EventMemory *event = g_ptr_array_index(service->memory, i);
        if (strcmp(event->uid, uid) == 0)
            return event;
    }
    return NULL;
}

/* What was said to it, after it was found; "" nothing. */
static const char *answer_to(const GArray *answers, const StoreOutletEdit *edit)
{
    const char *text = "";
    char name[STORE_UID_SIZE];
    store_name_event(edit->uid, name);
    for (guint i = 0; i < answers->len; i++) {
        const StoreAnswer *answer = &g_array_index(answers, StoreAnswer, i);
        if (strcmp(answer->uid, name) == 0 && answer->at_utc >= edit->at_utc)
            text = answer->text;
    }
    return text;
}

static JsonObject *edit_object(const Service *service, const StoreOutletEdit *edit,
                               const char *answer)
{
    const WordingContext words = service_wording(service);
    const EventMemory *event = event_of(service, edit->uid);
    const int site = event != NULL ? MAX(0, garden_find_site(service->garden, event->location)) : 0;
    g_autofree char *when = event != NULL ? wording_when(&words, site, event->start_utc) : NULL;
    g_autofree char *name = event != NULL ? g_strdup_printf("%s, %s", when, event->summary) : NULL;
    JsonObject *object = json_object_new();

    api_set_text(object, "uid", edit->uid);
    api_set_text(object, "kind", edit->kind);
    api_set_utc(object, "found_utc", edit->at_utc);
    g_autofree char *done =
        wording_outlet_edit(&words, site, name, edit->kind, edit->start_utc, edit->text);
    api_take_text(object, "text", g_strjoin(*answer != '\0' ? " " : "", done, answer, NULL));
    return object;
}

static void set_time(JsonObject *object, const char *name, int64_t utc)
{
    if (utc != 0)
        api_set_utc(object, name, utc);
    else
        json_object_set_null_member(object, name);
}

static JsonObject *outlet_object(const Service *service, guint i, const GArray *answers)
{
    static const char *const kinds[] = {"server", "folder", "file"};
    static const char *const levels[] = {"ok", "warning", "problem"};
    const OutletView view = outlets_view(service->outlets, i);
    const int grower = view.setup->grower;
    JsonObject *object = json_object_new();
    JsonArray *edits = json_array_new();
    int level;

    api_set_text(object, "name", view.setup->name);
    api_set_text(object, "kind", kinds[view.setup->kind]);
    api_set_text(object, "grower", grower >= 0 ? service->garden->growers[grower].name : NULL);
    api_take_text(object, "where", wording_outlet_where(view.setup));
    api_take_text(object, "text", outlets_words(service->outlets, i, &level));
    api_set_text(object, "level", levels[level]);
    set_time(object, "delivered_utc", view.row->delivered_utc);
    set_time(object, "tried_utc", view.row->tried_utc);
    set_time(object, "next_utc", view.next_utc);
    json_object_set_int_member(object, "pending", view.pending);
    api_set_text(object, "problem", view.row->problem[0] != '\0' ? view.row->problem : NULL);
    for (guint k = 0; k < view.edits->len; k++) {
        const StoreOutletEdit *edit = &g_array_index(view.edits, StoreOutletEdit, k);
        if (edit->at_utc > clock_now(service->clk) - EDITS_SHOWN_S)
            json_array_add_object_element(edits,
                                          edit_object(service, edit, answer_to(answers, edit)));
    }
    json_object_set_array_member(object, "edits", edits);
    return object;
}

JsonArray *api_outlets(const Service *service)
{
    JsonArray *outlets = json_array_new();
    g_autoptr(GArray) answers = NULL;
    g_autoptr(GError) error = NULL;

    if (!store_load_answers(service->store, clock_now(service->clk) - EDITS_SHOWN_S, &answers,
                            &error)) {
        log_warning("calendar", NULL, "answers cannot be read: %s", error->message);
        answers = g_array_new(FALSE, FALSE, sizeof(StoreAnswer));
    }
    for (guint i = 0; i < outlets_count(service->outlets); i++)
        json_array_add_object_element(outlets, outlet_object(service, i, answers));
    return outlets;
}
