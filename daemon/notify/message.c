/* SPDX-License-Identifier: MIT */
#include "notify/message.h"

NotifyMessage *notify_message_new(const char *key, const char *summary, const char *body,
                                  gboolean critical)
{
    NotifyMessage *message = g_new0(NotifyMessage, 1);
    message->key = g_strdup(key);
    message->summary = g_strdup(summary);
    message->body = g_strdup(body);
    message->critical = critical;
    message->actions = g_ptr_array_new_with_free_func(g_free);
    return message;
}

void notify_message_add_action(NotifyMessage *message, const char *id, const char *label)
{
    g_ptr_array_add(message->actions, g_strdup(id));
    g_ptr_array_add(message->actions, g_strdup(label));
}

void notify_message_free(NotifyMessage *message)
{
    if (message == NULL)
        return;
    g_free(message->key);
    g_free(message->summary);
    g_free(message->body);
    g_ptr_array_unref(message->actions);
    g_free(message);
}

/* At most `most` characters; control characters become spaces, line ends too unless kept. */
static GString *plain(const char *text, gboolean keep_breaks, int most)
{
    g_autofree char *valid = g_utf8_make_valid(text != NULL ? text : "", -1);
    GString *out = g_string_new(NULL);
    int n = 0;
    for (const char *p = valid; *p != '\0' && n < most; p = g_utf8_next_char(p), n++) {
        gunichar c = g_utf8_get_char(p);
        if (g_unichar_iscntrl(c) && !(keep_breaks && c == '\n'))
            c = ' ';
        g_string_append_unichar(out, n == most - 1 && *g_utf8_next_char(p) != '\0' ? 0x2026 : c);
    }
    return out;
}

char *notify_summary_text(const char *text)
{
    char *line = g_strstrip(g_string_free(plain(text, FALSE, NOTIFY_SUMMARY_MAX), FALSE));
    if (*line != '\0')
        return line;
    g_free(line);
    return g_strdup("thole");
}

char *notify_long_text(const char *text)
{
    return g_string_free(plain(text, TRUE, NOTIFY_LONG_MAX), FALSE);
}

char *notify_body_text(const char *text, gboolean markup)
{
    char *body = g_string_free(plain(text, TRUE, NOTIFY_BODY_MAX), FALSE);
    if (!markup)
        return body;
    char *escaped = g_markup_escape_text(body, -1);
    g_free(body);
    return escaped;
}
