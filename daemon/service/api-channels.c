/* SPDX-License-Identifier: MIT */
/* The channels of thole.conf: how they stand, and a test through each. */
#include "service/api-channels.h"

#include "garden/channels.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/post.h"
#include "service/wording-news.h"

#define ANSWER_WITHIN_S 20 /* below WIRE_IDLE_S; chosen */

static const char *grower_of(const Service *service, const ChannelSetup *setup)
{
    return setup->grower >= 0 ? service->garden->growers[setup->grower].name : NULL;
}

/* ---- how they stand ---- */

JsonObject *api_channel(const Service *service, int channel, char **ret_text, gboolean *ret_good)
{
    const WordingContext words = service_wording(service);
    const ChannelSetup *setup = &service->garden->channels[channel];
    const gboolean sends = post_sends(service->post);
    const CourierState state = sends ? post_state(service->post, channel) : (CourierState){0};
    JsonObject *object = json_object_new();

    api_set_text(object, "kind", wording_channel_kind(setup->kind));
    api_set_text(object, "grower", grower_of(service, setup));
    api_set_utc(object, "delivered_utc", state.delivered_utc);
    api_set_utc(object, "failing_utc", state.failing_utc);
    api_set_utc(object, "next_utc", state.failures > 0 ? state.retry_utc : 0);
    api_set_text(object, "trouble", state.trouble);
    const WordingChannel told = {.kind = setup->kind,
                                 .sends = sends,
                                 .delivered_utc = state.delivered_utc,
                                 .failing_utc = state.failing_utc,
                                 .next_utc = state.retry_utc,
                                 .trouble = state.trouble};
    *ret_text = wording_channel(&words, &told);
    *ret_good = state.trouble == NULL;
    return object;
}

char *api_delivery(const Service *service, int grower, gboolean desktop, gboolean *ret_good)
{
    const Garden *garden = service->garden;
    g_autoptr(GPtrArray) ways = g_ptr_array_new();

    if (desktop && garden->growers[grower].desktop)
        g_ptr_array_add(ways, (gpointer) "the desktop");
    for (int i = 0; post_sends(service->post) && i < garden->n_channels; i++) {
        ChannelSetup *setup = &garden->channels[i];
        if (setup->grower < 0 || setup->grower == grower)
            g_ptr_array_add(ways, setup->name);
    }
    *ret_good = ways->len > 0;
    return wording_delivery((const char *const *)ways->pdata, (int)ways->len);
}

/* ---- a test through each ---- */

typedef struct Trial {
    struct Trials *trials; /* (unowned) */
    char *name, *grower;   /* (owned) grower (nullable): everybody's */
    ChannelKind kind;
    ChannelOutcome outcome;
    char *reason; /* (owned) (nullable) */
    int64_t took_s;
} Trial;

typedef struct Trials {
    Service *service;  /* (unowned) */
    ControlOwed *owed; /* (owned) (nullable) it was answered */
    GPtrArray *trials; /* (owned) (element-type Trial) */
    guint waiting;     /* that will call back yet */
    guint alarm;
    int64_t began_utc;
} Trials;

static void trial_free(gpointer data)
{
    Trial *trial = data;

    g_free(trial->name);
    g_free(trial->grower);
    g_free(trial->reason);
    g_free(trial);
}

static JsonObject *trial_object(const Trial *trial)
{
    static const char *const outcomes[] = {[CHANNEL_DELIVERED] = "delivered",
                                           [CHANNEL_FAILED] = "failed",
                                           [CHANNEL_REFUSED] = "refused"};
    JsonObject *object = json_object_new();

    api_set_text(object, "name", trial->name);
    api_set_text(object, "kind", wording_channel_kind(trial->kind));
    api_set_text(object, "grower", trial->grower);
    api_set_text(object, "outcome", outcomes[trial->outcome]);
    api_set_text(object, "reason", trial->reason);
    json_object_set_int_member(object, "seconds", trial->took_s);
    return object;
}

