/* SPDX-License-Identifier: MIT */
/* Telling what was done, where a job asked for it, and where none did. */
#include "api-garden.h"

#include <math.h>
#include <string.h>

#include "grow/emergence.h"
#include "grow/growth.h"
#include "service/growing.h"
#include "service/holding.h"
#include "service/jobs.h"
#include "store/store-batches.h"

static int set_up(void **state)
{
    static const ApiRow rows[] = {
        {"leeks in the frame", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":40,\"place\":\"frame\",\"name\":\"early\",\"sown\":"
         "\"2026-01-28\"}",
         200, NULL},
        {"cabbages in the frame", "POST", "/v1/batches",
         "{\"crop\":\"cabbage\",\"number\":24,\"place\":\"frame\",\"bought\":true}", 200, NULL},
        {"more, bought", "POST", "/v1/batches",
         "{\"crop\":\"tomato\",\"number\":6,\"name\":\"spare\",\"bought\":true}", 200, NULL},
        {"tomatoes on the sill", "POST", "/v1/batches", "{\"crop\":\"tomato\",\"number\":12}", 200,
         NULL},
    };

    *state = api_garden_new();
    api_rows(*state, rows, G_N_ELEMENTS(rows));
    return 0;
}

static int tear_down(void **state)
{
    api_garden_free(*state);
    return 0;
}

static const Batch *batch_of(const ApiGarden *garden, const char *name, int *ret_index)
{
    const Batch *batch = state_find_batch(&garden->service->current, name, ret_index);

    assert_non_null(batch);
    return batch;
}

/* The first open job of a kind in a visit to come. */
static OpenJob *next_job(const ApiGarden *garden, JobKind kind, OpenVisit **ret_visit)
{
    for (guint i = 0; i < garden->service->visits->len; i++) {
        OpenVisit *visit = garden->service->visits->pdata[i];
        for (guint k = 0; !visit->begun && k < visit->jobs->len; k++) {
            OpenJob *job = &g_array_index(visit->jobs, OpenJob, k);
            if (job->state == STORE_JOB_PLANNED && job->job.kind == kind) {
                *ret_visit = visit;
                return job;
            }
        }
    }
    fail_msg("no such job is to come");
    return NULL;
}

static OpenVisit *next_visit(const ApiGarden *garden)
{
    for (guint i = 0; i < garden->service->visits->len; i++) {
        OpenVisit *visit = garden->service->visits->pdata[i];
        if (!visit->begun)
            return visit;
    }
    fail_msg("no visit is to come");
    return NULL;
}

/* Asks, and the reply reports the job with that handle (0: none) done; gives the first line. */
static char *assert_reports(ApiGarden *garden, const char *target, const char *body, int handle)
{
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;
    JsonObject *reply = api_ask(garden, parser, "POST", target, body, &status);

    assert_int_equal(status, 200);
    JsonArray *jobs = json_object_get_array_member(reply, "jobs");
    const char *text = json_object_get_string_member(reply, "text");
    assert_int_equal(json_array_get_length(jobs), handle != 0 ? 1 : 0);
    assert_int_equal(strstr(text, "\nDone: ") != NULL, handle != 0);
    if (handle != 0) {
        JsonObject *job = json_array_get_object_element(jobs, 0);
        assert_int_equal(json_object_get_int_member(job, "handle"), handle);
        assert_string_equal(json_object_get_string_member(job, "state"), "done");
    }
    assert_null(strstr(text, "no new plan could be made"));
    return g_strndup(text, strcspn(text, "\n"));
}

