/* SPDX-License-Identifier: MIT */
#pragma once

#include <stdbool.h>
#include <stdint.h>

/* How good one window's choice is, at the times tried first; see docs/plan.md, "The gap". */
typedef struct WindowProof {
    int site;
    int32_t day;
    bool near, proved; /* near: searched exactly; proved: there is nothing better */
    double gap;        /* batch-days to a lower bound; 0 where it is proved */
    double number;     /* what the choice is worth, with what it breaks: gap is part of it */
} WindowProof;
