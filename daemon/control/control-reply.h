/* SPDX-License-Identifier: MIT */
/* What is sent back. Internal to control/. */
#pragma once

#include <json-glib/json-glib.h>
#include <libsoup/soup.h>

#include "control/wire.h"

/* The object in NODE, which is changed: `v` is added, and what JSON has no number for becomes null.
 */
void control_reply(SoupServerMessage *message, JsonNode *node);

/* The object in TEXT, with `v`; its memory is taken over. */
void control_reply_text(SoupServerMessage *message, GString *text);

/* A refusal. */
void control_reply_problem(SoupServerMessage *message, WireProblem problem, const char *detail);

/* What kind of problem an error of a handler is. */
WireProblem control_problem_of(const GError *error);
