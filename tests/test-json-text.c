/* SPDX-License-Identifier: MIT */
/* JSON that is written as text, read back by json-glib and by the daemon's own check. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <json-glib/json-glib.h>
#include <math.h>
#include <string.h>

#include "base/json-check.h"
#include "base/json-text.h"

#define ROUNDS 20000

static JsonObject *read_back(const GString *text)
{
    g_autoptr(GError) error = NULL;

    if (!json_check(text->str, text->len, 8, &error))
        fail_msg("%s: %s", text->str, error->message);
    g_autoptr(JsonNode) node = json_from_string(text->str, &error);
    assert_null(error);
    return json_node_dup_object(node);
}

static void test_as_written(void **state)
{
    g_autoptr(GString) text = g_string_new(NULL);
    JsonText to = {.text = text};

    (void)state;
    json_text_begin_object(&to, NULL);
    json_text_string(&to, "a", "x");
    json_text_string(&to, "none", NULL);
    json_text_begin_array(&to, "list");
    json_text_int(&to, NULL, 0);
    json_text_int(&to, NULL, -12);
    json_text_begin_object(&to, NULL);
    json_text_end_object(&to);
    json_text_begin_array(&to, NULL);
    json_text_bool(&to, NULL, TRUE);
    json_text_end_array(&to);
    json_text_end_array(&to);
    json_text_bool(&to, "b", FALSE);
    json_text_end_object(&to);
    assert_string_equal(text->str,
                        "{\"a\":\"x\",\"none\":null,\"list\":[0,-12,{},[true]],\"b\":false}");
}

static void test_numbers(void **state)
{
    static const struct {
        double value;
        const char *thousandths;
    } rows[] = {
        {0.0, "0.0"},
        {-0.0, "0.0"},
        {-0.0004, "0.0"},
        {1.0, "1.0"},
        {-2.5, "-2.5"},
        {0.001, "0.001"},
        {12.3456, "12.346"},
        {-12.3454, "-12.345"},
        {0.0005, "0.001"},
        {1000.0, "1000.0"},
        {99.9996, "100.0"},
        {-7.01, "-7.01"},
        {1234567.8, "1234567.8"},
        {NAN, "null"},
        {INFINITY, "null"},
        {-INFINITY, "null"},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GString) text = g_string_new(NULL);
        json_text_thousandths(&(JsonText){.text = text}, NULL, rows[i].value);
        assert_string_equal(text->str, rows[i].thousandths);
    }
}

static void test_numbers_read_back(void **state)
{
    const guint32 seed = g_random_int();
    g_autoptr(GRand) random = g_rand_new_with_seed(seed);

    (void)state;
    print_message("# seed %u\n", seed);
    for (int i = 0; i < ROUNDS; i++) {
        const double value = ldexp(g_rand_double_range(random, -1.0, 1.0),
                                   g_rand_int_range(random, -60, i % 8 == 0 ? 1000 : 60));
        const gint64 whole = (gint64)((guint64)g_rand_int(random) << 32 | g_rand_int(random)) >>
                             g_rand_int_range(random, 0, 64);
        g_autoptr(GString) text = g_string_new(NULL);
        JsonText to = {.text = text};
        json_text_begin_object(&to, NULL);
        json_text_double(&to, "double", value);
        json_text_thousandths(&to, "thousandths", value);
        json_text_int(&to, "int", whole);
        json_text_end_object(&to);
        g_autoptr(JsonNode) node = json_from_string(text->str, NULL);
        JsonObject *read = json_node_get_object(node);
        assert_true(json_object_get_double_member(read, "double") == value);
        assert_true(json_object_get_double_member(read, "thousandths") ==
                    round(value * 1000.0) / 1000.0);
        assert_true(json_object_get_int_member(read, "int") == whole);
        assert_true(json_node_get_value_type(json_object_get_member(read, "double")) ==
                    G_TYPE_DOUBLE);
    }
}

static void test_strings_read_back(void **state)
{
    static const char *const pieces[] = {"leek", "\"", "\\", "\n", "\t",   "\r",   "\b",   "\x01",
                                         "\x1f", "/",  "é",  "−",  "°C\"", "🥬", "\x7f", " "};
    const guint32 seed = g_random_int();
    g_autoptr(GRand) random = g_rand_new_with_seed(seed);

    (void)state;
    print_message("# seed %u\n", seed);
    for (int i = 0; i < ROUNDS / 10; i++) {
        g_autoptr(GString) value = g_string_new(NULL), text = g_string_new(NULL);
        JsonText to = {.text = text};
        for (int n = g_rand_int_range(random, 0, 12); n > 0; n--)
            g_string_append(value,
                            pieces[g_rand_int_range(random, 0, (gint32)G_N_ELEMENTS(pieces))]);
        json_text_begin_object(&to, NULL);
        json_text_string(&to, "text", value->str);
        json_text_end_object(&to);
        g_autoptr(JsonObject) read = read_back(text);
        assert_string_equal(json_object_get_string_member(read, "text"), value->str);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_as_written),
        cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_numbers_read_back),
        cmocka_unit_test(test_strings_read_back),
    };

    return cmocka_run_group_tests_name("json-text", tests, NULL, NULL);
}