/* A cover that a job asked for: of a visit to come, and of one that has begun. */
static void test_cover_is_reported(void **state)
{
    ApiGarden *garden = *state;
    Service *service = garden->service;
    OpenVisit *visit = NULL, *found = NULL;
    const OpenJob *job = next_job(garden, JOB_SET_COVER, &visit);
    const int64_t start_utc = visit->visit.start_utc;
    Job what = {
        .kind = JOB_SET_COVER, .batch = -1, .place = job->job.place, .position = job->job.position};
    const Place *place = &service->garden->places[what.place];
    const char *asked = place->cover.positions[what.position].name;
    g_autofree char *target = g_strdup_printf("/v1/places/%s/cover", place->name);
    g_autofree char *body = g_strdup_printf("{\"position\":\"%s\"}", asked);
    const int another = (what.position + 1) % place->cover.n_positions;
    g_autofree char *other =
        g_strdup_printf("{\"position\":\"%s\"}", place->cover.positions[another].name);

    assert_null(jobs_asking(service, &what, start_utc - 12 * 3600 - 1, &found));
    assert_ptr_equal(jobs_asking(service, &what, start_utc - 12 * 3600, &found), job);
    assert_ptr_equal(found, visit);
    const Job not_asked = {
        .kind = JOB_SET_COVER, .batch = -1, .place = what.place, .position = another};
    assert_null(jobs_asking(service, &not_asked, start_utc, &found));

    /* Another position than the one of a job under way: that stays open. */
    api_garden_run_to(garden, start_utc + 600);
    job = jobs_asking(service, &what, start_utc, &visit);
    assert_non_null(job);
    assert_true(visit->begun);
    const int handle = job->handle;
    g_free(assert_reports(garden, target, other, 0));
    assert_non_null(jobs_find(service, handle, NULL));
    assert_int_equal(service->current.positions[what.place], another);
    g_autofree char *text = assert_reports(garden, target, body, handle);
    assert_null(jobs_find(service, handle, NULL));
    assert_int_equal(service->current.positions[what.place], what.position);
    assert_non_null(strstr(text, asked));
}

/* Puts a job into the next visit, as a plan might have. */
static int add_job(const ApiGarden *garden, OpenVisit *visit, Job *job)
{
    Service *service = garden->service;
    const StoreScope scope = {.garden = service->garden,
                              .batches = &g_array_index(service->current.batches, Batch, 0),
                              .n_batches = (int)service->current.batches->len};
    OpenJob open = {.handle = 900, .state = STORE_JOB_PLANNED};
    g_autoptr(GError) error = NULL;

    const gboolean kept = store_put_job(service->store, &scope, job, visit->visit.id, 50, &error);
    assert_string_equal(error != NULL ? error->message : "", "");
    assert_true(kept);
    open.job = *job;
    g_array_append_val(visit->jobs, open);
    return open.handle;
}

/* Planted out by the grower ahead of the visit that was to do it. */
static void test_planted_ahead(void **state)
{
    ApiGarden *garden = *state;
    const int bed = garden_find_place(garden->service->garden, "bed");
    OpenVisit *visit = NULL, *found = NULL;
    int index = -1;

    visit = next_visit(garden);
    api_garden_run_to(garden, MAX(clock_now(garden->clk), visit->visit.start_utc - 1800));
    visit = next_visit(garden);
    Job plant = {.kind = JOB_PLANT_OUT, .place = bed, .position = -1};
    plant.from_place = batch_of(garden, "spare", &index)->place;
    plant.batch = index;
    const int handle = add_job(garden, visit, &plant);
    /* To move them into the bed is not to plant them, and those are other plants. */
    const Job moved = {.kind = JOB_MOVE, .batch = plant.batch, .place = bed},
              other = {.kind = JOB_PLANT_OUT, .batch = plant.batch + 1, .place = bed};
    assert_null(jobs_asking(garden->service, &moved, visit->visit.start_utc, &found));
    assert_null(jobs_asking(garden->service, &other, visit->visit.start_utc, &found));
    g_autofree char *text = assert_reports(garden, "/v1/batches/spare/plant-out", "{}", handle);
    assert_string_equal(text,
                        "spare is planted out in the bed: only frost is watched from now on.");
    const Batch *spare = batch_of(garden, "spare", NULL);
    assert_int_equal(spare->stage, STAGE_PLANTED_OUT);
    assert_int_equal(spare->place, bed);
    assert_int_equal(spare->planted_utc, clock_now(garden->clk) / STEP_S * STEP_S);
}

