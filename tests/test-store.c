/* SPDX-License-Identifier: MIT */
/* What goes into the store comes out again, by name and to the bit. Plans, weather and
 * events: test-store-plan.c; failures: test-store-faults.c.
 */
#include "store-fixture.h"

#include "store/store-batches.h"
#include "store/store-garden-events.h"
#include "store/store-readings.h"

/* Any bit pattern: NANs, infinities, denormals and minus zero among them. */
static double any_double(GRand *rand)
{
    uint64_t bits = (uint64_t)g_rand_int(rand) << 32 | g_rand_int(rand);
    if (g_rand_int_range(rand, 0, 4) == 0)
        bits &= UINT64_C(0x8000000000000000);
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static void fill_any(GRand *rand, double *values, int n)
{
    for (int i = 0; i < n; i++)
        values[i] = any_double(rand);
}

static void any_ramp(GRand *rand, RampState *ramp)
{
    memset(ramp, 0, sizeof *ramp);
    ramp->hardened_to_c = any_double(rand);
    ramp->frost_tolerance = any_double(rand);
    ramp->exposure_days = g_rand_int_range(rand, 0, 7);
    ramp->hold_days = g_rand_int_range(rand, 0, 6);
    ramp->unused_days = g_rand_int_range(rand, 0, 4);
    fill_any(rand, ramp->mean_air_c, MEAN_STEPS);
    ramp->mean_n = g_rand_int_range(rand, 0, MEAN_STEPS + 1);
    ramp->mean_next = g_rand_int_range(rand, 0, MEAN_STEPS);
    fill_any(rand, &ramp->mean_sum_c, 1);
    ramp->day_start_utc = T0 + g_rand_int_range(rand, 0, DAY);
    fill_any(rand, ramp->day_air_c, RAMP_DAY_STEPS_MAX);
    ramp->day_steps = g_rand_int_range(rand, 0, RAMP_DAY_STEPS_MAX + 1);
    ramp->exposed_h = any_double(rand);
    ramp->below_floor_kh = any_double(rand);
    ramp->night_shelter = any_double(rand);
    fill_any(rand, ramp->nights_shelter, NIGHTS_KEPT);
}

static void test_batches_to_the_bit(void **state)
{
    Fixture *f = *state;
    g_autoptr(GRand) rand = g_rand_new_with_seed(SEED);
    print_message("# seed %d\n", SEED);
    Batch kept[STAGE_ENDED];
    memset(kept, 0, sizeof kept);
    for (int i = 0; i < STAGE_ENDED; i++) {
        Batch *b = &kept[i];
        g_snprintf(b->name, sizeof b->name, "batch-%d", i);
        g_strlcpy(b->cultivar, "Früher Zwerg, 'x'", sizeof b->cultivar);
        b->crop = i % 2;
        b->container = i % 2 - 1;
        b->number = i;
        b->trays = i + 1;
        b->bought = i % 2 != 0;
        b->resowable = i % 3 == 0;
        b->sown_utc = T0 - i;
        b->settled_utc = T0 + i;
        b->potted_utc = i;
        b->planted_utc = T0 + 7 * i;
        b->emerged_utc = i % 3 == 0 ? 0 : T0 - 2 * i;
        b->growth.known = i % 2 == 0;
        b->growth.leaves = i % 2 == 0 ? 0.25 * i : 0;
        b->growth.height_cm = 1.5 * i;
        b->growth.height_factor = 0.5 * i;
        b->growth.chill_h = 3.5 * i;
        b->growth.hardening_h = 24 * i;
        b->stage = (Stage)i;
        b->place = i % 4 - 1;
        b->destination = (i + 1) % 4 - 1;
        b->position_unknown = i % 2 == 0;
        any_ramp(rand, &b->ramp);
        assert_ok(store_put_batch(f->store, &f->garden, b, T0 + 100 + i, E));
        assert_int_equal(strlen(b->id), 32);
    }
    reopen(f);
    g_autoptr(GArray) loaded = NULL, as_of = NULL;
    assert_ok(store_load_batches(f->store, &f->garden, FALSE, &loaded, &as_of, E));
    assert_int_equal(loaded->len, STAGE_ENDED);
    for (int i = 0; i < STAGE_ENDED; i++) {
        assert_memory_equal(&g_array_index(loaded, Batch, i), &kept[i], sizeof(Batch));
        assert_int_equal(g_array_index(as_of, int64_t, i), T0 + 100 + i);
    }
}

static void test_batch_names(void **state)
{
    Fixture *f = *state;
    Batch first = a_batch("tomato-1"), third = a_batch("tomato-3"), again = a_batch("tomato-1");
    assert_ok(store_put_batch(f->store, &f->garden, &first, T0, E));
    assert_ok(store_put_batch(f->store, &f->garden, &third, T0, E));
    g_autofree char *free_one = NULL;
    assert_ok((free_one = store_new_batch_name(f->store, &f->crops[0], E)) != NULL);
    assert_string_equal(free_one, "tomato-2");
    assert_refused(store_put_batch(f->store, &f->garden, &again, T0, E), STORE_ERROR_NAME_TAKEN,
                   "tomato-1");
    assert_string_equal(again.id, "");
    assert_ok(store_put_batch(f->store, &f->garden, &first, T0 + 1, E));

    assert_ok(store_end_batch(f->store, first.id, T0 + 2, E));
    assert_ok(store_end_batch(f->store, first.id, T0 + 3, E));
    assert_int_equal(count(f->store, "SELECT max(ended_utc) FROM batch"), T0 + 2);
    assert_ok(store_put_batch(f->store, &f->garden, &again, T0, E));
    assert_refused(store_end_batch(f->store, "nobody", T0, E), STORE_ERROR_MISSING, "nobody");

    /* What was ended stays so, even when put again; with all, it is the first of three. */
    first.number = 3;
    g_strlcpy(first.name, "old", sizeof first.name);
    assert_ok(store_put_batch(f->store, &f->garden, &first, T0 + 9, E));
    g_autoptr(GArray) all = NULL, living = NULL;
    assert_ok(store_load_batches(f->store, &f->garden, TRUE, &all, NULL, E));
    assert_ok(store_load_batches(f->store, &f->garden, FALSE, &living, NULL, E));
    assert_int_equal(all->len, 3);
    assert_int_equal(living->len, 2);
    assert_int_equal(g_array_index(all, Batch, 0).stage, STAGE_ENDED);
    assert_int_equal(g_array_index(all, Batch, 0).number, 3);

    Crop long_name = {0};
    memset(long_name.name, 'x', NAME_SIZE - 3);
    memcpy(long_name.name + NAME_SIZE - 13, "üü", 4);
    g_autofree char *cut = NULL;
    assert_ok((cut = store_new_batch_name(f->store, &long_name, E)) != NULL);
    assert_true(strlen(cut) < NAME_SIZE && g_utf8_validate(cut, -1, NULL));
}

static void test_names_outlive_indices(void **state)
{
    Fixture *f = *state;
    Batch batch = a_batch("tomato-1");
    assert_ok(store_put_batch(f->store, &f->garden, &batch, T0, E));
    g_auto(GStrv) used = NULL;
    assert_ok(store_places_in_use(f->store, &used, E));
    assert_int_equal(g_strv_length(used), 2);
    assert_string_equal(used[0], "bed");
    assert_string_equal(used[1], "sill");

    Place swapped = f->places[0];
    f->places[0] = f->places[2];
    f->places[2] = swapped;
    g_autoptr(GArray) loaded = NULL;
    assert_ok(store_load_batches(f->store, &f->garden, FALSE, &loaded, NULL, E));
    assert_int_equal(g_array_index(loaded, Batch, 0).place, 2);
    assert_int_equal(g_array_index(loaded, Batch, 0).destination, 0);

    const struct {
        char *name;
        const char *told;
    } gone[] = {
        {f->crops[0].name, "batch tomato-1: its crop 'tomato'"},
        {f->containers[0].name, "batch tomato-1: its container 'cells-40'"},
        {f->places[2].name, "batch tomato-1: its place 'sill'"},
        {f->places[0].name, "batch tomato-1: its destination 'bed'"},
    };
    for (size_t i = 0; i < G_N_ELEMENTS(gone); i++) {
        char letter = gone[i].name[0];
        gone[i].name[0] = 'X';
        GArray *untouched = NULL;
        assert_refused(store_load_batches(f->store, &f->garden, FALSE, &untouched, NULL, E),
                       STORE_ERROR_MISSING, gone[i].told);
        assert_null(untouched);
        gone[i].name[0] = letter;
    }
    assert_ok(store_end_batch(f->store, batch.id, T0, E));
    f->crops[0].name[0] = f->places[2].name[0] = 'X';
    g_autoptr(GArray) ended = NULL;
    assert_ok(store_load_batches(f->store, &f->garden, TRUE, &ended, NULL, E));
    assert_int_equal(g_array_index(ended, Batch, 0).crop, -1);
    assert_int_equal(g_array_index(ended, Batch, 0).place, -1);
}

static void test_batch_events(void **state)
{
    Fixture *f = *state;
    Batch a = a_batch("a"), b = a_batch("b");
    assert_ok(store_put_batch(f->store, &f->garden, &a, T0, E));
    assert_ok(store_put_batch(f->store, &f->garden, &b, T0, E));
    assert_ok(store_put_placement(f->store, &f->garden, a.id, 0, T0, E));
    assert_ok(store_put_placement(f->store, &f->garden, a.id, 1, T0 + 10, E));
    assert_ok(store_put_placement(f->store, &f->garden, b.id, 0, T0 + 30, E));
    assert_ok(store_put_placement(f->store, &f->garden, a.id, 0, T0 + 20, E));
    assert_ok(store_put_placement(f->store, &f->garden, a.id, 2, T0 + 20, E));
    g_autoptr(GArray) of_a = NULL, of_all = NULL;
    assert_ok(store_load_placements(f->store, &f->garden, a.id, T0 + 15, &of_a, E));
    assert_int_equal(of_a->len, 2);
    assert_int_equal(g_array_index(of_a, StorePlacement, 0).from_utc, T0 + 10);
    assert_int_equal(g_array_index(of_a, StorePlacement, 1).place, 2);
    assert_ok(store_load_placements(f->store, &f->garden, NULL, T0 + 20, &of_all, E));
    assert_int_equal(of_all->len, 2);
    assert_string_equal(g_array_index(of_all, StorePlacement, 1).batch_id, b.id);

    assert_refused(store_put_placement(f->store, &f->garden, a.id, 3, T0, E), STORE_ERROR_INVALID,
                   "place: 3 of 3");
    assert_refused(store_put_placement(f->store, &f->garden, "nobody", 0, T0, E),
                   STORE_ERROR_MISSING, "batch");
    assert_refused(store_put_loss(f->store, a.id, T0, 0, "slugs", E), STORE_ERROR_INVALID,
                   "0 plants");

    assert_ok(store_put_loss(f->store, a.id, T0 + 2, 3, "slugs", E));
    assert_ok(store_put_loss(f->store, a.id, T0 + 1, 2, "damped off", E));
    assert_ok(store_put_loss(f->store, b.id, T0, 9, "frost", E));
    g_autoptr(GArray) losses = NULL, notes = NULL;
    assert_ok(store_load_losses(f->store, a.id, &losses, E));
    assert_int_equal(losses->len, 2);
    assert_string_equal(g_array_index(losses, StoreLoss, 0).cause, "damped off");

    assert_ok(store_put_note(f->store, b.id, T0, "leaves a little blue −2 °C", E));
    assert_ok(store_load_notes(f->store, NULL, &notes, E));
    assert_string_equal(g_array_index(notes, StoreNote, 0).text, "leaves a little blue −2 °C");
    assert_string_equal(g_array_index(notes, StoreNote, 0).batch_id, b.id);
}

static void test_positions(void **state)
{
    Fixture *f = *state;
    int positions[3];
    bool known[3];
    assert_ok(store_load_positions(f->store, &f->garden, positions, known, E));
    assert_true(positions[1] == -1 && known[1]);
    const StorePosition put[] = {{1, 0, T0, true}, {1, 2, T0 + 20, false}, {1, 1, T0 + 10, true}};
    for (size_t i = 0; i < G_N_ELEMENTS(put); i++)
        assert_ok(store_put_position(f->store, &f->garden, &put[i], E));
    assert_ok(store_load_positions(f->store, &f->garden, positions, known, E));
    assert_true(positions[0] == -1 && positions[1] == 2 && positions[2] == -1 && !known[1]);

    g_autoptr(GArray) history = NULL;
    assert_ok(store_load_position_history(f->store, &f->garden, T0 + 10, &history, E));
    assert_int_equal(history->len, 2);
    assert_int_equal(g_array_index(history, StorePosition, 0).position, 1);

    StorePosition no_cover = {0, 0, T0, true}, beyond = {1, 3, T0, true};
    assert_refused(store_put_position(f->store, &f->garden, &no_cover, E), STORE_ERROR_INVALID,
                   "sill has no cover");
    assert_refused(store_put_position(f->store, &f->garden, &beyond, E), STORE_ERROR_INVALID,
                   "3 of 3");

    g_strlcpy(f->places[1].cover.positions[2].name, "off", NAME_SIZE);
    assert_ok(store_load_positions(f->store, &f->garden, positions, NULL, E));
    assert_int_equal(positions[1], -1);
}

static void test_readings_aways_warnings(void **state)
{
    Fixture *f = *state;
    StoreReading reading = {.reading = {.place = 1, .time_utc = T0, .value_c = -2.3},
                            .kind = STORE_READING_MINIMUM,
                            .site = -1,
                            .basis = {-1.5, 1.2, 0.3, 2.5, 1.34, 0.0, 1}};
    assert_ok(store_put_reading(f->store, &f->garden, &reading, E));
    reading.kind = STORE_READING_MAXIMUM;
    reading.basis = (StoreBasis){NAN, NAN, NAN, NAN, NAN, NAN, -1};
    reading.reading.value_c = 21.5;
    assert_ok(store_put_reading(f->store, &f->garden, &reading, E));
    reading.reading.value_c = 22.5;
    reading.moved = true;
    reading.since_utc = 1234567890;
    reading.day = 14288;
    assert_ok(store_put_reading(f->store, &f->garden, &reading, E));
    reading.reading.value_c = NAN;
    assert_refused(store_put_reading(f->store, &f->garden, &reading, E), STORE_ERROR_INVALID,
                   "number");
    StoreReading open = {.reading = {.place = -1, .time_utc = T0 - 4, .value_c = 1.5}, .site = 0};
    assert_ok(store_put_reading(f->store, &f->garden, &open, E));
    open.site = 99;
    assert_refused(store_put_reading(f->store, &f->garden, &open, E), STORE_ERROR_INVALID, "site");
    g_autoptr(GArray) readings = NULL, none = NULL, outdoors = NULL;
    assert_ok(store_load_readings(f->store, &f->garden, T0, T0 + 1, &readings, E));
    assert_ok(store_load_readings(f->store, &f->garden, T0 - 9, T0 - 4, &none, E));
    assert_ok(store_load_readings(f->store, &f->garden, T0 - 4, T0, &outdoors, E));
    assert_true(readings->len == 2 && none->len == 0 && outdoors->len == 1);
    const StoreReading *low = &g_array_index(readings, StoreReading, 0), *high = low + 1;
    assert_true(low->reading.value_c == -2.3 && low->basis.computed_c == -1.5 && !low->moved);
    assert_true(low->basis.outdoor_spread_k == 1.34 && low->basis.position == 1);
    assert_true(high->reading.value_c == 22.5 && high->moved && isnan(high->basis.computed_c));
    assert_true(high->since_utc == 1234567890 && high->day == 14288);
    assert_true(low->since_utc == 0 && low->day == 0);
    assert_true(high->kind == STORE_READING_MAXIMUM && high->basis.position == -1);
    open = g_array_index(outdoors, StoreReading, 0);
    assert_true(open.site == 0 && open.reading.place == -1 && open.reading.value_c == 1.5);

    StoreAway away = {.grower = 0, .from_utc = T0, .to_utc = T0 + 10 * DAY};
    StoreAway never = {.grower = 0, .from_utc = T0 + 20 * DAY, .to_utc = T0 + 30 * DAY};
    StoreAway backwards = {.grower = 0, .from_utc = T0, .to_utc = T0};
    assert_ok(store_put_away(f->store, &f->garden, &away, E));
    assert_ok(store_put_away(f->store, &f->garden, &never, E));
    assert_refused(store_put_away(f->store, &f->garden, &backwards, E), STORE_ERROR_INVALID, "end");
    assert_ok(store_end_away(f->store, away.id, T0 + 5 * DAY, E));
    assert_ok(store_end_away(f->store, away.id, T0 + 7 * DAY, E));
    assert_ok(store_end_away(f->store, never.id, T0, E));
    g_autoptr(GArray) aways = NULL, over = NULL;
    assert_ok(store_load_aways(f->store, &f->garden, T0, &aways, E));
    assert_ok(store_load_aways(f->store, &f->garden, T0 + 5 * DAY, &over, E));
    assert_true(aways->len == 1 && over->len == 0);
    assert_int_equal(g_array_index(aways, StoreAway, 0).to_utc, T0 + 5 * DAY);

    const StoreWarning warnings[] = {
        {0, 20562, -1, T0 + 5}, {0, 20562, -4, T0 + 9}, {0, 20562, -2, T0 + 7},
        {1, 20562, -3, T0},     {0, 20560, -9, T0},
    };
    for (size_t i = 0; i < G_N_ELEMENTS(warnings); i++)
        assert_ok(store_put_warning(f->store, &f->garden, &warnings[i], E));
    g_autoptr(GArray) heard = NULL;
    assert_ok(store_load_warnings(f->store, &f->garden, 20561, &heard, E));
    assert_int_equal(heard->len, 2);
    assert_true(g_array_index(heard, StoreWarning, 0).low_c == -4);
    assert_int_equal(g_array_index(heard, StoreWarning, 1).site, 1);
}

static void test_settings_and_states(void **state)
{
    Fixture *f = *state;
    int64_t time_utc = -1;
    g_autofree char *text = NULL, *never = NULL;
    assert_ok(store_get_setting(f->store, "namespace", &never, E));
    assert_null(never);
    assert_ok(store_put_setting(f->store, "namespace", "abc", E));
    assert_ok(store_put_setting(f->store, "namespace", "def", E));
    assert_ok(store_put_setting(f->store, "other", "", E));
    assert_ok(store_get_setting(f->store, "namespace", &text, E));
    assert_string_equal(text, "def");

    g_autoptr(GRand) rand = g_rand_new_with_seed(SEED + 1);
    print_message("# seed %d\n", SEED + 1);
    for (int n = 0; n < 40; n++) {
        double values[40];
        int64_t as_of_utc = 0;
        g_autoptr(GArray) loaded = NULL;
        fill_any(rand, values, n);
        assert_ok(store_put_state(f->store, "chain/frame", T0 + n, values, n, E));
        assert_ok(store_get_state(f->store, "chain/frame", &as_of_utc, &loaded, E));
        assert_int_equal(as_of_utc, T0 + n);
        assert_int_equal(loaded->len, n);
        if (n > 0)
            assert_memory_equal(loaded->data, values, (size_t)n * sizeof(double));
    }
    g_autoptr(GArray) none = NULL;
    assert_ok(store_get_state(f->store, "chain/tunnel", &time_utc, &none, E));
    assert_true(time_utc == 0 && none->len == 0);
}

static void test_transactions(void **state)
{
    Fixture *f = *state;
    int64_t value = -1;
    assert_refused(store_commit(f->store, E), STORE_ERROR_INVALID, "not in a transaction");
    assert_ok(store_begin(f->store, E));
    assert_refused(store_begin(f->store, E), STORE_ERROR_INVALID, "already in a transaction");
    assert_ok(put_number(f->store, "k", 1, E));
    store_rollback(f->store);
    store_rollback(f->store);
    assert_ok(get_number(f->store, "k", &value, E));
    assert_int_equal(value, 0);
    /* A record that is refused does not spoil the transaction it was tried in. */
    assert_ok(store_begin(f->store, E));
    assert_ok(put_number(f->store, "k", 2, E));
    assert_refused(store_put_note(f->store, "nobody", T0, "x", E), STORE_ERROR_MISSING, "batch");
    assert_ok(store_commit(f->store, E));
    assert_ok(store_begin(f->store, E));
    assert_ok(put_number(f->store, "k", 3, E));
    reopen(f); /* closing forgets what was not committed */
    assert_ok(get_number(f->store, "k", &value, E));
    assert_int_equal(value, 2);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(test_batches_to_the_bit),  TEST(test_batch_names),  TEST(test_names_outlive_indices),
        TEST(test_batch_events),        TEST(test_positions),    TEST(test_readings_aways_warnings),
        TEST(test_settings_and_states), TEST(test_transactions),
    };
    return cmocka_run_group_tests_name("store", tests, NULL, NULL);
}
