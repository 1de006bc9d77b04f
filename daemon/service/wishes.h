/* SPDX-License-Identifier: MIT */
/*
 * What a grower says of visits, wherever it was said: at this time, not at all, also then. Kept in
 * the store, so that it outlives the service; each plan is made around it.
 */
#pragma once

#include "service/service.h"
#include "service/wording-edits.h"
#include "store/store-wishes.h"

/* Which of them are still of use: those not over. Owned by the caller, g_array_unref(). */
gboolean wishes_load(const Service *service, GArray **ret_wishes /* StoreWish */,
                     GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The wish about a visit, by its id, by the event that told it ("" none), or since it is the one
 * that stands there by the grower's word; NULL none. */
const StoreWish *wishes_about(const GArray *wishes, const Visit *visit, const char *uid);

/*
 * Each of these in the caller's transaction: FALSE is a failure of the store. What cannot be is
 * refused in words: *ret_refused, owned by the caller, and nothing is kept. Else *ret_refused is
 * NULL, and a plan is to be asked for. `uid`: of the event that says so, "" by hand.
 */

/*
 * A visit stands at `to_utc`. `open` (nullable): as it is published; it is moved at once, and made
 * not to have begun. Hours around the time it had are left alone, see wishes_span().
 */
gboolean wishes_fix(Service *service, const Visit *visit, OpenVisit *open, int64_t to_utc,
                    const char *uid, char **ret_refused, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* A visit that has not begun will not be made; `open` (nullable) is withdrawn, and freed. */
gboolean wishes_drop(Service *service, const Visit *visit, OpenVisit *open, const char *uid,
                     char **ret_refused, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The grower can be at a site beside the usual hours; another offer of that event is replaced. */
gboolean wishes_offer(Service *service, int grower, int site, int64_t from_utc, int64_t to_utc,
                      const char *uid, char **ret_refused,
                      GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The hours around a visit that count as it: three to either side (chosen; so far apart two
 * published visits count as one that moved), on its local day, and no further than half-way to the
 * grower's next one there.
 */
void wishes_span(const Service *service, const Visit *visit, int64_t *ret_from_utc,
                 int64_t *ret_to_utc);

/* Whether a grower is away at a time, and no helper stands in. */
gboolean wishes_is_away(const GArray *aways /* StoreAway */, int grower, int64_t utc);

/* The usual windows with what was wished put to them, in order. */
void wishes_windows(const Service *service, const GArray *wishes, const GArray *aways,
                    GArray *windows /* VisitWindow */);