/* Carried as a visit under way was to: it counts as standing there already, and is no refusal. */
static void test_carried_by_a_visit(void **state)
{
    ApiGarden *garden = *state;
    Service *service = garden->service;
    const int64_t start_utc = next_visit(garden)->visit.start_utc;
    int index = -1;

    api_garden_run_to(garden, start_utc - 60);
    OpenVisit *visit = next_visit(garden);
    assert_int_equal(visit->visit.start_utc, start_utc);
    const int tunnel = garden_find_place(service->garden, "tunnel");
    const int frame = batch_of(garden, "early", &index)->place;
    Job carry = {.kind = JOB_MOVE, .batch = index, .place = tunnel, .position = -1};
    carry.from_place = frame;
    const int handle = add_job(garden, visit, &carry);
    api_garden_run_to(garden, start_utc + 60);
    service_ask_plan(service, "test");
    service_plan_now(service);
    assert_int_equal(batch_of(garden, "early", NULL)->place, tunnel);
    g_autofree char *text =
        assert_reports(garden, "/v1/batches/early/move", "{\"place\":\"tunnel\"}", handle);
    assert_string_equal(text, "early moved from the frame to the tunnel.");
    assert_int_equal(batch_of(garden, "early", NULL)->place, tunnel);
    static const ApiRow rows[] = {
        {"now it is", "POST", "/v1/batches/early/move", "{\"place\":\"tunnel\"}", 409,
         "early stands in the tunnel already"},
    };
    api_rows(garden, rows, G_N_ELEMENTS(rows));
}

static void set_unknown(ApiGarden *garden, const char *name)
{
    State *settled = &garden->service->settled;
    Batch *batch = state_find_batch(settled, name, NULL);

    batch->position_unknown = true;
    assert_true(store_put_batch(garden->service->store, garden->service->garden, batch,
                                settled->as_of_utc, NULL));
}

/* A batch that nobody knows how it stands: what the grower tells of its cover ends that. */
static void test_known_again(void **state)
{
    ApiGarden *garden = *state;
    static const ApiRow now[] = {
        {"set now", "POST", "/v1/places/frame/cover", "{\"position\":\"10 cm\"}", 200, NULL},
    };
    static const ApiRow late[] = {
        {"told of days ago; later the record has something else", "POST", "/v1/places/frame/cover",
         "{\"position\":\"closed\",\"at\":\"2026-04-16 12:00\"}", 200, NULL},
    };
    static const ApiRow other[] = {
        {"another cover", "POST", "/v1/places/tunnel/cover", "{\"position\":\"closed\"}", 200,
         NULL},
    };

    api_rows(garden, now, G_N_ELEMENTS(now));
    set_unknown(garden, "early");
    api_rows(garden, late, G_N_ELEMENTS(late));
    assert_true(batch_of(garden, "early", NULL)->position_unknown);
    api_rows(garden, other, G_N_ELEMENTS(other));
    assert_true(batch_of(garden, "early", NULL)->position_unknown);
    api_rows(garden, now, G_N_ELEMENTS(now));
    assert_false(batch_of(garden, "early", NULL)->position_unknown);
}

/* A cover that was never made to be set. */
static void test_fixed_cover(void **state)
{
    static const ApiRow rows[] = {
        {"a fixed cover", "POST", "/v1/places/box/cover", "{\"position\":\"open\"}", 409,
         "the cover of box is fixed: it stays closed"},
    };
    ApiGarden *garden = *state;
    const int box = garden_find_place(garden->service->garden, "box");
    Cover *cover = &garden->service->garden->places[box].cover;
    const int n = cover->n_positions;

    cover->n_positions = 1;
    api_rows(garden, rows, G_N_ELEMENTS(rows));
    cover->n_positions = n;
}

/* That the seedlings are up is kept with its time. */
static void test_emerged_is_noted(void **state)
{
    ApiGarden *garden = *state;
    static const ApiRow rows[] = {
        {"up", "POST", "/v1/batches/tomato-1/emerged", "{\"at\":\"2026-04-17 09:00\"}", 200,
         "tomato-1 is up since …"},
    };
    g_autoptr(GArray) notes = NULL;
    Service *service = garden->service;

    api_garden_run_to(garden, API_NOW_UTC + 2 * 86400);
    assert_int_equal(batch_of(garden, "tomato-1", NULL)->stage, STAGE_SOWN);
    api_rows(garden, rows, G_N_ELEMENTS(rows));
    assert_int_equal(batch_of(garden, "tomato-1", NULL)->stage, STAGE_EMERGED);
    assert_true(
        store_load_notes(service->store, batch_of(garden, "tomato-1", NULL)->id, &notes, NULL));
    assert_int_equal(notes->len, 1);
    const StoreNote *note = &g_array_index(notes, StoreNote, 0);
    assert_string_equal(note->text, "The seedlings are up.");
    assert_int_equal(note->time_utc, 1776412800); /* 2026-04-17 08:00 UTC */
}

