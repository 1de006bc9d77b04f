/* SPDX-License-Identifier: MIT */
#include "service/wording-notice.h"

char *wording_test_summary(void)
{
    return g_strdup("Test alarm, nothing to do");
}

char *wording_test_notice(const WordingContext *context, int64_t utc)
{
    g_autofree char *when = wording_when(context, 0, utc);
    return g_strdup_printf("Alarms reach this desktop. The calendar should remind you too: %s.",
                           when);
}

char *wording_test_description(void)
{
    return g_strdup("You asked for it with \"tholectl test-alarm\". If your phone reminded you, "
                    "alarms reach it. The event goes away by itself.");
}
