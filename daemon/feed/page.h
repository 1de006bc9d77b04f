/* SPDX-License-Identifier: MIT */
/* A small page for a phone: no script, nothing from elsewhere, one button at most. */
#pragma once

#include <glib.h>

/* In plain words; what HTML needs is seen to here. */
typedef struct FeedPage {
    char *title;     /* (owned) */
    char *lead;      /* (owned) a sentence or two */
    char **lines;    /* (owned) (nullable) a list */
    char *note;      /* (owned) (nullable) small, beneath the list */
    char *button;    /* (owned) (nullable) posts to the page's own address */
    gboolean failed; /* it could not be done: status 500 */
} FeedPage;

void feed_page_free(FeedPage *page);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(FeedPage, feed_page_free)

/* The page as HTML. The caller owns it. */
char *feed_page_html(const FeedPage *page);

/* Its Content-Security-Policy: its own style, its own form, and nothing else. The caller owns it.
 */
char *feed_page_policy(void);
