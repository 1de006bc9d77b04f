/* SPDX-License-Identifier: MIT */
/* tholed's command line. */
#pragma once

#include "service/rehearse.h"
#include "service/service.h"

/*
 * Reads the command line; what is not given has its default. The strings are the caller's. FALSE
 * for wrong usage, with what is wrong in `error`. A rehearsal is wanted where
 * ret_rehearsal->forecast_path is set.
 */
gboolean options_parse(int *argc, char ***argv, ServiceOptions *ret_service,
                       RehearseOptions *ret_rehearsal, gboolean *ret_version,
                       GError **error) G_GNUC_WARN_UNUSED_RESULT;
