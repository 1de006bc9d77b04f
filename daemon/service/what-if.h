/* SPDX-License-Identifier: MIT */
/*
 * A plan of what is only supposed: a service beside the real one, which shares all that stays as it
 * is and owns what differs. It is planned as of the real one's last plan; nothing is written,
 * published or shown.
 */
#pragma once

#include "service/service.h"
#include "service/situation.h"
#include "store/store-garden-events.h"

/* What is supposed; one of them. */
typedef struct Supposed {
    const OpenVisit *without;  /* (nullable) nobody comes in the hours of that visit */
    const StoreWarning *frost; /* (nullable) as cold as that */
    const Place *place;        /* (nullable) one more, standing free or indoors */
    int batch;                 /* of service->current, sown at sown_utc instead; -1 none */
    int64_t sown_utc;
} Supposed;

typedef struct WhatIf {
    Service service; /* shares what it does not own with the real one, so not to be freed */
    Garden garden;
    gboolean own_places;  /* there is one more, so they are not the service's */
    CoverError *covers;   /* (owned) with those of the one more */
    SiteWeather *weather; /* (owned) that of one site may be its own */
    int own_site;         /* whose steps are; -1 none */
    gboolean colder;      /* the frost makes that night colder than it is forecast to be */
} WhatIf;

/*
 * Puts it together. NULL and an error where that failed; the service must have a plan. The result
 * is valid until the service plans again or reads its garden.
 */
WhatIf *what_if_new(const Service *service, const Supposed *supposed,
                    GError **error) G_GNUC_WARN_UNUSED_RESULT;
void what_if_free(WhatIf *what_if);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(WhatIf, what_if_free)

/* What its plan is made from, which goes into what_if->service.plan. */
Situation *what_if_look(WhatIf *what_if, GError **error) G_GNUC_WARN_UNUSED_RESULT;