/* From the moment it was seen to be up, its leaves come with the air where it stands; a measured
 * height stays, and grows with them. */
static void test_grows(void **state)
{
    ApiGarden *garden = *state;
    static const ApiRow up[] = {
        {"up", "POST", "/v1/batches/tomato-1/emerged", "{\"at\":\"2026-04-18 16:00\"}", 200,
         "tomato-1 is up since …"},
    };
    static const ApiRow measured[] = {
        {"measured", "POST", "/v1/batches/tomato-1/height", "{\"cm\":6}", 200,
         "tomato-1 is 6 cm high; it is reckoned on from there."},
    };
    const Service *service = garden->service;

    api_garden_run_to(garden, API_NOW_UTC + 2 * 86400);
    assert_false(batch_of(garden, "tomato-1", NULL)->growth.known);
    api_rows(garden, up, G_N_ELEMENTS(up));
    api_garden_run_to(garden, API_NOW_UTC + 5 * 86400);
    const Batch *batch = batch_of(garden, "tomato-1", NULL);
    const Crop *tomato = &service->garden->crops[batch->crop];
    const Place *sill = &service->garden->places[batch->place];
    const double days = (double)(service->current.as_of_utc - batch->emerged_utc) / 86400;
    assert_true(days > 1.5 && days <= 3.1); /* as of the last plan */
    assert_true(batch->growth.known);
    assert_true(
        batch->growth.leaves >= days * emergence_leaf_rate(tomato, sill->indoor_night_c) - 0.05 &&
        batch->growth.leaves <= days * emergence_leaf_rate(tomato, sill->indoor_day_c) + 0.05);
    g_autofree char *text = growing_text(service, batch);
    assert_non_null(strstr(text, "Ready to prick out about "));

    api_rows(garden, measured, G_N_ELEMENTS(measured));
    batch = batch_of(garden, "tomato-1", NULL);
    assert_true(fabs(growth_height_cm(&batch->growth) - 6) < 0.1);
    const double leaves = batch->growth.leaves;
    api_garden_run_to(garden, API_NOW_UTC + 8 * 86400);
    batch = batch_of(garden, "tomato-1", NULL);
    assert_true(batch->growth.leaves > leaves);
    assert_true(growth_height_cm(&batch->growth) > 6);
    g_autoptr(GPtrArray) early = growing_told(service, batch);
    assert_int_equal(early->len, 0);
    state_find_batch(&garden->service->current, "tomato-1", NULL)->growth.leaves = 2.1;
    g_autoptr(GPtrArray) told = growing_told(service, batch);
    assert_int_equal(told->len, 1);
    assert_string_equal(told->pdata[0],
                        "tomato-1 should have 2 true leaves by now: it is ready to prick out. When "
                        "it is done: tholectl batch prick-out tomato-1.");
}

/* What grows under a lid is told of before it touches it. */
static void test_touches_the_lid(void **state)
{
    ApiGarden *garden = *state;
    Service *service = garden->service;
    Batch *batch = state_find_batch(&service->current, "early", NULL);

    assert_non_null(batch);
    batch->potted_utc = API_NOW_UTC; /* its cells are not outgrown */
    batch->growth = (Growth){.known = true, .leaves = 5, .height_cm = 10};
    g_autoptr(GPtrArray) low = growing_told(service, batch);
    assert_int_equal(low->len, 0);
    batch->growth.height_cm = 100 * service->garden->places[batch->place].height_m - 4;
    g_autoptr(GPtrArray) high = growing_told(service, batch);
    assert_int_equal(high->len, 1);
    assert_non_null(strstr(high->pdata[0], "early should touch the cover of the frame "));
    assert_non_null(strstr(high->pdata[0], "tholectl batch height early CM"));
}

