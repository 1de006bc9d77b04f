/* SPDX-License-Identifier: MIT */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <glib.h>
#include <string.h>

static void test_surroundings(void **state)
{
    (void)state;
    assert_string_equal(g_getenv("TZ"), "UTC");
    assert_non_null(strstr(g_getenv("HOME"), "tests/home"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_surroundings),
    };
    return cmocka_run_group_tests_name("base", tests, NULL, NULL);
}
