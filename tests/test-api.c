/* SPDX-License-Identifier: MIT */
/* Every route of the control interface, good and bad, of a whole service, over its socket. */
#include "api-calendar.h"
#include "api-garden.h"

#include <string.h>

#include "service/jobs.h"
#include "service/wording.h"
#include "store/store-batches.h"

static int set_up(void **state)
{
    *state = api_garden_new();
    return 0;
}

static void test_empty_garden(void **state)
{
    static const ApiRow rows[] = {
        {"who answers", "GET", "/v1/", NULL, 200, NULL},
        {"nothing to do", "GET", "/v1/today", NULL, 200, NULL},
        {"a week", "GET", "/v1/week", NULL, 200, NULL},
        {"no batches", "GET", "/v1/batches", NULL, 200, NULL},
        {"no jobs", "GET", "/v1/jobs", NULL, 200, NULL},
        {"nobody is away", "GET", "/v1/aways", NULL, 200, NULL},
        {"places", "GET", "/v1/places", NULL, 200, NULL},
        {"all crops", "GET", "/v1/crops", NULL, 200, NULL},
        {"one crop", "GET", "/v1/crops?name=tomato", NULL, 200, NULL},
        {"crops by part of a name", "GET", "/v1/crops?name=bean", NULL, 200, NULL},
        {"crops by part of a title", "GET", "/v1/crops?name=Impatiens", NULL, 200, NULL},
        {"weather", "GET", "/v1/weather/plot", NULL, 200, NULL},
        {"the days ahead to draw", "GET", "/v1/course/plot", NULL, 200, NULL},
        {"two of them", "GET", "/v1/course/home?days=2", NULL, 200, NULL},
        {"too many", "GET", "/v1/course/plot?days=10", NULL, 400,
         "days: \"10\" is not accepted; give a number from 1 to 9"},
        {"calendar", "GET", "/v1/calendar", NULL, 200, NULL},
        {"a new address, of no feed", "POST", "/v1/calendar/renew", NULL, 409,
         "no feed is served; a section [feed] of thole.conf switches it on"},
        {"of nobody", "POST", "/v1/calendar/renew", "{\"grower\":\"nobody\"}", 404,
         "there is no grower nobody; growers: …"},
        {"with something unknown", "POST", "/v1/calendar/renew", "{\"x\":1}", 400,
         "the member x is not known; accepted: grower"},
        {"check", "GET", "/v1/check", NULL, 200, NULL},
        {"export", "GET", "/v1/export", NULL, 200, NULL},
        {"a test by no channel", "POST", "/v1/calendar/test", NULL, 200,
         "No channel is set up: the calendar alone reminds, and the desktop where there is one. …"},
        {"by those of somebody", "POST", "/v1/calendar/test", "{\"grower\":\"two\"}", 404,
         "no grower is called \"two\"; …"},
        {"a test alarm", "POST", "/v1/test-alarm", NULL, 200,
         "Nothing was shown on the desktop: a rehearsal shows nothing."},
        {"the same, with something unknown", "POST", "/v1/test-alarm", "{\"x\":1}", 400,
         "the member x is not known; accepted: none"},
        {"a query that is not known", "GET", "/v1/?x=1", NULL, 400,
         "the query's x is not known; accepted: none"},
        {"the same", "GET", "/v1/today?x=1", NULL, 400,
         "the query's x is not known; accepted: none"},
        {"the same", "GET", "/v1/week?x=1", NULL, 400,
         "the query's x is not known; accepted: none"},
        {"a flag", "GET", "/v1/batches?ended=perhaps", NULL, 400,
         "ended=perhaps is not accepted; give true or false"},
        {"a query", "GET", "/v1/jobs?x=1", NULL, 400, "the query's x is not known; accepted: none"},
        {"a query", "GET", "/v1/aways?x=1", NULL, 400,
         "the query's x is not known; accepted: none"},
        {"a query", "GET", "/v1/places?x=1", NULL, 400,
         "the query's x is not known; accepted: none"},
        {"a query", "GET", "/v1/calendar?x=1", NULL, 400,
         "the query's x is not known; accepted: none"},
        {"a query", "GET", "/v1/check?x=1", NULL, 400,
         "the query's x is not known; accepted: none"},
        {"a query", "GET", "/v1/export?x=1", NULL, 400,
         "the query's x is not known; accepted: none"},
        {"a crop's name", "GET", "/v1/crops?name=tomatto", NULL, 404,
         "no crop is called \"tomatto\"; did you mean \"tomato\"? crops: …"},
        {"a site's name", "GET", "/v1/weather/plott", NULL, 404,
         "no site is called \"plott\"; did you mean \"plot\"? sites: home, plot"},
        {"no batch yet", "GET", "/v1/batches/leek-1", NULL, 404,
         "no batch is called \"leek-1\"; there are no batches yet"},
        {"no batch yet", "GET", "/v1/why/leek-1", NULL, 404,
         "no batch is called \"leek-1\"; there are no batches yet"},
    };

    ROWS(*state, rows);
}

