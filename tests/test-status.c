/* SPDX-License-Identifier: MIT */
/* The one line that `systemctl status` shows. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "service/wording-status.h"
#include "wording-garden.h"

static void test_status(void **state)
{
    Fixture f;
    (void)state;

    fixture_init(&f);
    const Visit plot = {.site = PLOT, .start_utc = f.context.now_utc + 51 * 3600};
    const struct {
        WordingStatus status;
        const char *text;
    } cases[] = {
        {{.next = NULL}, "No visit is planned."},
        {{.next = &plot, .n_jobs = 1}, "Next visit Sat 15:00 to the plot: 1 job."},
        {{.next = &f.visit, .n_jobs = 3, .n_alerts = 1},
         "Next visit Thu 18:00 to home: 3 jobs. 1 thing needs you, see: tholectl."},
        {{.next = &f.visit, .begun = true, .n_jobs = 2, .n_alerts = 2, .no_plan = true},
         "No new plan could be made, see: tholectl check. Since Thu 18:00 a visit to home: 2 jobs "
         "open. 2 things need you, see: tholectl."},
    };
    for (gsize i = 0; i < G_N_ELEMENTS(cases); i++) {
        g_autofree char *text = wording_status(&f.context, &cases[i].status);
        assert_string_equal(text, cases[i].text);
    }
    fixture_clear(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_status)};

    return cmocka_run_group_tests_name("status", tests, NULL, NULL);
}
