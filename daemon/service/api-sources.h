/* SPDX-License-Identifier: MIT */
/* Where forecasts come from, as replies tell it. Internal to api*.c. */
#pragma once

#include <json-glib/json-glib.h>

#include "base/json-text.h"
#include "service/service.h"

/* Which source is in use and of when: "Open-Meteo, of Wed 18:05"; owned by the caller. */
char *api_source_words(const Service *service, int site);

/*
 * What is not as the grower wrote it: a source that failed, why, when it is asked again; one that
 * stands in for another. NULL where all is well. Owned by the caller.
 */
char *api_source_trouble(const Service *service, int site);

/* Each source in the grower's order, as docs/schema/check.json has it. Owned by the caller. */
JsonArray *api_sources(const Service *service, int site);

/* What must be shown beside the data in use at SITE; -1: at any. Owned by the caller. */
JsonArray *api_credits(const Service *service, int site);

/* That of all sites, as the member `credits`. */
void api_write_credits(JsonText *to, const Service *service);