static void test_batch_add(void **state)
{
    static const ApiRow rows[] = {
        {"a crop is needed", "POST", "/v1/batches", "{}", 400,
         "crop is missing; give text of 1 to 2000 bytes in one line"},
        {"the crop is misspelt", "POST", "/v1/batches", "{\"crop\":\"lek\",\"number\":1}", 400,
         "no crop is called \"lek\"; did you mean \"leek\"? crops: …"},
        {"no plants", "POST", "/v1/batches", "{\"crop\":\"leek\",\"number\":0}", 400,
         "number: 0 is not accepted; give a whole number from 1 to 10000"},
        {"no such place", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":1,\"place\":\"fram\"}", 404,
         "no place is called \"fram\"; did you mean \"frame\"? places: sill, frame, tunnel, box, "
         "bed"},
        {"no such container", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":1,\"container\":\"pot-8\"}", 400,
         "no container is called \"pot-8\"; …"},
        {"a name with a space", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":1,\"name\":\"my leeks\"}", 400,
         "name: \"my leeks\" is not accepted; give letters, digits, - and _, no spaces, at most 47 "
         "bytes"},
        {"sown tomorrow", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":1,\"sown\":\"2026-04-17\"}", 400,
         "sown: Fri 00:00 is still to come; give a time of the last 366 days, up to now"},
        {"a destination indoors", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":1,\"destination\":\"sill\"}", 409,
         "destination: sill is indoors; a batch ends in a bed, under fleece, or in a tunnel or "
         "greenhouse"},
        {"too many for the frame", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":200,\"place\":\"frame\"}", 409,
         "frame holds 3 trays; leek-1 needs 5, and 0 are taken"},
        {"a member that is not known", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":1,\"colour\":\"green\"}", 400,
         "the member colour is not known; accepted: crop, number, place, name, cultivar, "
         "container, sown, bought, "
         "destination"},
        {"the least that is needed", "POST", "/v1/batches", "{\"crop\":\"tomato\",\"number\":12}",
         200,
         "12 tomatoes (tomato-1) in 1 tray of cells-40, sown Thu 16 Apr, on the sill; to be "
         "planted "
         "in the bed."},
        {"everything given", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":60,\"place\":\"frame\",\"name\":\"early\",\"cultivar\":"
         "\"Green Giant\","
         "\"container\":\"cells-60\",\"sown\":\"2026-01-28\",\"bought\":false,\"destination\":"
         "\"bed\"}",
         200,
         "60 leeks (early) in 1 tray of cells-60, sown Wed 28 Jan, in the frame; to be planted in "
         "the bed. Hardening begins."},
        {"a name that is taken", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":1,\"name\":\"early\"}", 409,
         "a batch is called \"early\" already; give another name"},
        {"bought, on the sill", "POST", "/v1/batches",
         "{\"crop\":\"Cabbage\",\"number\":24,\"bought\":true}", 200,
         "24 cabbages (cabbage-1) in 1 tray of cells-40, bought Thu 16 Apr, on the sill; to be "
         "planted in the bed."},
        {"a full frame names who stands there", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":120,\"place\":\"frame\"}", 409,
         "frame holds 3 trays; leek-1 needs 3, and 1 is taken: early (1)"},
        {"a name misspelt", "GET", "/v1/batches/earl", NULL, 404,
         "no batch is called \"earl\"; did you mean \"early\"? batches: tomato-1, early, "
         "cabbage-1"},
        {"one batch", "GET", "/v1/batches/early", NULL, 200, NULL},
        {"all", "GET", "/v1/batches", NULL, 200, NULL},
        {"a query", "GET", "/v1/batches/early?x=1", NULL, 400,
         "the query's x is not known; accepted: none"},
    };

    ROWS(*state, rows);
}

