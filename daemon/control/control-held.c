/* SPDX-License-Identifier: MIT */
#include "control/control-held.h"

struct ControlHeld {
    GPtrArray *messages; /* (owned) (element-type SoupServerMessage) */
};

/* Nobody waits for the answer any more. */
static void on_gone(SoupServerMessage *message, gpointer data)
{
    ControlHeld *held = data;

    g_signal_handlers_disconnect_by_data(message, held);
    g_ptr_array_remove(held->messages, message);
}

ControlHeld *control_held_new(void)
{
    ControlHeld *held = g_new0(ControlHeld, 1);

    held->messages = g_ptr_array_new_with_free_func(g_object_unref);
    return held;
}

void control_held_add(ControlHeld *held, SoupServerMessage *message)
{
    g_ptr_array_add(held->messages, g_object_ref(message));
    g_signal_connect(message, "disconnected", G_CALLBACK(on_gone), held);
    g_signal_connect(message, "finished", G_CALLBACK(on_gone), held);
    soup_server_message_pause(message);
}

static GPtrArray *take_messages(ControlHeld *held)
{
    GPtrArray *messages = held->messages;

    for (guint i = 0; i < messages->len; i++)
        g_signal_handlers_disconnect_by_data(messages->pdata[i], held);
    g_free(held);
    return messages;
}

void control_held_release(ControlHeld *held, ControlHeldFunc fn, gpointer data)
{
    g_autoptr(GPtrArray) messages = take_messages(held);

    for (guint i = 0; i < messages->len; i++) {
        soup_server_message_unpause(messages->pdata[i]);
        fn(messages->pdata[i], data); /* which pauses it again where it owes its reply */
    }
}

void control_held_free(ControlHeld *held)
{
    if (held != NULL)
        g_ptr_array_unref(take_messages(held));
}
