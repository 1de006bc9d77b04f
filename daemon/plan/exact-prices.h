/* SPDX-License-Identifier: MIT */
/* The columns of one set of visits, and a bound that knows who shares covers. Internal to plan/. */
#pragma once

#include "plan/exact-table.h"

/* A column for every way, under any course; false where they are too many. */
bool exact_columns_open(Exact *x);

/* All of them active in `x->mode`, nothing paid. */
void exact_columns_begin(Exact *x);

/* Betters `x->lower` until it shows that there is nothing better than `x->best`, or it does not
 * rise any more; columns that are shown to be no part of anything better are active no more. */
void exact_bound(Exact *x);

/* The work of the covers of a course, as if all were over something. */
double exact_course_work(Exact *x, int chain, int course);

/* A chain's course, where it is fixed, or its cheapest: its work, and what is paid for it. */
double exact_course_cost(const Exact *x, int chain);

/* After a change of prices or of what is fixed. */
void exact_paid(const Exact *x, ExactGroup *group);

/* Columns that cannot be part of anything better, by the bound last found, are active no more. */
void exact_drop(Exact *x);

/* What a column is worth beside what is paid for its courses. */
double exact_reduced(const Exact *x, const ExactGroup *group, const ExactColumn *column);

/* The least of a list of a group's columns, as reduced, once what could be it is known; where the
 * work is spent, nothing less. */
double exact_least(Exact *x, ExactGroup *group, const int *list, int n);

/* exact-room.c: what room is paid for, by the tray: nothing; more where the least of all batches
 * would be too many for it, less where they leave some. */
bool exact_rents_new(Exact *x); /* false where the arena is too small */
void exact_rent_begin(Exact *x);
void exact_rent(Exact *x);
void exact_excess(Exact *x); /* trays beyond the room, were every batch to go its least way */
bool exact_rent_back_to_best(Exact *x); /* false where it is there */

/* What could be the least of each group while nothing is paid is worked out, until it is clear that
 * there is nothing better than `x->best`. */
void exact_settle(Exact *x);

/* Every active column under any course gives way to those under each; false where they are too
 * many. */
bool exact_expand_all(Exact *x);

/* exact-reach.c: a batch of the group is worth no less in this column, by light and nights alone.
 */
bool exact_reach_open(Exact *x);
double exact_reach(const Exact *x, const ExactGroup *group, const ExactColumn *column);