static void test_batch_changes(void **state)
{
    static const ApiRow rows[] = {
        {"where to is needed", "POST", "/v1/batches/cabbage-1/move", "{}", 400,
         "place is missing; give text of 1 to 2000 bytes in one line"},
        {"it stands there", "POST", "/v1/batches/cabbage-1/move", "{\"place\":\"sill\"}", 409,
         "cabbage-1 stands on the sill already"},
        {"a move to come", "POST", "/v1/batches/cabbage-1/move",
         "{\"place\":\"frame\",\"at\":\"23:00\"}", 400,
         "at: Thu 23:00 is still to come; give a time of the last 366 days, up to now"},
        {"out of the heat", "POST", "/v1/batches/cabbage-1/move",
         "{\"place\":\"frame\",\"at\":\"16:40\"}", 200,
         "cabbage-1 moved from the sill to the frame. Hardening begins."},
        {"too early", "POST", "/v1/batches/tomato-1/move", "{\"place\":\"tunnel\"}", 200,
         "tomato-1 moved from the sill to the tunnel. It is early to leave the heat: it is large "
         "enough about …"},
        {"back", "POST", "/v1/batches/tomato-1/move", "{\"place\":\"sill\"}", 200,
         "tomato-1 moved from the tunnel to the sill."},
        {"a destination indoors", "POST", "/v1/batches/tomato-1/destination",
         "{\"place\":\"sill\"}", 409,
         "sill is indoors; a batch ends in a bed, under fleece, or in a tunnel or greenhouse"},
        {"a destination", "POST", "/v1/batches/tomato-1/destination", "{\"place\":\"tunnel\"}", 200,
         "tomato-1 is to be planted in the tunnel."},
        {"up before it was sown", "POST", "/v1/batches/tomato-1/emerged", "{\"at\":\"2026-04-10\"}",
         400, "at: tomato-1 was sown Thu 17:00; give a time after that"},
        {"up tomorrow", "POST", "/v1/batches/tomato-1/emerged", "{\"at\":\"2026-04-17\"}", 400,
         "at: Fri 00:00 is still to come; give a time of the last 366 days, up to now"},
        {"high before it is up", "POST", "/v1/batches/tomato-1/height", "{\"cm\":3}", 409,
         "tomato-1 is not up yet; if it is: tholectl batch emerged tomato-1"},
        {"up", "POST", "/v1/batches/tomato-1/emerged", "{}", 200,
         "tomato-1 is up since Thu 17:00."},
        {"up twice", "POST", "/v1/batches/tomato-1/emerged", "{}", 409,
         "tomato-1 is emerged already; only what is sown comes up"},
        {"long past that", "POST", "/v1/batches/cabbage-1/emerged", "{}", 409,
         "cabbage-1 is hardening already; only what is sown comes up"},
        {"no height", "POST", "/v1/batches/tomato-1/height", "{\"cm\":0}", 400,
         "cm: 0 is not accepted; give a number from 0.5 to 300"},
        {"measured", "POST", "/v1/batches/tomato-1/height", "{\"cm\":2.5}", 200,
         "tomato-1 is 2.5 cm high; it is reckoned on from there."},
        {"no number", "POST", "/v1/batches/tomato-1/prick-out", "{\"number\":-1}", 400,
         "number: -1 is not accepted; give a whole number from 1 to 10000"},
        {"pricked out", "POST", "/v1/batches/tomato-1/prick-out",
         "{\"container\":\"pot-9\",\"number\":10}", 200,
         "10 tomatoes (tomato-1) pricked out into 2 trays of pot-9. Settling until …"},
        {"no container", "POST", "/v1/batches/tomato-1/pot-on", "{}", 400,
         "container is missing; give text of 1 to 2000 bytes in one line"},
        {"potted on", "POST", "/v1/batches/tomato-1/pot-on", "{\"container\":\"pot-11\"}", 200,
         "10 tomatoes (tomato-1) potted on into 2 trays of pot-11. Settling until …"},
        {"too large a part", "POST", "/v1/batches/early/split", "{\"number\":60}", 409,
         "early has 60 plants; give a number below that"},
        {"split", "POST", "/v1/batches/early/split",
         "{\"number\":20,\"name\":\"late\",\"place\":\"tunnel\"}", 200,
         "20 of early are now late; 40 stay."},
        {"split without a name", "POST", "/v1/batches/early/split", "{\"number\":1}", 200,
         "1 of early is now leek-1; 39 stay."},
        {"more than there are", "POST", "/v1/batches/late/losses", "{\"number\":21}", 409,
         "late has 20 plants; 21 cannot be lost"},
        {"slugs", "POST", "/v1/batches/late/losses", "{\"number\":3,\"cause\":\"slugs\"}", 200,
         "3 of late lost; 17 left."},
        {"water for nobody", "POST", "/v1/waterings", "{\"of\":\"frmae\"}", 404,
         "no batch or place is called \"frmae\"; did you mean …"},
        {"water for an empty place", "POST", "/v1/waterings", "{\"of\":\"bed\"}", 409,
         "nothing stands in bed"},
        {"watered", "POST", "/v1/waterings", "{\"of\":\"late\"}", 200, "Late watered …"},
        {"a place watered", "POST", "/v1/waterings", "{\"of\":\"tunnel\"}", 200,
         "Tunnel watered …"},
        {"a note of nothing", "POST", "/v1/batches/late/notes", "{\"text\":\"\"}", 400,
         "text: \"\" is not accepted; give text of 1 to 2000 bytes in one line"},
        {"a note", "POST", "/v1/batches/late/notes", "{\"text\":\"firm and dark\"}", 200,
         "Noted for late."},
        {"a batch with a record", "GET", "/v1/batches/late", NULL, 200, NULL},
        {"planted indoors", "POST", "/v1/batches/late/plant-out", "{\"place\":\"sill\"}", 409,
         "sill is indoors; nothing is planted out there"},
        {"planted out", "POST", "/v1/batches/late/plant-out", "{}", 200,
         "late is planted out in the bed: only frost is watched from now on."},
        {"planted twice", "POST", "/v1/batches/late/plant-out", "{}", 409,
         "late is planted out already"},
        {"the end of another", "POST", "/v1/batches/latest/end", "{}", 404,
         "no batch is called \"latest\"; did you mean \"late\"? batches: …"},
        {"the last one lost", "POST", "/v1/batches/leek-1/losses", "{\"number\":1}", 200,
         "1 of leek-1 lost; 0 left. The batch has ended; its records stay."},
        {"the end", "POST", "/v1/batches/late/end", "{}", 200, "late has ended; its records stay."},
        {"the ended too", "GET", "/v1/batches?ended=true", NULL, 200, NULL},
        {"the record of it all", "GET", "/v1/export", NULL, 200, NULL},
    };

    ROWS(*state, rows);
}

