/* SPDX-License-Identifier: MIT */
/*
 * Mail to a server, by libcurl, in a thread: encrypted from the start (smtps) or by STARTTLS,
 * which is insisted on except on this machine itself. curl doubles the dots that begin a line.
 */
#include <curl/curl.h>
#include <string.h>
#include <sys/socket.h>

#include "base/url.h"
#include "notify/channel-private.h"
#include "notify/message.h"

/* What the thread needs, all of it copied. */
typedef struct Transfer {
    char *server, *host;
    char *user, *secret, *ca_file; /* (nullable) */
    char *from;
    struct curl_slist *to;
    GBytes *mail;
    gsize given;   /* bytes of it that curl has taken */
    gboolean here; /* the server is on this machine */
    int limit_s;
    GString *line; /* the last one of the server that said no */
    char why[CURL_ERROR_SIZE];
} Transfer;

static char *or_null(const char *text)
{
    return text[0] != '\0' ? g_strdup(text) : NULL;
}

static void transfer_free(gpointer data)
{
    Transfer *t = data;
    if (t->secret != NULL)
        memset(t->secret, 0, strlen(t->secret));
    g_free(t->server);
    g_free(t->host);
    g_free(t->user);
    g_free(t->secret);
    g_free(t->ca_file);
    g_free(t->from);
    curl_slist_free_all(t->to);
    g_bytes_unref(t->mail);
    g_string_free(t->line, TRUE);
    g_free(t);
}

static Transfer *transfer_new(const ChannelSetup *setup, const ChannelMessage *message)
{
    g_autoptr(GUri) uri = g_uri_parse(setup->server, G_URI_FLAGS_NONE, NULL);
    g_autofree char *as_web = g_strconcat("http", setup->server + strlen("smtp"), NULL);
    g_auto(GStrv) addresses = g_strsplit(setup->to, " ", -1);
    Transfer *t = g_new0(Transfer, 1);
    t->server = g_strdup(setup->server);
    t->host = g_strdup(uri != NULL ? g_uri_get_host(uri) : "the mail server");
    t->here = g_str_has_prefix(setup->server, "smtp:") && url_is_safe(as_web);
    t->limit_s = setup->limit_s;
    t->user = or_null(setup->user);
    t->secret = or_null(setup->secret);
    t->ca_file = or_null(setup->ca_file);
    t->from = g_strdup_printf("<%s>", setup->from);
    for (char **address = addresses; *address != NULL; address++) {
        g_autofree char *one = g_strdup_printf("<%s>", *address);
        if (**address != '\0')
            t->to = curl_slist_append(t->to, one);
    }
    t->mail = channel_message_mail(message, setup, TRUE);
    t->line = g_string_new(NULL);
    return t;
}

static size_t give(char *buffer, size_t size, size_t n, void *data)
{
    Transfer *t = data;
    gsize length;
    const char *mail = g_bytes_get_data(t->mail, &length);
    const gsize part = MIN(size * n, length - t->given);
    memcpy(buffer, mail + t->given, part);
    t->given += part;
    return part;
}

static size_t hear(char *bytes, size_t size, size_t n, void *data)
{
    Transfer *t = data;
    if (size * n == 0 || (bytes[0] != '4' && bytes[0] != '5')) /* RFC 5321 §4.2.1 */
        return size * n;
    g_string_truncate(t->line, 0);
    g_string_append_len(t->line, bytes, (gssize)(size * n));
    return size * n;
}

/* Asked about once a second wherever curl waits, also for the server's last word, where the calls
 * for many transfers at once would block (libcurl 7.88). */
static int is_given_up(void *data, curl_off_t to_get, curl_off_t got, curl_off_t to_put,
                       curl_off_t put)
{
    (void)to_get, (void)got, (void)to_put, (void)put;
    return g_cancellable_is_cancelled(data);
}

