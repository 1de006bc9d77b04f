/* SPDX-License-Identifier: MIT */
/* The groups of routes, each in a file of its own. Internal to api*.c. */
#pragma once

#include "control/control.h"
#include "service/service.h"

void api_add_today(Service *service, Control *control);
void api_add_batches(Service *service, Control *control);
void api_add_batch_new(Service *service, Control *control);
void api_add_batch_changes(Service *service, Control *control);
void api_add_course(Service *service, Control *control);
void api_add_feed(Service *service, Control *control);
void api_add_garden(Service *service, Control *control);
void api_add_cover(Service *service, Control *control);
void api_add_water(Service *service, Control *control);
void api_add_records(Service *service, Control *control);
void api_add_visits(Service *service, Control *control);
void api_add_why(Service *service, Control *control);
void api_add_jobs(Service *service, Control *control);
void api_add_season(Service *service, Control *control);
void api_add_sow(Service *service, Control *control);
void api_add_test_alarm(Service *service, Control *control);
void api_add_what_if(Service *service, Control *control);
void api_add_channels(Service *service, Control *control);
void api_add_check(Service *service, Control *control);