static void test_records(void **state)
{
    static const ApiRow rows[] = {
        {"a reading of nothing", "POST", "/v1/readings", "{\"place\":\"frame\"}", 400,
         "value is missing; give a number from -40 to 60"},
        {"in another unit", "POST", "/v1/readings",
         "{\"place\":\"frame\",\"value\":1,\"unit\":\"K\"}", 400,
         "unit: \"K\" is not accepted; give C or F"},
        {"hot as no air is", "POST", "/v1/readings",
         "{\"place\":\"frame\",\"value\":145,\"unit\":\"F\"}", 400,
         "value: 145 is not accepted; give a number from -40 to 140"},
        {"frost on the sill", "POST", "/v1/readings", "{\"place\":\"sill\",\"value\":-8}", 400,
         "value: −8 °C is not likely in sill, which is indoors; give −5 °C to 50 °C, or the place "
         "where the "
         "thermometer is"},
        {"of another kind", "POST", "/v1/readings",
         "{\"place\":\"frame\",\"value\":3,\"kind\":\"mean\"}", 400,
         "kind: \"mean\" is not accepted; give now, min or max"},
        {"a reading", "POST", "/v1/readings", "{\"place\":\"frame\",\"value\":19.4}", 200,
         "frame 19.4 °C; reckoned …"},
        {"in degrees Fahrenheit", "POST", "/v1/readings",
         "{\"place\":\"frame\",\"value\":67.1,\"unit\":\"F\"}", 200, "frame 19.5 °C; reckoned …"},
        {"of the open air", "POST", "/v1/readings", "{\"place\":\"plot\",\"value\":14}", 200,
         "plot 14.0 °C; reckoned …"},
        {"as no air can be then", "POST", "/v1/readings", "{\"place\":\"plot\",\"value\":-9}", 400,
         "value: −9.0 °C cannot be in the open air at plot then: 1…"},
        {"of a place or site that is not there", "POST", "/v1/readings",
         "{\"place\":\"hill\",\"value\":3}", 404,
         "no place is called \"hill\"; did you mean \"sill\"? places: …"},
        {"a thermometer that was moved", "POST", "/v1/readings",
         "{\"place\":\"frame\",\"value\":19.5,\"moved\":1}", 400,
         "moved: 1 is not accepted; give true or false"},
        {"the air since a time", "POST", "/v1/readings",
         "{\"place\":\"frame\",\"value\":3,\"since\":\"2026-04-01\"}", 400,
         "since: only a minimum or maximum is since a time; give kind min or max"},
        {"set back after it was read", "POST", "/v1/readings",
         "{\"place\":\"frame\",\"value\":21,\"kind\":\"max\",\"at\":\"2026-04-02 18:00\","
         "\"since\":\"2026-04-02 18:00\"}",
         400,
         "since: Thu 2 Apr 18:00 is not before the reading; give when the thermometer was reset"},
        {"a maximum that nobody reckoned", "POST", "/v1/readings",
         "{\"place\":\"frame\",\"value\":21,\"kind\":\"max\",\"at\":\"2026-04-02 18:00\"}", 200,
         "frame maximum 21.0 °C; nothing was reckoned for that time. It is kept; nothing is "
         "learned "
         "from it."},
        {"a frost nowhere", "POST", "/v1/frosts",
         "{\"site\":\"hill\",\"night\":\"tonight\",\"low\":-2}", 404,
         "no site is called \"hill\"; sites: home, plot"},
        {"a night that is over", "POST", "/v1/frosts",
         "{\"site\":\"plot\",\"night\":\"2026-04-14\",\"low\":-2}", 400,
         "night: Tue 14 Apr is over; give a day from 2026-04-16 to 2026-04-25, on which the night "
         "begins"},
        {"a frost heard of", "POST", "/v1/frosts",
         "{\"site\":\"plot\",\"night\":\"tonight\",\"low\":-3}", 200,
         "Noted: a low of −3 °C at the plot in the night that begins Thu 16 Apr. The forecast "
         "said 4.1 °C ± 1.2."},
        {"the warning is in the weather", "GET", "/v1/weather/plot", NULL, 200, NULL},
        {"away from nothing", "POST", "/v1/aways", "{\"to\":\"2026-04-20\"}", 400,
         "from is missing; give a time like …"},
        {"back before leaving", "POST", "/v1/aways",
         "{\"from\":\"2026-04-20\",\"to\":\"2026-04-18\"}", 400,
         "to: it must lie after from, not be past, and at most 366 days after from"},
        {"nobody is away", "POST", "/v1/aways/end", "{}", 409,
         "nobody is away, and no absence is to come"},
        {"away, to the end of a day", "POST", "/v1/aways",
         "{\"from\":\"2026-04-20\",\"to\":\"2026-04-21\"}", 200,
         "Noted: away from Mon 20 Apr to the end of Tue 21 Apr."},
        {"who is away", "GET", "/v1/aways", NULL, 200, NULL},
        {"not after all", "POST", "/v1/aways/end", "{}", 200,
         "Taken back: away from Mon 20 Apr to the end of Tue 21 Apr."},
        {"away now", "POST", "/v1/aways", "{\"from\":\"2026-04-16\",\"to\":\"17:30\"}", 200,
         "Noted: away from Thu 00:00 to Thu 17:30."},
        {"back now", "POST", "/v1/aways/end", "{}", 200,
         "Back now; ended: away from Thu 00:00 to Thu 17:30."},
    };

    ROWS(*state, rows);
}