static void answer(Trials *trials)
{
    JsonObject *object = json_object_new();
    JsonArray *array = json_array_new();
    int delivered = 0;

    for (guint i = 0; i < trials->trials->len; i++) {
        const Trial *trial = trials->trials->pdata[i];
        delivered += trial->outcome == CHANNEL_DELIVERED;
        json_array_add_object_element(array, trial_object(trial));
    }
    api_take_text(object, "text", wording_channels_tested((int)trials->trials->len, delivered));
    json_object_set_boolean_member(object, "ok",
                                   delivered > 0 && delivered == (int)trials->trials->len);
    json_object_set_array_member(object, "channels", array);
    clock_remove_alarm(trials->service->clk, trials->alarm);
    trials->alarm = 0;
    control_answer(g_steal_pointer(&trials->owed), api_reply(object), NULL);
}

static void trials_free_if_over(Trials *trials)
{
    if (trials->waiting > 0 || trials->owed != NULL)
        return;
    g_ptr_array_unref(trials->trials);
    g_free(trials);
}

static void tried(const ChannelResult *result, gpointer data)
{
    Trial *trial = data;
    Trials *trials = trial->trials;

    trials->waiting--;
    if (trials->owed != NULL) {
        g_free(trial->reason);
        trial->reason = g_strdup(result->reason);
        trial->outcome = result->outcome;
        trial->took_s = clock_now(trials->service->clk) - trials->began_utc;
    }
    if (trials->owed != NULL && trials->waiting == 0)
        answer(trials);
    trials_free_if_over(trials);
}

/* Those that have not answered are told as they stand. */
static void patience_over(gpointer data)
{
    Trials *trials = data;

    trials->alarm = 0;
    answer(trials);
    trials_free_if_over(trials);
}

static Trial *trial_new(Trials *trials, const ChannelSetup *setup)
{
    Trial *trial = g_new0(Trial, 1);

    trial->trials = trials;
    trial->name = g_strdup(setup->name);
    trial->grower = g_strdup(grower_of(trials->service, setup));
    trial->kind = setup->kind;
    trial->outcome = CHANNEL_FAILED;
    trial->reason = g_strdup_printf("no answer within %d s", ANSWER_WITHIN_S);
    trial->took_s = ANSWER_WITHIN_S;
    return trial;
}

static void try_all(Service *service, int grower, ControlOwed *owed)
{
    const Garden *garden = service->garden;
    Trials *trials = g_new0(Trials, 1);

    trials->service = service;
    trials->owed = owed;
    trials->began_utc = clock_now(service->clk);
    trials->trials = g_ptr_array_new_with_free_func(trial_free);
    trials->alarm =
        clock_add_alarm(service->clk, trials->began_utc + ANSWER_WITHIN_S, patience_over, trials);
    trials->waiting = 1; /* this very call */
    for (int i = 0; i < garden->n_channels; i++) {
        const ChannelSetup *setup = &garden->channels[i];
        if (grower >= 0 && setup->grower >= 0 && setup->grower != grower)
            continue;
        Trial *trial = trial_new(trials, setup);
        g_ptr_array_add(trials->trials, trial);
        trials->waiting++;
        post_test(service->post, i, tried, trial);
    }
    trials->waiting--;
    if (trials->waiting == 0)
        answer(trials);
    trials_free_if_over(trials);
}

/* The grower of the body; -1: everybody. */
static gboolean read_grower(const Service *service, const ControlRequest *request, int *ret,
                            GError **error)
{
    const char *name = NULL;

    *ret = -1;
    if (!control_body_string(request, "grower", FALSE, &name, error))
        return FALSE;
    for (int i = 0; name != NULL && i < service->garden->n_growers; i++)
        if (g_str_equal(service->garden->growers[i].name, name))
            *ret = i;
    if (name == NULL || *ret >= 0)
        return TRUE;
    g_autofree char *hint = garden_suggest(service->garden, GARDEN_GROWER, name);
    return api_refuse(error, THOLE_ERROR_NOT_FOUND, "no grower is called \"%s\"; %s", name, hint);
}

static void post_calendar_test(const ControlRequest *request, ControlOwed *owed, gpointer data)
{
    Service *service = data;
    g_autoptr(GError) error = NULL;
    int grower;

    if (!read_grower(service, request, &grower, &error) || !control_reject_rest(request, &error) ||
        (!post_sends(service->post) &&
         !api_refuse(&error, THOLE_ERROR_CONFLICT, "a rehearsal sends nothing")))
        control_answer(owed, NULL, error);
    else
        try_all(service, grower, owed);
}

void api_add_channels(Service *service, Control *control)
{
    control_add_later(control, "POST", "/v1/calendar/test", post_calendar_test, service);
}
