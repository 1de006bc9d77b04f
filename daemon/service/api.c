/* SPDX-License-Identifier: MIT */
#include "service/api.h"

#include "service/api-groups.h"

void api_add_routes(Service *service, Control *control)
{
    api_add_today(service, control);
    api_add_batches(service, control);
    api_add_batch_new(service, control);
    api_add_batch_changes(service, control);
    api_add_course(service, control);
    api_add_feed(service, control);
    api_add_garden(service, control);
    api_add_cover(service, control);
    api_add_water(service, control);
    api_add_records(service, control);
    api_add_visits(service, control);
    api_add_why(service, control);
    api_add_jobs(service, control);
    api_add_what_if(service, control);
    api_add_channels(service, control);
    api_add_check(service, control);
    api_add_season(service, control);
    api_add_sow(service, control);
    api_add_test_alarm(service, control);
}