static void test_cover(void **state)
{
    static const ApiRow rows[] = {
        {"no such place", "POST", "/v1/places/fram/cover", "{\"position\":\"closed\"}", 404,
         "no place is called \"fram\"; did you mean \"frame\"? places: sill, frame, tunnel, box, "
         "bed"},
        {"a place without a cover", "POST", "/v1/places/sill/cover", "{\"position\":\"open\"}", 409,
         "sill has no cover that could be set"},
        {"no position", "POST", "/v1/places/frame/cover", "{}", 400,
         "position is missing; give text of 1 to 2000 bytes in one line"},
        {"a position that it does not have", "POST", "/v1/places/frame/cover",
         "{\"position\":\"half\"}", 400,
         "position: frame has no \"half\"; positions: closed, 10 cm, 20 cm, open"},
        {"a position misspelt", "POST", "/v1/places/frame/cover", "{\"position\":\"close\"}", 400,
         "position: frame has no \"close\"; did you mean \"closed\"? positions: closed, 10 cm, "
         "20 cm, open"},
        {"of another kind of cover", "POST", "/v1/places/tunnel/cover", "{\"position\":\"10 cm\"}",
         400, "position: tunnel has no \"10 cm\"; positions: closed, doors open"},
        {"in a while", "POST", "/v1/places/frame/cover", "{\"position\":\"open\",\"at\":\"23:00\"}",
         400, "at: Thu 23:00 is still to come; give a time of the last 366 days, up to now"},
        {"a member that is not known", "POST", "/v1/places/frame/cover",
         "{\"position\":\"open\",\"gap\":10}", 400,
         "the member gap is not known; accepted: position, at"},
        {"propped", "POST", "/v1/places/frame/cover", "{\"position\":\"10 cm\",\"at\":\"16:40\"}",
         200, "Frame: 10 cm since Thu 16:40."},
        {"a number alone", "POST", "/v1/places/frame/cover", "{\"position\":\"20\"}", 200,
         "Frame: 20 cm since Thu 17:00."},
        {"with other capitals and blanks", "POST", "/v1/places/tunnel/cover",
         "{\"position\":\" Doors  open\"}", 200, "Tunnel: doors open since Thu 17:00."},
        {"told late: the record has a later position", "POST", "/v1/places/frame/cover",
         "{\"position\":\"OPEN\",\"at\":\"12:00\"}", 200,
         "Frame: open since Thu 12:00. After that: 10 cm since Thu 16:30. After that: 20 cm since "
         "Thu 17:00."},
    };
    ApiGarden *garden = *state;
    const Garden *g = garden->service->garden;
    const int frame = garden_find_place(g, "frame");

    ROWS(garden, rows);
    assert_string_equal(
        g->places[frame].cover.positions[garden->service->current.positions[frame]].name, "20 cm");
}

/* What a forecast leaves out is said beside the nights and where a decision is explained. */
/* The numbers of a reading are those of its text. */
static void test_reading_numbers(void **state)
{
    ApiGarden *garden = *state;
    int status = 0;
    g_autoptr(JsonParser) parser = json_parser_new();
    JsonObject *reply = api_ask(garden, parser, "POST", "/v1/readings",
                                "{\"place\":\"frame\",\"value\":18.3}", &status);

    assert_int_equal(status, 200);
    JsonObject *reading = json_object_get_object_member(reply, "reading");
    const double computed_c = json_object_get_double_member(reading, "computed_c");
    const double before_c = json_object_get_double_member(reading, "tonight_before_c");
    const double after_c = json_object_get_double_member(reading, "tonight_after_c");
    g_autofree char *reckoned =
        g_strdup_printf("frame 18.3 °C; reckoned %.1f °C ± %.1f.", computed_c,
                        json_object_get_double_member(reading, "spread_k"));
    assert_true(g_str_has_prefix(json_object_get_string_member(reply, "text"), reckoned));
    assert_float_equal(json_object_get_double_member(reading, "read_c"), 18.3, 1e-9);
    assert_true((18.3 - computed_c) * (after_c - before_c) >= 0.0);
    assert_false(json_object_get_boolean_member(reading, "learned"));
    assert_float_equal(json_object_get_double_member(reading, "bias_before_k"),
                       json_object_get_double_member(reading, "bias_after_k"), 0.0);
    reply = api_ask(garden, parser, "POST", "/v1/places/frame/cover", "{\"position\":\"closed\"}",
                    &status);
    assert_true(json_object_get_null_member(reply, "reading"));
}

static void test_estimates(void **state)
{
    ApiGarden *garden = *state;
    static const char sentence[] =
        "Not in the forecast, so estimated: sunshine (from the cloud), temperatures between its "
        "hours, dew point, cloud, wind, the hours of the rain.";
    int status = 0;
    g_autoptr(JsonParser) parser = json_parser_new();
    g_autofree char *nothing = wording_estimates(EST_TEMPERATURE | EST_WARNING);
    g_autofree char *sun = wording_estimates(EST_RADIATION);

    assert_null(nothing);
    assert_string_equal(sun, "Not in the forecast, so estimated: sunshine (from the cloud).");
    JsonObject *weather = api_ask(garden, parser, "GET", "/v1/weather/plot", NULL, &status);
    assert_true(json_object_get_null_member(weather, "estimates"));

    GArray *steps = garden->service->weather[1].steps;
    for (guint i = 0; i < steps->len; i++) {
        OutdoorStep *step = &g_array_index(steps, OutdoorStep, i);
        if (!(step->estimated & EST_TEMPERATURE))
            step->estimated |= EST_RADIATION | EST_INTERPOLATED | EST_DEW_POINT | EST_CLOUD |
                               EST_WIND | EST_PRECIPITATION;
    }
    weather = api_ask(garden, parser, "GET", "/v1/weather/plot", NULL, &status);
    assert_int_equal(status, 200);
    assert_string_equal(json_object_get_string_member(weather, "estimates"), sentence);
    JsonObject *night =
        json_array_get_object_element(json_object_get_array_member(weather, "nights"), 0);
    /* and the warning of before */
    assert_int_equal(json_array_get_length(json_object_get_array_member(night, "estimated")), 7);

    JsonObject *why = api_ask(garden, parser, "GET", "/v1/why/early", NULL, &status);
    JsonObject *told = json_array_get_object_element(json_object_get_array_member(why, "steps"), 0);
    assert_string_equal(json_object_get_string_member(told, "about"), "forecast");
    assert_true(g_str_has_suffix(json_object_get_string_member(told, "text"), sentence));
}

