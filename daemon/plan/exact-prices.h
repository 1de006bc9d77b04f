/* SPDX-License-Identifier: MIT */
/* The columns of one set of visits, and a bound that knows who shares covers. Internal to plan/. */
#pragma once

#include "plan/exact-table.h"

/* A column for every way, under any course; false where they are too many. */
bool exact_columns_open(Exact *x);

/* All of them active in `x->mode`, nothing paid. */
void exact_columns_begin(Exact *x);

/* Likewise, only those that could be part of something better than `best`, which is `x->best` now;
 * after exact_settle(). */
void exact_columns_again(Exact *x, double best);

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
bool exact_rents_new(Exact *x);  /* false where the arena is too small */
bool exact_rents_open(Exact *x); /* likewise; the groups are known */
void exact_rent_begin(Exact *x);
/* Rents anew, for the columns of each group in these lists; `list` NULL the active ones. */
void exact_rent(Exact *x, int *const *list, const int *n);
void exact_rents_pay(Exact *x); /* what follows from them, once more or fewer have their place */
int exact_rents_kept(const Exact *x); /* the room that these take */
void exact_rents_keep(const Exact *x, double *ret);
void exact_rents_restore(Exact *x, const double *kept);

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

/* exact-ways.c: room for its work, once the groups are known; false where the arena is too small.
 */
bool exact_ways_open(Exact *x);

/* All courses are chosen, and cost `sum` with the visits: the best way of each batch, of the
 * columns in these lists, all of them known. They are put into another order. */
void exact_choose_ways(Exact *x, int **list, const int *n, double sum);

/* exact-met.c: what the air of a column does to a batch of the group at the least, in batch-days
 * beside delay: what it breaks, loss and checks; INFINITY where limits are passed and may not be.
 */
bool exact_met_open(Exact *x);
double exact_met(Exact *x, const ExactGroup *group, const ExactColumn *column);
