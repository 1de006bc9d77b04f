/* SPDX-License-Identifier: MIT */
#include "feed/page.h"

#include <string.h>

/* Large enough for a thumb and for somebody who reads it in the sun; follows the phone's own
 * choice of dark or light. */
static const char style[] =
    ":root{color-scheme:light dark}"
    "body{font:1.25rem/1.5 system-ui,sans-serif;margin:0 auto;padding:1.5rem;max-width:32rem}"
    "h1{font-size:1.5rem;line-height:1.2;margin:0 0 1rem}"
    "ul{margin:1rem 0;padding-left:1.25rem}li{margin:.5rem 0}"
    "small{display:block;margin:1rem 0;opacity:.75}"
    "button{display:block;width:100%;padding:1rem;margin-top:1.5rem;font:inherit;font-weight:bold;"
    "color:#fff;background:#1b5e20;border:0;border-radius:.5rem}";

void feed_page_free(FeedPage *page)
{
    if (page == NULL)
        return;
    g_free(page->title);
    g_free(page->lead);
    g_strfreev(page->lines);
    g_free(page->note);
    g_free(page->button);
    g_free(page);
}

static void add(GString *html, const char *tag, const char *text)
{
    g_autofree char *escaped = g_markup_escape_text(text, -1);
    g_string_append_printf(html, "<%s>%s</%s>\n", tag, escaped, tag);
}

char *feed_page_html(const FeedPage *page)
{
    GString *html = g_string_new("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n"
                                 "<meta charset=\"utf-8\">\n<meta name=\"viewport\" "
                                 "content=\"width=device-width,initial-scale=1\">\n");
    add(html, "title", page->title);
    g_string_append_printf(html, "<style>%s</style>\n</head>\n<body>\n", style);
    add(html, "h1", page->title);
    add(html, "p", page->lead);
    if (page->lines != NULL && page->lines[0] != NULL) {
        g_string_append(html, "<ul>\n");
        for (char **line = page->lines; *line != NULL; line++)
            add(html, "li", *line);
        g_string_append(html, "</ul>\n");
    }
    if (page->note != NULL)
        add(html, "small", page->note);
    if (page->button != NULL) {
        g_string_append(html, "<form method=\"post\">");
        add(html, "button", page->button);
        g_string_append(html, "</form>\n");
    }
    g_string_append(html, "</body>\n</html>\n");
    return g_string_free(html, FALSE);
}

char *feed_page_policy(void)
{
    g_autoptr(GChecksum) sum = g_checksum_new(G_CHECKSUM_SHA256);
    guint8 digest[32];
    gsize length = sizeof digest;

    g_checksum_update(sum, (const guchar *)style, (gssize)strlen(style));
    g_checksum_get_digest(sum, digest, &length);
    g_autofree char *hash = g_base64_encode(digest, length);
    return g_strdup_printf("default-src 'none'; style-src 'sha256-%s'; form-action 'self'; "
                           "base-uri 'none'; frame-ancestors 'none'",
                           hash);
}
