/* SPDX-License-Identifier: MIT */
/* Requests that wait until they are looked at. Internal to control/. */
#pragma once

#include <libsoup/soup.h>

typedef struct ControlHeld ControlHeld;

ControlHeld *control_held_new(void) G_GNUC_WARN_UNUSED_RESULT;

/* Stops the message before its handler, for as long as whoever asked is there. */
void control_held_add(ControlHeld *held, SoupServerMessage *message);

/* Calls FN, as a handler is called, with each that is still there, in the order in which they came.
 * HELD is used up before. */
typedef void (*ControlHeldFunc)(SoupServerMessage *message, gpointer data);
void control_held_release(ControlHeld *held, ControlHeldFunc fn, gpointer data);

/* Forgets them. NULL is ignored. */
void control_held_free(ControlHeld *held);
