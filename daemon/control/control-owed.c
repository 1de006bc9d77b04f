/* SPDX-License-Identifier: MIT */
#include "control/control-owed.h"

#include "base/log.h"
#include "control/control-reply.h"

struct ControlOwed {
    SoupServerMessage *message; /* (owned) (nullable) whoever asked has gone */
};

static void on_gone(SoupServerMessage *message, gpointer data)
{
    ControlOwed *owed = data;
    g_signal_handlers_disconnect_by_data(message, owed);
    g_clear_object(&owed->message);
}

ControlOwed *control_owed_new(SoupServerMessage *message)
{
    ControlOwed *owed = g_new0(ControlOwed, 1);
    owed->message = g_object_ref(message);
    g_signal_connect(message, "disconnected", G_CALLBACK(on_gone), owed);
    g_signal_connect(message, "finished", G_CALLBACK(on_gone), owed);
    soup_server_message_pause(message);
    return owed;
}

void control_answer(ControlOwed *owed, JsonNode *reply, const GError *error)
{
    SoupServerMessage *message = owed->message;
    if (message != NULL && (reply != NULL || error != NULL)) {
        g_signal_handlers_disconnect_by_data(message, owed);
        if (reply != NULL)
            control_reply(message, reply);
        else
            control_reply_problem(message, control_problem_of(error), error->message);
        soup_server_message_unpause(message);
    } else if (message != NULL) {
        g_signal_handlers_disconnect_by_data(message, owed);
    }
    g_clear_pointer(&reply, json_node_unref);
    g_clear_object(&owed->message);
    g_free(owed);
}
