/* SPDX-License-Identifier: MIT */
/* Growers who are away: when somebody comes meanwhile, and what is said of it, before and then. */
#pragma once

#include "service/service.h"
#include "store/store-garden-events.h"

/* The hours of helpers, added to the service's windows. */
void absence_add_windows(Service *service, const GArray *aways /* StoreAway */);

/* "away from Fri 17 Apr to the end of Sun 19 Apr; Kim comes home from 08:00 to 09:00". The caller
 * owns this and every text below. */
char *absence_words(const Service *service, const StoreAway *away);

/* What is to be known of absences that begin in the next two days (element-type utf8). */
GPtrArray *absence_notices(const Service *service);

/* Who makes a visit in the grower's stead, and one sentence to pass on; NULL nobody. */
char *absence_helper(const Service *service, const Visit *visit);
char *absence_helper_text(const Service *service, const OpenVisit *visit);

/* That nobody comes to the site after this visit until the grower is back; NULL it is not so. */
char *absence_note(const Service *service, const Visit *visit);

/* A description with what is to be said of absences; takes it over. */
char *absence_description(const Service *service, const OpenVisit *visit, char *description);
