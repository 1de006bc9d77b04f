/* SPDX-License-Identifier: MIT */
/* What each command does; the table in command.c names them, a file defines those of a group. */
#pragma once

#include "ctl/command.h"

WireExit run_help(const Call *call);
WireExit run_complete(const Call *call);
WireExit run_draw(const Call *call);
WireExit run_draw_batch(const Call *call);
WireExit run_init(const Call *call);
WireExit run_today(const Call *call);
WireExit run_week(const Call *call);
WireExit run_batch_add(const Call *call);
WireExit run_batch_list(const Call *call);
WireExit run_batch_show(const Call *call);
WireExit run_batch_change(const Call *call);
WireExit run_batch_split(const Call *call);
WireExit run_places(const Call *call);
WireExit run_crops(const Call *call);
WireExit run_weather(const Call *call);
WireExit run_why(const Call *call);
WireExit run_season(const Call *call);
WireExit run_sow(const Call *call);
WireExit run_report(const Call *call);
WireExit run_cover(const Call *call);
WireExit run_reading(const Call *call);
WireExit run_water(const Call *call);
WireExit run_frost(const Call *call);
WireExit run_away(const Call *call);
WireExit run_visit_list(const Call *call);
WireExit run_visit_change(const Call *call);
WireExit run_visit_offer(const Call *call);
WireExit run_visit_undo(const Call *call);
WireExit run_what_if_skip(const Call *call);
WireExit run_what_if_frost(const Call *call);
WireExit run_what_if_place(const Call *call);
WireExit run_what_if_sown(const Call *call);
WireExit run_calendar(const Call *call);
WireExit run_calendar_test(const Call *call);
WireExit run_calendar_renew(const Call *call);
WireExit run_check(const Call *call);
WireExit run_test_alarm(const Call *call);
WireExit run_export(const Call *call);
