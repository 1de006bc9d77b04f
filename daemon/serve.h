/* SPDX-License-Identifier: MIT */
/* The service on the real clock, and what systemd is told of it. */
#pragma once

#include "service/service.h"

/* Serves until LOOP is quit. FALSE where it could not begin. Takes over `options`' strings. */
gboolean serve(GMainLoop *loop, ServiceOptions *options, GError **error) G_GNUC_WARN_UNUSED_RESULT;
