/* SPDX-License-Identifier: MIT */
/* What became of news on channels, kept. */
#include "store-fixture.h"

#include "notify/route.h"
#include "store/store-plan-records.h"
#include "store/store-told.h"

/* The words of the store are those of the code that decides, in the same order. */
G_STATIC_ASSERT((int)TOLD_HANDED == (int)STORE_TOLD_HANDED);
G_STATIC_ASSERT((int)TOLD_DELIVERED == (int)STORE_TOLD_DELIVERED);
G_STATIC_ASSERT((int)TOLD_FAILED == (int)STORE_TOLD_FAILED);
G_STATIC_ASSERT((int)TOLD_REFUSED == (int)STORE_TOLD_REFUSED);
G_STATIC_ASSERT((int)TOLD_MISSED == (int)STORE_TOLD_MISSED);
G_STATIC_ASSERT((int)TOLD_PUBLISHED == (int)STORE_TOLD_PUBLISHED);

static const StoreTold rows[] = {
    {"ask-9f3", "pocket", STORE_TOLD_HANDED, "0123", T0},
    {"9f3/leave", "pocket", STORE_TOLD_DELIVERED, "", T0 + 1},
    {"9f3", "post ü", STORE_TOLD_FAILED, "4567", T0 + 2},
    {"9f3", "pocket", STORE_TOLD_REFUSED, "4567", T0 + 3},
    {"digest-2026-04-20-0/post", "", STORE_TOLD_MISSED, "", T0 + 4},
    {"9f3", "@calendar", STORE_TOLD_PUBLISHED, "89ab", T0 + 5},
};

static void test_round_trip(void **state)
{
    Fixture *f = *state;
    g_autoptr(GArray) got = NULL;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++)
        assert_ok(store_put_told(f->store, &rows[i], E));
    reopen(f);
    assert_ok(store_load_told(f->store, T0, &got, E));
    assert_int_equal(got->len, G_N_ELEMENTS(rows));
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        const StoreTold *told = &g_array_index(got, StoreTold, i);
        assert_string_equal(told->key, rows[i].key);
        assert_string_equal(told->channel, rows[i].channel);
        assert_string_equal(told->sense, rows[i].sense);
        assert_int_equal(told->state, rows[i].state);
        assert_int_equal(told->at_utc, rows[i].at_utc);
    }
}

static void test_put_again(void **state)
{
    Fixture *f = *state;
    StoreTold told = rows[0];
    g_autoptr(GArray) got = NULL;
    int removed;
    assert_ok(store_put_told(f->store, &told, E));
    told.state = STORE_TOLD_DELIVERED;
    told.at_utc += 5;
    assert_ok(store_put_told(f->store, &told, E));
    assert_ok(store_load_told(f->store, T0 + 5, &got, E));
    assert_int_equal(got->len, 1);
    assert_int_equal(g_array_index(got, StoreTold, 0).state, STORE_TOLD_DELIVERED);
    g_autoptr(GArray) later = NULL;
    assert_ok(store_load_told(f->store, T0 + 6, &later, E));
    assert_int_equal(later->len, 0);
    assert_ok(store_thin(f->store, T0 + 400 * DAY, &removed, E));
    assert_int_equal(count(f->store, "SELECT count(*) FROM told"), 1);
    assert_ok(store_thin(f->store, T0 + 401 * DAY, &removed, E));
    assert_int_equal(count(f->store, "SELECT count(*) FROM told"), 0);
}

static void test_refused(void **state)
{
    Fixture *f = *state;
    StoreTold told = rows[0];
    g_autoptr(GArray) got = NULL;
    told.key[0] = '\0';
    assert_refused(store_put_told(f->store, &told, E), STORE_ERROR_INVALID, "a key of its own");
    told = rows[0];
    told.state = (StoreToldState)(STORE_TOLD_PUBLISHED + 1);
    assert_refused(store_put_told(f->store, &told, E), STORE_ERROR_INVALID, "the state of news");
    assert_ok(store_run(f->store, E,
                        "INSERT INTO told(key, channel, state, sense, at_utc)"
                        " VALUES('k', 'c', 'shouted', '', 1)"));
    assert_refused(store_load_told(f->store, 0, &got, E), STORE_ERROR_FAILED,
                   "news is in the state \"shouted\"");
}

/* The longest keys and senses that there are fit. */
static void test_longest(void **state)
{
    char name[NAME_SIZE], id[ID_SIZE];
    (void)state;
    memset(name, 'x', sizeof name - 1);
    name[sizeof name - 1] = '\0';
    memset(id, 'y', sizeof id - 1);
    id[sizeof id - 1] = '\0';
    g_autofree char *question = g_strdup_printf("ask-%s/%s/leave", name, id);
    g_autofree char *digest = g_strdup_printf("digest-2026-04-20-%d/%s", G_MAXINT, name);
    assert_true(strlen(question) < STORE_TOLD_KEY_SIZE && strlen(digest) < STORE_TOLD_KEY_SIZE);
    g_autoptr(News) news = news_new(question, 0, CHANNEL_TOPIC_CHANGE);
    news_set_sense(news, digest);
    assert_int_equal(strlen(news->sense), 32);
    assert_true(strlen(news->sense) < STORE_TOLD_SENSE_SIZE);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(test_round_trip),
        TEST(test_put_again),
        TEST(test_refused),
        cmocka_unit_test(test_longest),
    };
    return cmocka_run_group_tests_name("store told", tests, NULL, NULL);
}
