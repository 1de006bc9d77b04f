/* SPDX-License-Identifier: MIT */
/* Batches that wait for room: since when, and in words. */
#pragma once

#include "service/service.h"

/* Why a batch waits, NULL where it does not; the caller owns it. */
char *waiting_text(const Service *service, int batch);

/* The batches that wait for a place, in words (element-type utf8). */
GPtrArray *waiting_for(const Service *service, int place);
