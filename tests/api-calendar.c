/* SPDX-License-Identifier: MIT */
#include "api-calendar.h"

#include "api-garden.h"

void test_feed(void **state)
{
    ApiGarden *garden = *state;
    g_autofree char *path = g_build_filename(garden->folder, "thole.conf", NULL);
    g_autofree char *before = NULL;
    assert_true(g_file_get_contents(path, &before, NULL, NULL));
    g_autofree char *with_feed = g_strconcat(before, "\n[feed]\nlisten=127.0.0.1:0\n", NULL);
    static const ApiRow rows[] = {
        {"the calendar has its address", "GET", "/v1/calendar", NULL, 200, NULL},
        {"a new one", "POST", "/v1/calendar/renew", NULL, 200, NULL},
        {"of a grower by name", "POST", "/v1/calendar/renew", "{\"grower\":\"me\"}", 200, NULL},
        {"check", "GET", "/v1/check", NULL, 200, NULL},
    };

    assert_true(g_file_set_contents(path, with_feed, -1, NULL));
    assert_true(service_reload(garden->service, NULL));
    ROWS(garden, rows);
    assert_true(g_file_set_contents(path, before, -1, NULL));
    assert_true(service_reload(garden->service, NULL));
}

/* By hand what may be said in a calendar too. */
void test_visits(void **state)
{
    static const ApiRow rows[] = {
        {"whose visit?", "POST", "/v1/visits/move", "{\"at\":\"19:30\"}", 400,
         "give job, the number of a job of the visit, or site, for the next visit there"},
        {"no such job", "POST", "/v1/visits/drop", "{\"job\":99}", 404,
         "no open job has the number 99; tholectl week lists them"},
        {"into the past", "POST", "/v1/visits/move",
         "{\"site\":\"plot\",\"at\":\"2026-04-10 12:00\"}", 409,
         "Not taken (the plot, Fri 12:00): that is past"},
        {"an end before its beginning", "POST", "/v1/visits/offer",
         "{\"site\":\"plot\",\"from\":\"2026-04-18 12:00\",\"to\":\"11:00\"}", 400,
         "to: it must lie after from"},
        {"hours beside the usual ones", "POST", "/v1/visits/offer",
         "{\"site\":\"plot\",\"from\":\"2026-04-20 12:00\",\"to\":\"13:00\"}", 200,
         "Visit offered: the plot, Mon 12:00 to Mon 13:00."},
        {"a visit set to a time", "POST", "/v1/visits/move",
         "{\"site\":\"plot\",\"at\":\"2026-04-19 14:10\"}", 200,
         "Visit set by you: the plot, Sun 14:10."},
        {"the one after it is not made", "POST", "/v1/visits/drop", "{\"site\":\"plot\"}", 200,
         "Visit left out: the plot, …"},
        {"all of it is listed", "GET", "/v1/visits", NULL, 200, NULL},
        {"asked for too much", "GET", "/v1/visits?x=1", NULL, 400, NULL},
        {"not after all", "POST", "/v1/visits/undo", "{\"number\":1}", 200,
         "Taken back: offered: the plot, Mon 12:00 to Mon 13:00."},
        {"that is gone", "POST", "/v1/visits/undo", "{\"number\":1}", 404,
         "nothing that was said of visits has the number 1; tholectl visit list"},
    };

    ROWS(*state, rows);
}
