/* SPDX-License-Identifier: MIT */
/*
 * A POST of JSON to an address of the grower's, signed. What a receiver has to check is told in
 * docs/notify.md. Redirects are not followed: the message is for that address.
 */
#include <libsoup/soup.h>
#include <string.h>

#include "base/names.h"
#include "notify/channel-private.h"

#define AGENT NAME_PROGRAM "/" PACKAGE_VERSION

typedef struct Post {
    SoupSession *session; /* (owned) of this message alone */
    SoupMessage *message; /* (owned) */
    char *host;           /* (owned) for reasons */
    Clock *clk;           /* (unowned) */
} Post;

static void post_free(gpointer data)
{
    Post *post = data;
    g_clear_object(&post->message);
    g_clear_object(&post->session);
    g_free(post->host);
    g_free(post);
}

static void answer(GTask *task, ChannelOutcome outcome, char *reason)
{
    g_task_return_pointer(task, channel_result_new(outcome, reason),
                          (GDestroyNotify)channel_result_free);
}

/* HMAC-SHA256 (RFC 2104, FIPS 180-4) over the time, a full stop and the body. */
static void sign(SoupMessageHeaders *headers, const char *secret, int64_t sent_utc, GBytes *body)
{
    g_autofree char *time = g_strdup_printf("%" G_GINT64_FORMAT, sent_utc);
    GHmac *hmac = g_hmac_new(G_CHECKSUM_SHA256, (const guchar *)secret, strlen(secret));
    g_hmac_update(hmac, (const guchar *)time, -1);
    g_hmac_update(hmac, (const guchar *)".", 1);
    g_hmac_update(hmac, g_bytes_get_data(body, NULL), (gssize)g_bytes_get_size(body));
    g_autofree char *value = g_strconcat("sha256=", g_hmac_get_string(hmac), NULL);
    g_hmac_unref(hmac);
    soup_message_headers_replace(headers, "Thole-Time", time);
    soup_message_headers_replace(headers, "Thole-Signature", value);
}

/* RFC 9110 §10.2.3, in seconds; a date is passed over, the usual back-off holds. */
static int64_t retry_utc(const Post *post)
{
    const char *text = soup_message_headers_get_one(
        soup_message_get_response_headers(post->message), "Retry-After");
    guint64 seconds;
    if (text == NULL || !g_ascii_string_to_unsigned(text, 10, 0, G_MAXINT32, &seconds, NULL))
        return 0;
    return clock_now(post->clk) + (int64_t)seconds;
}

/* RFC 9110 §15, RFC 6585 §4: which answers may be others later. */
static gboolean is_passing(guint status)
{
    return status == 408 || status == 425 || status == 429 || status >= 500;
}

static void sent(GObject *object, GAsyncResult *result, gpointer data)
{
    g_autoptr(GTask) task = data;
    const Post *post = g_task_get_task_data(task);
    g_autoptr(GError) error = NULL;
    g_autoptr(GInputStream) body = soup_session_send_finish(SOUP_SESSION(object), result, &error);
    const guint status = soup_message_get_status(post->message);
    if (body == NULL && g_error_matches(error, G_IO_ERROR, G_IO_ERROR_CANCELLED)) {
        answer(task, CHANNEL_FAILED, g_strdup_printf("%s does not answer in time", post->host));
    } else if (body == NULL) {
        answer(task, CHANNEL_FAILED, g_strdup_printf("%s: %s", post->host, error->message));
    } else if (SOUP_STATUS_IS_SUCCESSFUL(status)) {
        answer(task, CHANNEL_DELIVERED, NULL);
    } else if (is_passing(status)) {
        ChannelResult *passing = channel_result_new(
            CHANNEL_FAILED, g_strdup_printf("%s answers %u", post->host, status));
        passing->retry_utc = retry_utc(post);
        g_task_return_pointer(task, passing, (GDestroyNotify)channel_result_free);
    } else {
        answer(task, CHANNEL_REFUSED, g_strdup_printf("%s answers %u", post->host, status));
    }
    /* What it says is not read: the connection goes with the session. */
}

static SoupSession *session_for(const ChannelSetup *setup, GError **error)
{
    g_autoptr(GTlsDatabase) trusted = NULL;
    if (setup->ca_file[0] != '\0' &&
        (trusted = g_tls_file_database_new(setup->ca_file, error)) == NULL)
        return NULL;
    SoupSession *session = soup_session_new();
    soup_session_set_user_agent(session, AGENT);
    soup_session_set_timeout(session, (guint)setup->limit_s);
    if (trusted != NULL)
        soup_session_set_tls_database(session, trusted);
    return session;
}

void channel_send_webhook(const ChannelSetup *setup, const ChannelMessage *message, Clock *clk,
                          GCancellable *cancellable, GAsyncReadyCallback done, gpointer data)
{
    g_autoptr(GTask) task = g_task_new(NULL, cancellable, done, data);
    g_autoptr(GError) error = NULL;
    Post *post = g_new0(Post, 1);
    g_task_set_check_cancellable(task, FALSE);
    g_task_set_task_data(task, post, post_free);
    post->clk = clk;
    post->message = soup_message_new(SOUP_METHOD_POST, setup->url);
    post->session = session_for(setup, &error);
    if (post->message == NULL || post->session == NULL) {
        answer(task, CHANNEL_FAILED,
               g_strdup(error != NULL ? error->message : "the address cannot be read"));
        return;
    }
    g_autoptr(GBytes) body = channel_message_json(message);
    SoupMessageHeaders *headers = soup_message_get_request_headers(post->message);
    post->host = g_strdup(g_uri_get_host(soup_message_get_uri(post->message)));
    soup_message_add_flags(post->message, SOUP_MESSAGE_NO_REDIRECT);
    soup_message_set_request_body_from_bytes(post->message, "application/json", body);
    soup_message_headers_replace(headers, "Thole-Id", message->id);
    if (setup->secret[0] != '\0')
        sign(headers, setup->secret, clock_now(clk), body);
    soup_session_send_async(post->session, post->message, G_PRIORITY_DEFAULT, cancellable, sent,
                            g_object_ref(task));
}
