/* SPDX-License-Identifier: MIT */
#include "control/wire.h"

#include "base/paths.h"

typedef struct ProblemFacts {
    const char *name, *title;
    unsigned int status;
} ProblemFacts;

static const ProblemFacts problems[] = {
    [WIRE_PROBLEM_INVALID] = {"invalid", "The request makes no sense", 400},
    [WIRE_PROBLEM_VERSION] = {"version", "Another version of the interface", 400},
    [WIRE_PROBLEM_FORBIDDEN] = {"forbidden", "Not allowed", 403},
    [WIRE_PROBLEM_NOT_FOUND] = {"not-found", "No such thing", 404},
    [WIRE_PROBLEM_METHOD] = {"method", "Not that way", 405},
    [WIRE_PROBLEM_CONFLICT] = {"conflict", "Not now", 409},
    [WIRE_PROBLEM_TOO_LARGE] = {"too-large", "Too large", 413},
    [WIRE_PROBLEM_FAILED] = {"failed", "It could not be done", 500},
};

const char *wire_problem_name(WireProblem problem)
{
    return problems[problem].name;
}

unsigned int wire_problem_status(WireProblem problem)
{
    return problems[problem].status;
}

const char *wire_problem_title(WireProblem problem)
{
    return problems[problem].title;
}

const WireRoute wire_routes[] = {
    {"GET", "/v1/", "hello"},
    {"GET", "/v1/aways", "aways"},
    {"POST", "/v1/aways", "done"},
    {"POST", "/v1/aways/end", "done"},
    {"GET", "/v1/batches", "batches"},
    {"POST", "/v1/batches", "done"},
    {"GET", "/v1/batches/{name}", "batch"},
    {"POST", "/v1/batches/{name}/destination", "done"},
    {"POST", "/v1/batches/{name}/emerged", "done"},
    {"POST", "/v1/batches/{name}/height", "done"},
    {"POST", "/v1/batches/{name}/end", "done"},
    {"POST", "/v1/batches/{name}/losses", "done"},
    {"POST", "/v1/batches/{name}/move", "done"},
    {"POST", "/v1/batches/{name}/notes", "done"},
    {"POST", "/v1/batches/{name}/plant-out", "done"},
    {"POST", "/v1/batches/{name}/pot-on", "done"},
    {"POST", "/v1/batches/{name}/prick-out", "done"},
    {"POST", "/v1/batches/{name}/split", "done"},
    {"GET", "/v1/calendar", "calendar"},
    {"POST", "/v1/calendar/renew", "calendar"},
    {"POST", "/v1/calendar/test", "calendar-test"},
    {"GET", "/v1/check", "check"},
    {"GET", "/v1/course/{site}", "course"},
    {"GET", "/v1/crops", "crops"},
    {"GET", "/v1/export", "export"},
    {"POST", "/v1/frosts", "done"},
    {"GET", "/v1/jobs", "jobs"},
    {"POST", "/v1/jobs/report", "done"},
    {"GET", "/v1/places", "places"},
    {"POST", "/v1/places/{name}/cover", "done"},
    {"POST", "/v1/readings", "done"},
    {"GET", "/v1/season", "season"},
    {"GET", "/v1/sow/{crop}", "sow"},
    {"POST", "/v1/test-alarm", "test-alarm"},
    {"GET", "/v1/today", "today"},
    {"GET", "/v1/visits", "visits"},
    {"POST", "/v1/visits/drop", "done"},
    {"POST", "/v1/visits/move", "done"},
    {"POST", "/v1/visits/offer", "done"},
    {"POST", "/v1/visits/undo", "done"},
    {"POST", "/v1/waterings", "done"},
    {"GET", "/v1/weather/{site}", "weather"},
    {"GET", "/v1/week", "week"},
    {"POST", "/v1/what-if", "what-if"},
    {"GET", "/v1/why/{batch}", "why"},
};
const gsize wire_n_routes = G_N_ELEMENTS(wire_routes);

char *wire_default_socket(void)
{
    return paths_default_socket();
}

char *wire_default_config(void)
{
    return paths_default_config();
}
