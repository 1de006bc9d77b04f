/* SPDX-License-Identifier: MIT */
/* What service.c and planner.c share. */
#pragma once

#include "service/service.h"

#define EARLIEST_UTC 1735689600 /* 2025-01-01: a clock before it was never set */

/* The half-hour that holds now. FALSE: the clock was never set. */
gboolean service_grid_now(const Service *service, int64_t *ret_utc);

/* Nothing is lost by waiting: the last committed state stands, and the same is tried again. */
void service_trouble(Service *service, const char *what, const GError *error);

/* The calendar file, if a byte of it differs; the calendars of thole.conf follow by themselves. */
void service_write_calendar(Service *service);

/* The alarm for what is due next. */
void service_set_wake(Service *service);
