/* SPDX-License-Identifier: MIT */
/* Batches that wait for room, since when; and what else keeps a batch where it is. In words. */
#pragma once

#include "service/service.h"

/* Why a batch waits, NULL where it does not; the caller owns it. */
char *waiting_text(const Service *service, int batch);

/* The batches that wait for a place, in words (element-type utf8). */
GPtrArray *waiting_for(const Service *service, int place);

/* Why a batch that is fit to go on stays where it is, and does not just wait for room; NULL where
 * it goes. The caller owns it. */
char *waiting_stays(const Service *service, int batch, gboolean named);