/* A week before the container is outgrown the choice is put, with the odds of each. */
static void test_outgrows(void **state)
{
    ApiGarden *garden = *state;
    Service *service = garden->service;
    Batch *batch = state_find_batch(&service->current, "tomato-1", NULL);
    Holding holding;

    batch->destination = garden_find_place(service->garden, "bed");
    batch->stage = STAGE_GROWING_ON;
    const Container *cells = &service->garden->containers[batch->container];
    const int64_t hold_s = (int64_t)(cells->hold_max_weeks * 7 * 86400);
    batch->sown_utc = API_NOW_UTC + 8 * 86400 - hold_s;
    holding_of(service, batch, &holding);
    assert_int_equal(holding.outgrown_utc, API_NOW_UTC + 8 * 86400);
    assert_false(holding_is_due(service, batch, &holding));

    batch->sown_utc -= 2 * 86400;
    holding_of(service, batch, &holding);
    assert_true(holding_is_due(service, batch, &holding));
    assert_true(holding.fleece && holding.nights > 3);
    /* one night of -4 °C lies ahead: under thin fleece a soft tomato is lost in it */
    assert_true(holding.planted_odds > 0.9);
    assert_true(service->garden->containers[holding.container].volume_ml > cells->volume_ml);
    g_autoptr(GPtrArray) told = growing_told(service, batch);
    assert_int_equal(told->len, 1);
    assert_non_null(strstr(told->pdata[0], "tomato-1 outgrows cells-40 by "));
    assert_non_null(strstr(told->pdata[0], "Planted out under fleece now (tholectl batch plant-out "
                                           "tomato-1), the odds of damage in the next "));
    assert_non_null(strstr(told->pdata[0], "over 75 %"));
    assert_non_null(strstr(told->pdata[0], "Potted on into "));
    assert_non_null(strstr(told->pdata[0], "odds of a frost after that: "));

    batch->potted_utc = API_NOW_UTC; /* potted on today */
    holding_of(service, batch, &holding);
    assert_false(holding_is_due(service, batch, &holding));
    batch->stage = STAGE_PLANTED_OUT;
    holding_of(service, batch, &holding);
    assert_true(holding.outgrown_utc == 0);
}

/* Cold that spoils the harvest is warned of while some of its days are left; so is hardening that
 * goes on too long, of crops that it spoils. */
static void test_chilled(void **state)
{
    ApiGarden *garden = *state;
    Service *service = garden->service;
    Batch *batch = state_find_batch(&service->current, "tomato-1", NULL);

    batch->potted_utc = API_NOW_UTC;
    batch->stage = STAGE_HARDENING;
    batch->growth = (Growth){.known = true, .leaves = 5, .height_cm = 12, .chill_h = 24};
    g_autoptr(GPtrArray) none = growing_told(service, batch);
    assert_int_equal(none->len, 0);
    batch->growth.chill_h = 48; /* of three days */
    g_autoptr(GPtrArray) told = growing_told(service, batch);
    assert_int_equal(told->len, 1);
    assert_string_equal(told->pdata[0],
                        "tomato-1 has had 2.0 of the 3 days below 10 °C that it may have; with "
                        "more its first fruit may be misshapen (catfaced): keep the nights warmer, "
                        "and harden it by air, light and drier compost.");
    batch->growth.leaves = 2; /* no flower is laid down yet */
    g_autoptr(GPtrArray) young = growing_told(service, batch);
    assert_int_equal(young->len, 0);

    batch->growth.hardening_h = 13 * 24; /* long, and no harm to a tomato */
    g_autoptr(GPtrArray) long_one = growing_told(service, batch);
    assert_int_equal(long_one->len, 0);
    batch->crop = garden_find_crop(service->garden, "cabbage");
    g_autoptr(GPtrArray) cabbage = growing_told(service, batch);
    assert_int_equal(cabbage->len, 1);
    assert_non_null(strstr(cabbage->pdata[0], "has been hardening for 13 days"));
    g_autofree char *text = growing_text(service, batch);
    assert_null(strstr(text, "days below"));
    batch->growth.leaves = 8;
    g_autofree char *grown = growing_text(service, batch);
    assert_non_null(strstr(grown, "It has had 2.0 of the 28 days below 10 °C that it may have."));
}

#define IN_A_GARDEN(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_A_GARDEN(test_cover_is_reported),
        IN_A_GARDEN(test_planted_ahead),
        IN_A_GARDEN(test_carried_by_a_visit),
        IN_A_GARDEN(test_known_again),
        IN_A_GARDEN(test_fixed_cover),
        IN_A_GARDEN(test_emerged_is_noted),
        IN_A_GARDEN(test_grows),
        IN_A_GARDEN(test_touches_the_lid),
        IN_A_GARDEN(test_outgrows),
        IN_A_GARDEN(test_chilled),
    };

    return cmocka_run_group_tests_name("api-told", tests, NULL, NULL);
}
