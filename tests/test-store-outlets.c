/* SPDX-License-Identifier: MIT */
/* Calendars that are kept: what each remembers, and what growers did in it. */
#include "store-fixture.h"

#include "store/store-outlets.h"
#include "store/store-plan-records.h"

static void test_unknown(void **state)
{
    Fixture *f = *state;
    StoreOutlet got;
    g_autoptr(GArray) edits = NULL;
    int number = -1;
    assert_ok(store_get_outlet(f->store, "pocket", &got, E));
    assert_string_equal(got.name, "pocket");
    assert_string_equal(got.kind, "");
    assert_string_equal(got.state, "");
    assert_string_equal(got.problem, "");
    assert_int_equal(got.delivered_utc, 0);
    store_outlet_clear(&got);
    assert_ok(store_load_outlet_edits(f->store, "pocket", &edits, E));
    assert_int_equal(edits->len, 0);
    assert_ok(store_last_outlet_edit(f->store, "9f3", &number, E));
    assert_int_equal(number, 0);
}

static void test_outlets(void **state)
{
    Fixture *f = *state;
    StoreOutlet got;
    StoreOutlet one = {"pocket", "server", (char *)"state ü", (char *)"", true, 3, 7, T0, T0 + 1};
    const StoreOutlet two = {"sync", "folder", (char *)"", (char *)"full", false, 0, 0, 0, 0};
    assert_ok(store_put_outlet(f->store, &one, E));
    assert_ok(store_put_outlet(f->store, &two, E));
    one.failures = 4;
    one.problem = (char *)"gone";
    assert_ok(store_put_outlet(f->store, &one, E));
    reopen(f);
    assert_ok(store_get_outlet(f->store, "pocket", &got, E));
    assert_string_equal(got.name, one.name);
    assert_string_equal(got.kind, one.kind);
    assert_string_equal(got.state, one.state);
    assert_string_equal(got.problem, one.problem);
    assert_true(got.refused);
    assert_int_equal(got.failures, 4);
    assert_int_equal(got.pending, 7);
    assert_int_equal(got.delivered_utc, T0);
    assert_int_equal(got.tried_utc, T0 + 1);
    store_outlet_clear(&got);
    assert_ok(store_get_outlet(f->store, "sync", &got, E));
    assert_string_equal(got.problem, "full");
    store_outlet_clear(&got);
    const StoreOutlet none = {.state = NULL};
    assert_refused(store_put_outlet(f->store, &none, E), STORE_ERROR_INVALID, "needs a name");
}

static void test_edits(void **state)
{
    Fixture *f = *state;
    StoreOutletEdit one = {"pocket", (char *)"9f3", "moved", T0 + 9, (char *)"", 1, 1, 0, T0};
    const StoreOutletEdit two = {"sync", (char *)"9f3", "renamed", 0, (char *)"ü", 4, 2, 3, T0 + 1};
    const StoreOutletEdit three = {"pocket", (char *)"a", "line", 0, (char *)"x", 0, 0, 0, T0 + 2};
    g_autoptr(GArray) got = NULL;
    int number, removed;
    assert_ok(store_put_outlet_edit(f->store, &one, E));
    assert_ok(store_put_outlet_edit(f->store, &two, E));
    assert_ok(store_put_outlet_edit(f->store, &three, E));
    assert_ok(store_last_outlet_edit(f->store, "9f3", &number, E));
    assert_int_equal(number, 2);
    one.number = 3;
    one.edits = 2;
    one.answer = 1;
    one.at_utc = T0 + 5;
    assert_ok(store_put_outlet_edit(f->store, &one, E));
    reopen(f);
    assert_ok(store_last_outlet_edit(f->store, "9f3", &number, E));
    assert_int_equal(number, 3);
    assert_ok(store_load_outlet_edits(f->store, "pocket", &got, E));
    assert_int_equal(got->len, 2);
    assert_string_equal(g_array_index(got, StoreOutletEdit, 0).uid, "a");
    const StoreOutletEdit *last = &g_array_index(got, StoreOutletEdit, 1);
    assert_string_equal(last->uid, "9f3");
    assert_string_equal(last->outlet, "pocket");
    assert_string_equal(last->kind, "moved");
    assert_string_equal(last->text, "");
    assert_int_equal(last->start_utc, T0 + 9);
    assert_int_equal(last->edits, 2);
    assert_int_equal(last->answer, 1);
    assert_int_equal(last->at_utc, T0 + 5);
    /* Kept for 400 days. */
    assert_ok(store_thin(f->store, T0 + 399 * (int64_t)86400, &removed, E));
    assert_int_equal(removed, 0);
    assert_ok(store_thin(f->store, T0 + 402 * (int64_t)86400, &removed, E));
    assert_int_equal(removed, 3);
    const StoreOutletEdit none = {.uid = NULL};
    assert_refused(store_put_outlet_edit(f->store, &none, E), STORE_ERROR_INVALID,
                   "needs its name and an event");
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(test_unknown),
        TEST(test_outlets),
        TEST(test_edits),
    };
    return cmocka_run_group_tests_name("store outlets", tests, NULL, NULL);
}