/* Thursday 16 April: a sill, a frame, a tunnel with a box, a bed. */
static void test_sow(void **state)
{
    static const ApiRow rows[] = {
        {"forwards", "GET", "/v1/sow/tomato?sow=2026-04-20", NULL, 200, NULL},
        {"backwards", "GET", "/v1/sow/courgette?out=2026-06-10&place=sill&number=9", NULL, 200,
         NULL},
        {"too cold", "GET", "/v1/sow/pepper?sow=today&place=frame", NULL, 200, NULL},
        {"under a tunnel", "GET", "/v1/sow/melon?sow=today&destination=tunnel&container=pot-9",
         NULL, 200, NULL},
        {"a crop's name", "GET", "/v1/sow/tomatto?sow=today", NULL, 404,
         "no crop is called \"tomatto\"; did you mean \"tomato\"? crops: …"},
        {"no day", "GET", "/v1/sow/tomato", NULL, 400,
         "out and sow are missing; give either out, the day to plant, or sow, the day to sow"},
        {"both days", "GET", "/v1/sow/tomato?out=2026-06-10&sow=today", NULL, 400,
         "out and sow are both given; give either out, the day to plant, or sow, the day to sow"},
        {"a past planting", "GET", "/v1/sow/tomato?out=yesterday", NULL, 400,
         "out: yesterday is past; give a day from 2026-04-16 to 2027-04-17"},
        {"sown long ago", "GET", "/v1/sow/tomato?sow=2026-02-01", NULL, 400,
         "sow: 2026-02-01 is too long ago; give a day from 2026-02-15 to 2027-04-17"},
        {"far ahead", "GET", "/v1/sow/tomato?out=2030-02-01", NULL, 400,
         "out: 2030-02-01 is too far ahead; give a day from 2026-04-16 to 2027-04-17"},
        {"no day at all", "GET", "/v1/sow/tomato?out=June", NULL, 400,
         "out: \"June\" is not accepted; give a day like …"},
        {"no such place", "GET", "/v1/sow/tomato?sow=today&place=shed", NULL, 404,
         "no place is called \"shed\"; …"},
        {"a destination indoors", "GET", "/v1/sow/tomato?sow=today&destination=sill", NULL, 409,
         "destination: sill is indoors; …"},
        {"no such container", "GET", "/v1/sow/tomato?sow=today&container=pot-8", NULL, 400,
         "no container is called \"pot-8\"; …"},
        {"half a plant", "GET", "/v1/sow/tomato?sow=today&number=1.5", NULL, 400,
         "number: \"1.5\" is not accepted; give a whole number from 1 to 10000"},
        {"a slip", "GET", "/v1/sow/tomato?sow=today&where=sill", NULL, 400,
         "the query's where is not known; …"},
        {"seed that never comes up in time", "GET", "/v1/sow/melon?out=2026-05-01&place=frame",
         NULL, 409,
         "out: no day of sowing melon in frame is early enough. Too cold to germinate: …"},
        {"a season", "GET", "/v1/season", NULL, 200, NULL},
        {"a query", "GET", "/v1/season?x=1", NULL, 400,
         "the query's x is not known; accepted: none"},
    };
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;

    ROWS(*state, rows);
    JsonObject *sow = api_ask(*state, parser, "GET", rows[2].target, NULL, &status);
    assert_string_equal(json_object_get_string_member(sow, "fit"), "too cold");
    sow = api_ask(*state, parser, "GET", rows[0].target, NULL, &status);
    JsonArray *steps = json_object_get_array_member(sow, "steps");
    static const char *const order[] = {"sow",        "up",       "prick out", "leave the heat",
                                        "harden off", "plant out"};
    const char *before = "2026-04-20";
    assert_int_equal(json_array_get_length(steps), G_N_ELEMENTS(order));
    for (guint i = 0; i < G_N_ELEMENTS(order); i++) {
        JsonObject *step = json_array_get_object_element(steps, i);
        const char *date = json_object_get_string_member(step, "date");
        assert_string_equal(json_object_get_string_member(step, "step"), order[i]);
        assert_true(strcmp(before, date) <= 0);
        before = date;
    }
}

static void test_why(void **state)
{
    static const ApiRow rows[] = {
        {"a day that is past", "GET", "/v1/why/early?date=2026-04-15", NULL, 400,
         "date: 2026-04-15 is past; give a day from 2026-04-16 to 2026-04-25"},
        {"a day beyond the plan", "GET", "/v1/why/early?date=2026-05-15", NULL, 400,
         "date: 2026-05-15 is beyond the plan; give a day from 2026-04-16 to 2026-04-25"},
        {"today", "GET", "/v1/why/early", NULL, 200, NULL},
        {"what if", "POST", "/v1/what-if",
         "{\"change\":\"place\",\"kind\":\"cold-frame\",\"site\":\"home\"}", 200, NULL},
        {"what if not", "POST", "/v1/what-if", "{}", 400, "change is missing; …"},
        {"the night of frost", "GET", "/v1/why/early?date=2026-04-18", NULL, 200, NULL},
        {"on the sill", "GET", "/v1/why/tomato-1?date=tomorrow", NULL, 200, NULL},
    };
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;

    ROWS(*state, rows);
    JsonObject *why = api_ask(*state, parser, "GET", "/v1/why/early", NULL, &status);
    JsonArray *steps = json_object_get_array_member(why, "steps");
    static const char *const about[] = {"forecast", "place", "batch", "limit"};
    for (guint i = 0; i < G_N_ELEMENTS(about); i++)
        assert_string_equal(
            json_object_get_string_member(json_array_get_object_element(steps, i), "about"),
            about[i]);
    const char *first =
        json_object_get_string_member(json_array_get_object_element(steps, 0), "text");
    assert_non_null(strstr(first, "By the warning that you passed on"));
}

