/* SPDX-License-Identifier: MIT */
#include "notify/channel-message.h"

#include <gmime/gmime.h>
#include <json-glib/json-glib.h>
#include <string.h>

#include "base/local-time.h"
#include "notify/message.h"

ChannelMessage *channel_message_new(const char *id, ChannelTopic topic, const char *summary,
                                    const char *body)
{
    ChannelMessage *message = g_new0(ChannelMessage, 1);
    message->id = g_strdup(id);
    message->topic = topic;
    message->summary = notify_summary_text(summary);
    message->body = notify_long_text(body);
    return message;
}

void channel_message_free(ChannelMessage *message)
{
    if (message == NULL)
        return;
    g_free(message->id);
    g_free(message->grower);
    g_free(message->summary);
    g_free(message->body);
    g_free(message->done_url);
    g_free(message);
}

char *channel_message_id(void)
{
    return g_uuid_string_random();
}

/* ---- mail ---- */

static void add_recipients(GMimeMessage *mail, const char *to)
{
    g_auto(GStrv) addresses = g_strsplit(to, " ", -1);
    for (char **address = addresses; *address != NULL; address++)
        if (**address != '\0')
            g_mime_message_add_mailbox(mail, GMIME_ADDRESS_TYPE_TO, NULL, *address);
}

/* Nobody's holiday reply is to come back to us: RFC 3834 §5. */
static void add_header(GMimeMessage *mail, const char *name, const char *value)
{
    g_mime_object_append_header(GMIME_OBJECT(mail), name, value, NULL);
}

static GMimeMessage *build_mail(const ChannelMessage *m, const ChannelSetup *setup)
{
    const char *at = strrchr(setup->from, '@');
    g_autofree char *id = g_strdup_printf("%s@%s", m->id, at != NULL ? at + 1 : "localhost");
    g_autoptr(GDateTime) sent = g_date_time_new_from_unix_utc(m->sent_utc);
    g_autofree char *text = g_strconcat(m->body, "\n", NULL);
    GMimeMessage *mail = g_mime_message_new(FALSE);
    GMimeTextPart *part = g_mime_text_part_new_with_subtype("plain");
    g_mime_message_set_date(mail, sent);
    g_mime_message_add_mailbox(mail, GMIME_ADDRESS_TYPE_FROM, NULL, setup->from);
    add_recipients(mail, setup->to);
    g_mime_message_set_subject(mail, m->summary, "utf-8");
    g_mime_message_set_message_id(mail, id);
    add_header(mail, "Auto-Submitted", "auto-generated");
    if (m->urgent)
        add_header(mail, "Importance", "high"); /* RFC 2156 §5.3.4 */
    g_mime_text_part_set_charset(part, "utf-8");
    g_mime_text_part_set_text(part, text);
    g_mime_part_set_content_encoding(GMIME_PART(part), GMIME_CONTENT_ENCODING_QUOTEDPRINTABLE);
    g_mime_message_set_mime_part(mail, GMIME_OBJECT(part));
    g_object_unref(part);
    return mail;
}

GBytes *channel_message_mail(const ChannelMessage *message, const ChannelSetup *setup,
                             gboolean crlf)
{
    static gsize begun;
    if (g_once_init_enter(&begun)) {
        g_mime_init();
        g_once_init_leave(&begun, 1);
    }
    GMimeMessage *mail = build_mail(message, setup);
    g_autofree char *text = g_mime_object_to_string(GMIME_OBJECT(mail), NULL);
    GString *lines = g_string_new(text);
    g_object_unref(mail);
    if (crlf)
        g_string_replace(lines, "\n", "\r\n", 0);
    return g_string_free_to_bytes(lines);
}

/* ---- webhook ---- */

static const char *topic_word(ChannelTopic topic)
{
    switch (topic) {
    case CHANNEL_TOPIC_CHANGE:
        return "change";
    case CHANNEL_TOPIC_WARNING:
        return "warning";
    case CHANNEL_TOPIC_QUESTION:
        return "question";
    case CHANNEL_TOPIC_DIGEST:
        return "digest";
    case CHANNEL_TOPIC_TEST:
        return "test";
    }
    return "change";
}

static void add_text(JsonBuilder *json, const char *name, const char *value)
{
    json_builder_set_member_name(json, name);
    if (value != NULL)
        json_builder_add_string_value(json, value);
    else
        json_builder_add_null_value(json);
}

static void add_utc(JsonBuilder *json, const char *name, int64_t utc)
{
    g_autofree char *text = utc != 0 ? utc_format(utc) : NULL;
    add_text(json, name, text);
}

GBytes *channel_message_json(const ChannelMessage *m)
{
    g_autoptr(JsonBuilder) json = json_builder_new_immutable();
    json_builder_begin_object(json);
    json_builder_set_member_name(json, "version");
    json_builder_add_int_value(json, 1);
    add_text(json, "id", m->id);
    add_text(json, "topic", topic_word(m->topic));
    json_builder_set_member_name(json, "urgent");
    json_builder_add_boolean_value(json, m->urgent);
    add_text(json, "grower", m->grower);
    add_text(json, "summary", m->summary);
    add_text(json, "body", m->body);
    add_utc(json, "seen_by", m->seen_by_utc);
    add_utc(json, "sent", m->sent_utc);
    add_text(json, "done_url", m->done_url);
    json_builder_end_object(json);
    g_autoptr(JsonNode) root = json_builder_get_root(json);
    char *text = json_to_string(root, FALSE);
    return g_bytes_new_take(text, strlen(text));
}

/* ---- command ---- */

GBytes *channel_message_text(const ChannelMessage *m)
{
    char *text = g_strconcat(m->summary, "\n\n", m->body, "\n", NULL);
    return g_bytes_new_take(text, strlen(text));
}
