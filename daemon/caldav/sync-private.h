/* SPDX-License-Identifier: MIT */
/* What taking in (sync-take.c) and deciding (sync.c) share. */
#pragma once

#include "caldav/sync.h"

/* An edit of the grower's, put to SYNC's; owned by it. */
CaldavEdit *caldav_sync_edit(CaldavSync *sync, CaldavEditKind kind, const char *uid);

/* What is wanted of an event by UID; NULL for none. */
const CaldavWanted *caldav_sync_wanted(const CaldavSync *sync, const char *uid);

/* Whether it should stand in the calendar. */
gboolean caldav_wanted_shown(const CaldavWanted *wanted);

void caldav_forget_attempt(CaldavObject *object);

/* What is said from now on; EARLIER is kept beside it where we cannot know. */
void caldav_set_ours(CaldavObject *object, const char *ours, gboolean keep_earlier);
