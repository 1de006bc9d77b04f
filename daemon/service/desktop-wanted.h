/* SPDX-License-Identifier: MIT */
/* Which alarms the desktop should show, and when. */
#pragma once

#include "notify/due.h"
#include "service/service.h"

/* (element-type NoticeWanted) of the events as published; see docs/notify.md. */
GPtrArray *desktop_wanted(const Service *service);

/* Whether anybody's alarms are to be shown here. */
gboolean desktop_is_asked_for(const Garden *garden);
