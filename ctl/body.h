/* SPDX-License-Identifier: MIT */
/* Bodies of requests. */
#pragma once

#include "ctl/client.h"

/* Adds VALUE as text where it is not NULL. */
void body_text(JsonObject *body, const char *name, const char *value);

/* Adds the option of the same name where it was given. */
void body_option(JsonObject *body, const char *name, const Call *call);

/*
 * Adds a number written by a person: 3.5, −2 or -2, 3,5 is refused. With RET_UNIT also 28F, 2°C: then the
 * unit's letter or NULL is given. False where it is none.
 */
bool body_number(JsonObject *body, const char *name, const char *value, const char **ret_unit);
