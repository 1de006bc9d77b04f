/* SPDX-License-Identifier: MIT */
/* The channels as tholectl check shows them. Internal to api*.c. */
#pragma once

#include <json-glib/json-glib.h>

#include "service/service.h"

/* How a channel stands, as data and as a sentence, which is the caller's; whether it is as it
 * should be. */
JsonObject *api_channel(const Service *service, int channel, char **ret_text, gboolean *ret_good);

/*
 * By which ways news reaches a grower, the calendar among them; whether there is one besides it.
 * DESKTOP: alarms are shown there. The caller owns the text.
 */
char *api_delivery(const Service *service, int grower, gboolean desktop, gboolean *ret_good);
