/* SPDX-License-Identifier: MIT */
/* A figure as a file. */
#pragma once

#include "ctl/draw/figure.h"

typedef enum SaveAs { SAVE_SVG, SAVE_PNG, SAVE_PDF, SAVE_NONE } SaveAs;

/* By the ending of PATH, in any case; SAVE_NONE for any other. */
SaveAs save_format(const char *path);

/* The bytes of the file; NULL and why (the caller's) where cairo fails. */
GBytes *save_bytes(const Figure *figure, SaveAs as, char **ret_why);