/* The first open job of a visit that has begun (or not), by its handle; 0 none. */
static int first_handle(ApiGarden *garden, gboolean begun)
{
    for (guint i = 0; i < garden->service->visits->len; i++) {
        const OpenVisit *visit = garden->service->visits->pdata[i];
        for (guint k = 0; visit->begun == begun && k < visit->jobs->len; k++)
            if (g_array_index(visit->jobs, OpenJob, k).state == STORE_JOB_PLANNED)
                return g_array_index(visit->jobs, OpenJob, k).handle;
    }
    return 0;
}

static guint open_jobs(ApiGarden *garden)
{
    guint n = 0;

    for (guint i = 0; i < garden->service->visits->len; i++) {
        const OpenVisit *visit = garden->service->visits->pdata[i];
        for (guint k = 0; k < visit->jobs->len; k++)
            n += g_array_index(visit->jobs, OpenJob, k).state == STORE_JOB_PLANNED;
    }
    return n;
}

/* Whether a visit still to come asks for the same. */
static gboolean is_asked(const ApiGarden *garden, const Job *job)
{
    for (guint i = 0; i < garden->service->visits->len; i++) {
        const OpenVisit *visit = garden->service->visits->pdata[i];
        for (guint k = 0; !visit->begun && k < visit->jobs->len; k++) {
            const OpenJob *open = &g_array_index(visit->jobs, OpenJob, k);
            if (open->state == STORE_JOB_PLANNED && open->job.kind == job->kind &&
                open->job.batch == job->batch && open->job.place == job->place &&
                open->job.position == job->position)
                return TRUE;
        }
    }
    return FALSE;
}

static void test_jobs(void **state)
{
    static const ApiRow rows[] = {
        {"no state", "POST", "/v1/jobs/report", "{\"all\":true}", 400,
         "state is missing; give text of 1 to 2000 bytes in one line"},
        {"another state", "POST", "/v1/jobs/report", "{\"state\":\"half\",\"all\":true}", 400,
         "state: \"half\" is not accepted; give done or missed"},
        {"neither jobs nor all", "POST", "/v1/jobs/report", "{\"state\":\"done\"}", 400,
         "give either jobs, the numbers of the jobs, or all"},
        {"both", "POST", "/v1/jobs/report", "{\"state\":\"done\",\"jobs\":[1],\"all\":true}", 400,
         "give either jobs, the numbers of the jobs, or all"},
        {"no such job", "POST", "/v1/jobs/report", "{\"state\":\"done\",\"jobs\":[9999]}", 404,
         "there is no open job 9999; tholectl done lists the open ones"},
        {"nothing has begun", "POST", "/v1/jobs/report", "{\"state\":\"done\",\"all\":true}", 409,
         "no job of a visit that has begun is open"},
    };
    ApiGarden *garden = *state;
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;

    ROWS(garden, rows);
    assert_true(garden->service->visits->len > 0);
    const OpenVisit *next = garden->service->visits->pdata[0];
    api_garden_run_to(garden, next->visit.start_utc + 600);
    const int handle = first_handle(garden, TRUE);
    assert_true(handle > 0);

    /* With one that does not exist none is kept. */
    const guint open = open_jobs(garden);
    g_autofree char *half = g_strdup_printf("{\"state\":\"done\",\"jobs\":[%d,9999]}", handle);
    (void)api_ask(garden, parser, "POST", "/v1/jobs/report", half, &status);
    assert_int_equal(status, 404);
    assert_int_equal(open_jobs(garden), open);
    assert_int_equal(first_handle(garden, TRUE), handle);

    g_autofree char *missed = g_strdup_printf("{\"state\":\"missed\",\"jobs\":[%d]}", handle);
    JsonObject *reply = api_ask(garden, parser, "POST", "/v1/jobs/report", missed, &status);
    assert_int_equal(status, 200);
    JsonArray *jobs = json_object_get_array_member(reply, "jobs");
    assert_int_equal(json_array_get_length(jobs), 1);
    JsonObject *job = json_array_get_object_element(jobs, 0);
    assert_int_equal(json_object_get_int_member(job, "handle"), handle);
    assert_string_equal(json_object_get_string_member(job, "state"), "missed");
    assert_true(g_str_has_prefix(json_object_get_string_member(reply, "text"), "Missed: "));

    static const ApiRow after[] = {
        {"jobs", "GET", "/v1/jobs", NULL, 200, NULL},
        {"today", "GET", "/v1/today", NULL, 200, NULL},
        {"the week", "GET", "/v1/week", NULL, 200, NULL},
        {"places", "GET", "/v1/places", NULL, 200, NULL},
        {"calendar", "GET", "/v1/calendar", NULL, 200, NULL},
        {"check", "GET", "/v1/check", NULL, 200, NULL},
    };
    ROWS(garden, after);
    const int ahead = first_handle(garden, FALSE);
    assert_true(ahead > 0);
    const Job was = jobs_find(garden->service, ahead, NULL)->job;
    g_autofree char *done = g_strdup_printf("{\"state\":\"done\",\"jobs\":[%d]}", ahead);
    reply = api_ask(garden, parser, "POST", "/v1/jobs/report", done, &status);
    assert_int_equal(status, 200);
    assert_true(g_str_has_prefix(json_object_get_string_member(reply, "text"), "Done: "));
    /* The plan knows it: the same is not asked for again. */
    assert_false(is_asked(garden, &was));
}

