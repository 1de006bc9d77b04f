/* SPDX-License-Identifier: MIT */
/* A test alarm: on the desktop now, and in the calendar a few minutes ahead. */
#include "service/api-groups.h"
#include "service/api-json.h"
#include "service/desktop.h"
#include "service/planner.h"

typedef struct Asked {
    Service *service;  /* (unowned) */
    ControlOwed *owed; /* (owned) */
    int64_t at_utc;    /* of the alarm in the calendar; 0 there is none */
    char *calendar;    /* (owned) what became of it, as a sentence */
} Asked;

static JsonNode *words_of(const Asked *asked, const char *server, const char *why_not)
{
    JsonObject *object = json_object_new();

    api_take_text(object, "text",
                  server != NULL
                      ? g_strdup_printf("A test alarm was handed to %s: look at the screen. Where "
                                        "it is set not to disturb, nothing shows.\n%s",
                                        server, asked->calendar)
                      : g_strdup_printf("Nothing was shown on the desktop: %s.\n%s", why_not,
                                        asked->calendar));
    json_object_set_boolean_member(object, "shown", server != NULL);
    api_set_text(object, "server", server);
    api_set_text(object, "file", asked->at_utc != 0 ? asked->service->options.calendar_path : NULL);
    api_set_utc(object, "alarm_utc", asked->at_utc);
    return api_reply(object);
}

/* Neither a server nor a reason: tholed ends, and nobody is there to be answered. */
static void answer(const char *server, const char *why_not, gpointer data)
{
    Asked *asked = data;
    JsonNode *reply = server != NULL || why_not != NULL ? words_of(asked, server, why_not) : NULL;

    control_answer(asked->owed, reply, NULL);
    g_free(asked->calendar);
    g_free(asked);
}

static void left(gpointer data)
{
    answer(NULL, NULL, data);
}

/* What became of it, and then to the desktop. */
static void planned(Service *service, gboolean made, gpointer data)
{
    Asked *asked = data;
    const WordingContext words = service_wording(service);
    g_autofree char *when = wording_when(&words, 0, asked->at_utc);
    const gboolean kept = made && service->calendar_problem == NULL;

    if (service->options.calendar_path == NULL)
        asked->calendar = g_strdup("No calendar file is written.");
    else if (!made)
        asked->calendar = g_strdup_printf("It could not be put into the calendar: %s",
                                          service->store_problem != NULL ? service->store_problem
                                                                         : "no plan could be made");
    else if (service->calendar_problem != NULL)
        asked->calendar =
            g_strdup_printf("It could not be put into the calendar: %s", service->calendar_problem);
    else
        asked->calendar =
            g_strdup_printf("The calendar file has one for %s; it goes away by itself. A phone "
                            "that follows the file may see it too late to ring.",
                            when);
    if (!kept || service->options.calendar_path == NULL)
        asked->at_utc = 0;
    desktop_test(service->desktop, answer, asked);
}

static void post_test_alarm(const ControlRequest *request, ControlOwed *owed, gpointer data)
{
    g_autoptr(GError) error = NULL;

    if (!control_reject_rest(request, &error)) {
        control_answer(owed, NULL, error);
        return;
    }
    Asked *asked = g_new0(Asked, 1);
    asked->service = data;
    asked->owed = owed;
    /* Events are kept with a plan, so one is made. */
    asked->at_utc = desktop_begin_test(asked->service->desktop);
    service_ask_plan(asked->service, "test alarm");
    planner_then(asked->service, planned, asked, left);
}

void api_add_test_alarm(Service *service, Control *control)
{
    control_add_later(control, "POST", "/v1/test-alarm", post_test_alarm, service);
}
