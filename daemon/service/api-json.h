/* SPDX-License-Identifier: MIT */
/*
 * What the replies are built from: members, and the objects that several replies hold, as
 * docs/schema/ has them. Every JsonObject and JsonArray given is the caller's. Internal to api*.c.
 */
#pragma once

#include "control/control.h"
#include "service/service.h"

/* Members. A missing text, number or time is null; `api_take_text` takes the text over. */
void api_set_text(JsonObject *object, const char *name, const char *text);
void api_take_text(JsonObject *object, const char *name, char *text);
void api_set_number(JsonObject *object, const char *name, double value); /* to the thousandth */
void api_set_odds(JsonObject *object, const char *name, double odds);    /* kept within 0..1 */
void api_set_utc(JsonObject *object, const char *name, int64_t utc);
void api_set_units(JsonObject *object, const Garden *garden);
void api_set_estimated(JsonObject *object, uint32_t estimated);

/* The reply that holds `object`, which it takes over. */
JsonNode *api_reply(JsonObject *object);

/* {name, value, unit, spread} is added to `numbers`. */
void api_add_number(JsonArray *numbers, const char *name, double value, const char *unit,
                    double spread);

/* Members that are written. */
void api_write_taken(JsonText *to, const char *name, char *text);
void api_write_odds(JsonText *to, const char *name, double odds);
void api_write_utc(JsonText *to, const char *name, int64_t utc);
void api_write_estimated(JsonText *to, uint32_t estimated);
void api_write_units(JsonText *to, const Garden *garden);

/* The objects of common.json, written. `index`: of the batch in the present state, -1 not there.
 * `name`: of the member; NULL in an array. */
void api_write_job(JsonText *to, const char *name, const Service *service, const OpenVisit *visit,
                   const OpenJob *job);
void api_write_visit(JsonText *to, const char *name, const Service *service,
                     const OpenVisit *visit);
void api_write_batch(JsonText *to, const char *name, const Service *service, const Batch *batch,
                     int index);

/* The same, for replies that hold a few. */
JsonObject *api_job(const Service *service, const OpenVisit *visit, const OpenJob *job);
JsonObject *api_batch(const Service *service, const Batch *batch, int index);

/* The outlook of the batch at `index` of the present state, or NULL where the plan has none. */
const BatchOutlook *api_outlook(const Service *service, int index);

/* Index of a batch of the present state by its id, -1 none. */
int api_batch_index(const Service *service, const char *id);

/* Names, NULL for an index out of range. */
const char *api_place_name(const Service *service, int place);
const char *api_batch_name(const Service *service, int batch);

/* The cover position that a place has now, NULL where it has no cover. */
const char *api_position_name(const Service *service, int place);

/* The site of a place, of a batch's place; the first of the garden where there is none. */
int api_site_of(const Service *service, int place);

/* When it may be planted, in words; `outlook` (nullable). */
char *api_ready_words(const Service *service, const Batch *batch, const BatchOutlook *outlook);