/* Batch ids of the jobs of visits that have begun, by the jobs' ids; "" without a batch. */
static GHashTable *begun_jobs(const ApiGarden *garden)
{
    GHashTable *jobs = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
    const GArray *batches = garden->service->current.batches;

    for (guint i = 0; i < garden->service->visits->len; i++) {
        const OpenVisit *visit = garden->service->visits->pdata[i];
        for (guint k = 0; visit->begun && k < visit->jobs->len; k++) {
            const Job *job = &g_array_index(visit->jobs, OpenJob, k).job;
            assert_true(job->batch < (int)batches->len);
            g_hash_table_insert(
                jobs, g_strdup(job->id),
                g_strdup(job->batch >= 0 ? g_array_index(batches, Batch, job->batch).id : ""));
        }
    }
    return jobs;
}

/* The batches behind an ended one get other indices: jobs under way stay with their own batch. */
static void test_end_before_reports(void **state)
{
    static const ApiRow rows[] = {
        {"the first of the batches ends", "POST", "/v1/batches/tomato-1/end", "{}", 200,
         "tomato-1 has ended; its records stay."},
        {"the jobs are about living batches", "GET", "/v1/jobs", NULL, 200, NULL},
    };
    ApiGarden *garden = *state;
    const Batch *tomato = state_find_batch(&garden->service->current, "tomato-1", NULL);
    g_autofree char *ended = g_strdup(tomato->id);
    g_autoptr(GHashTable) before = begun_jobs(garden);
    guint about_batches = 0;

    ROWS(garden, rows);
    g_autoptr(GHashTable) after = begun_jobs(garden);
    GHashTableIter iter;
    gpointer job, batch;
    g_hash_table_iter_init(&iter, before);
    while (g_hash_table_iter_next(&iter, &job, &batch)) {
        about_batches += *(const char *)batch != '\0';
        if (!g_str_equal(batch, ended))
            assert_string_equal(g_hash_table_lookup(after, job), batch);
        else
            assert_null(g_hash_table_lookup(after, job));
    }
    assert_true(about_batches > 0);
}

/* A plan that cannot be made takes nothing back: the clock stands before the record. */
static void test_kept_without_a_plan(void **state)
{
    ApiGarden *garden = *state;
    g_autoptr(JsonParser) parser = json_parser_new();
    g_autoptr(GArray) notes = NULL;
    int status = 0;

    clock_virtual_step_wall(garden->clk, -2 * 86400);
    JsonObject *reply = api_ask(garden, parser, "POST", "/v1/batches/early/notes",
                                "{\"text\":\"written anyway\"}", &status);
    assert_int_equal(status, 200);
    assert_string_equal(
        json_object_get_string_member(reply, "text"),
        "Noted for early.\nIt is kept, but no new plan could be made: the clock stands before what "
        "is "
        "already recorded; set it right, the record is kept: the plan is the old one.");
    const Batch *early = state_find_batch(&garden->service->current, "early", NULL);
    assert_non_null(early);
    assert_true(store_load_notes(garden->service->store, early->id, &notes, NULL));
    guint written = 0;
    for (guint i = 0; i < notes->len; i++)
        written += g_str_equal(g_array_index(notes, StoreNote, i).text, "written anyway");
    assert_int_equal(written, 1);
    static const ApiRow rows[] = {
        {"today says so", "GET", "/v1/today", NULL, 200, NULL},
        {"the batches are there", "GET", "/v1/batches", NULL, 200, NULL},
        {"one too", "GET", "/v1/batches/early", NULL, 200, NULL},
        {"why", "GET", "/v1/why/early", NULL, 200, NULL},
        {"places", "GET", "/v1/places", NULL, 200, NULL},
        {"check", "GET", "/v1/check", NULL, 200, NULL},
    };
    ROWS(garden, rows);
}

static void test_every_route(void **state)
{
    const ApiGarden *garden = *state;

    for (gsize i = 0; i < wire_n_routes; i++) {
        g_autofree char *route =
            g_strdup_printf("%s %s", wire_routes[i].method, wire_routes[i].path);
        if (!g_hash_table_contains(garden->good, route) ||
            !g_hash_table_contains(garden->refused, route))
            fail_msg("%s was not asked well and badly", route);
    }
}

static void test_schemas(void **state)
{
    const ApiGarden *garden = *state;
    const char *top = g_getenv("THOLE_SOURCE_DIR");
    g_autofree char *script = g_build_filename(top, "tests", "check-replies.py", NULL);
    g_autofree char *schemas = g_build_filename(top, "docs", "schema", NULL);
    const char *const argv[] = {"/usr/bin/python3", "-W",    "ignore", script,
                                garden->replies,    schemas, NULL};
    g_autofree char *said = NULL;
    g_autoptr(GError) error = NULL;
    int wait_status = 0;

    assert_true(g_spawn_sync(NULL, (char **)argv, NULL, G_SPAWN_DEFAULT, NULL, NULL, &said, NULL,
                             &wait_status, &error));
    print_message("%s", said);
    assert_true(g_spawn_check_wait_status(wait_status, NULL));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_empty_garden),
        cmocka_unit_test(test_batch_add),
        cmocka_unit_test(test_batch_changes),
        cmocka_unit_test(test_records),
        cmocka_unit_test(test_cover),
        cmocka_unit_test(test_reading_numbers),
        cmocka_unit_test(test_estimates),
        cmocka_unit_test(test_sow),
        cmocka_unit_test(test_why),
        cmocka_unit_test(test_jobs),
        cmocka_unit_test(test_end_before_reports),
        cmocka_unit_test(test_visits),
        cmocka_unit_test(test_kept_without_a_plan),
        cmocka_unit_test(test_feed),
        cmocka_unit_test(test_every_route),
        cmocka_unit_test(test_schemas),
    };

    return cmocka_run_group_tests_name("api", tests, set_up, api_garden_tear_down);
}
