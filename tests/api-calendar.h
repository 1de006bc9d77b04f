/* SPDX-License-Identifier: MIT */
/* Tests of test-api: the routes of the calendar, and of visits as a grower wants them. */
#pragma once

void test_feed(void **state);
void test_visits(void **state);
