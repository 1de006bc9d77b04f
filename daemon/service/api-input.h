/* SPDX-License-Identifier: MIT */
/* What requests name: batches, places and times that exist, or a refusal that helps. Internal to
 * api*.c. */
#pragma once

#include "base/error.h"
#include "control/control.h"
#include "service/service.h"
#include "store/store-garden-events.h"

/* Sets the error; always FALSE. */
gboolean api_refuse(GError **error, TholeError code, const char *format, ...) G_GNUC_PRINTF(3, 4);

/* The living batch of the path's {param}, in the present state; NULL and not-found. */
Batch *api_batch_named(const Service *service, const ControlRequest *request, const char *param,
                       int *ret_index, GError **error);
Batch *api_batch_called(const Service *service, const char *name, int *ret_index, GError **error);

/* The index of a member's place, site or container; left as it was where the member may be missing
 * and is. */
gboolean api_place_member(const Service *service, const ControlRequest *request, const char *name,
                          gboolean required, int *ret, GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean api_site_named(const Service *service, const char *name, int *ret,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean api_container_member(const Service *service, const ControlRequest *request,
                              gboolean required, int *ret,
                              GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The member `name` as a time of the last year, up to now; now without it. */
gboolean api_past_time(const Service *service, const ControlRequest *request, const char *name,
                       int site, int64_t *ret, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The half-hour that holds a time: what happens in it counts from its start, so that a reply
 * already knows it. */
int64_t api_grid(int64_t utc);

/*
 * Whether `trays` more of batch `name` fit into a place; trays of the batch with the index `except`
 * (-1 none) do not count. A refusal (conflict) names who stands there.
 */
gboolean api_has_room(const Service *service, int place, int trays, int except);
gboolean api_check_room(const Service *service, int place, int trays, int except, const char *name,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* A temperature of the body, °C: `name` in `unit`, that of the garden where it is not given. */
gboolean api_temperature_member(const Service *service, const ControlRequest *request,
                                const char *name, double least_c, double most_c, double *ret_c,
                                GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* `site`, `night` and `low` (`unit`) of the body: a frost of a night that is not over, within the
 * horizon. */
gboolean api_frost_members(const Service *service, const ControlRequest *request, StoreWarning *ret,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;
