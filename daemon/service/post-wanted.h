/* SPDX-License-Identifier: MIT */
/* Which news there is for channels, and in which words. */
#pragma once

#include "notify/courier.h"
#include "service/service.h"

#define POST_LEAVE_SUFFIX "/leave" /* of the key of a news: news.h */

/* How late a phone of the grower may see a change of the calendar, seconds: by a server, if there
 * is one for the grower; else by the file, a folder or the feed. While all servers fail, as late as
 * they have failed, at least as by the feed. */
int64_t post_lag_s(const Service *service, int grower);

/* Whether the grower goes to the site: it is home, or there are hours for it. */
gboolean post_goes_to(const Garden *garden, int grower, int site);

/* (element-type News), with their words, of the events as published; see docs/notify.md. What the
 * calendar says since when is kept by COURIER. */
GPtrArray *post_wanted(const Service *service, Courier *courier);