static CURL *prepare(Transfer *t, GCancellable *cancellable)
{
    CURL *curl = curl_easy_init();
    curl_easy_setopt(curl, CURLOPT_NOSIGNAL, 1L);
    curl_easy_setopt(curl, CURLOPT_QUICK_EXIT, 1L); /* a hung look-up is left behind */
    curl_easy_setopt(curl, CURLOPT_SERVER_RESPONSE_TIMEOUT, (long)t->limit_s);
    curl_easy_setopt(curl, CURLOPT_PROTOCOLS_STR, "smtp,smtps");
    curl_easy_setopt(curl, CURLOPT_URL, t->server);
    curl_easy_setopt(curl, CURLOPT_ERRORBUFFER, t->why);
    curl_easy_setopt(curl, CURLOPT_USE_SSL, (long)(t->here ? CURLUSESSL_TRY : CURLUSESSL_ALL));
    if (t->ca_file != NULL)
        curl_easy_setopt(curl, CURLOPT_CAINFO, t->ca_file);
    if (t->user != NULL) {
        curl_easy_setopt(curl, CURLOPT_USERNAME, t->user);
        curl_easy_setopt(curl, CURLOPT_PASSWORD, t->secret != NULL ? t->secret : "");
    }
    curl_easy_setopt(curl, CURLOPT_MAIL_FROM, t->from);
    curl_easy_setopt(curl, CURLOPT_MAIL_RCPT, t->to);
    curl_easy_setopt(curl, CURLOPT_UPLOAD, 1L);
    curl_easy_setopt(curl, CURLOPT_READFUNCTION, give);
    curl_easy_setopt(curl, CURLOPT_READDATA, t);
    curl_easy_setopt(curl, CURLOPT_HEADERFUNCTION, hear);
    curl_easy_setopt(curl, CURLOPT_HEADERDATA, t);
    curl_easy_setopt(curl, CURLOPT_NOPROGRESS, 0L);
    curl_easy_setopt(curl, CURLOPT_XFERINFOFUNCTION, is_given_up);
    curl_easy_setopt(curl, CURLOPT_XFERINFODATA, cancellable);
    return curl;
}

/* ---- what came of it ---- */

/* HOST, and what it said, or else what curl says. */
static char *reason(const Transfer *t, const char *what, CURLcode code)
{
    const char *said = t->line->len > 0    ? t->line->str
                       : t->why[0] != '\0' ? t->why
                                           : curl_easy_strerror(code);
    g_autofree char *line = notify_summary_text(said);
    return g_strdup_printf("%s%s: %s", t->host, what, line);
}

/* RFC 5321 §4.2.1: 5yz, do not send the same again; 4yz, try later. A login is no message's fault:
 * it is tried again once it was put right. */
static ChannelResult *judge(const Transfer *t, CURLcode code, long status)
{
    ChannelResult *result;
    switch (code) {
    case CURLE_OK:
        return channel_result_new(CHANNEL_DELIVERED, NULL);
    case CURLE_LOGIN_DENIED:
        return channel_result_new(CHANNEL_FAILED, reason(t, " does not accept the login", code));
    case CURLE_USE_SSL_FAILED:
        return channel_result_new(CHANNEL_FAILED,
                                  g_strdup_printf("%s offers no encryption", t->host));
    case CURLE_ABORTED_BY_CALLBACK:
    case CURLE_OPERATION_TIMEDOUT:
        result = channel_result_new(CHANNEL_FAILED,
                                    g_strdup_printf("%s does not answer in time", t->host));
        break;
    default: /* all else that curl knows */
        result = channel_result_new(status >= 500 ? CHANNEL_REFUSED : CHANNEL_FAILED,
                                    reason(t, "", code));
    }
    /* The whole mail went out, and no word came whether it was taken. */
    result->maybe = t->given == g_bytes_get_size(t->mail) && status < 400;
    return result;
}

/* The goodbye may take its time: what came of the mail is told before. */
static gpointer run(gpointer data)
{
    GTask *task = data;
    Transfer *t = g_task_get_task_data(task);
    CURL *curl = prepare(t, g_task_get_cancellable(task));
    curl_socket_t fd = CURL_SOCKET_BAD;
    long status = 0;
    const CURLcode code = curl_easy_perform(curl);
    curl_easy_getinfo(curl, CURLINFO_RESPONSE_CODE, &status);
    if (code != CURLE_OK && curl_easy_getinfo(curl, CURLINFO_ACTIVESOCKET, &fd) == CURLE_OK &&
        fd != CURL_SOCKET_BAD)
        shutdown(fd, SHUT_RDWR); /* no goodbye to one that does not answer */
    g_task_return_pointer(task, judge(t, code, status), (GDestroyNotify)channel_result_free);
    curl_easy_cleanup(curl);
    g_object_unref(task);
    return NULL;
}

void channel_send_smtp(const ChannelSetup *setup, const ChannelMessage *message, Clock *clk,
                       GCancellable *cancellable, GAsyncReadyCallback done, gpointer data)
{
    static gsize begun;
    (void)clk;
    if (g_once_init_enter(&begun)) {
        curl_global_init(CURL_GLOBAL_DEFAULT);
        g_once_init_leave(&begun, 1);
    }
    g_autoptr(GTask) task = g_task_new(NULL, cancellable, done, data);
    g_task_set_check_cancellable(task, FALSE); /* what is known of it is told all the same */
    g_task_set_task_data(task, transfer_new(setup, message), transfer_free);
    g_autoptr(GError) error = NULL;
    GThread *thread = g_thread_try_new("mail", run, g_object_ref(task), &error);
    if (thread != NULL) {
        g_thread_unref(thread);
        return;
    }
    g_task_return_pointer(task, channel_result_new(CHANNEL_FAILED, g_strdup(error->message)),
                          (GDestroyNotify)channel_result_free);
    g_object_unref(task);
}
