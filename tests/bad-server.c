/* SPDX-License-Identifier: MIT */
#include "bad-server.h"

#include <stdlib.h>
#include <string.h>

#define HOME "/dav/ann/"
#define MULTI                                                                                      \
    "<?xml version=\"1.0\"?><D:multistatus xmlns:D=\"DAV:\" "                                      \
    "xmlns:C=\"urn:ietf:params:xml:ns:caldav\">"

static char *tag_of(BadServer *s, const char *path)
{
    guint number = GPOINTER_TO_UINT(g_hash_table_lookup(s->tags, path));
    if (s->etags == 'n')
        return NULL;
    if (s->etags == 'l')
        number = ++s->count + 1000;
    return g_strdup_printf("%s\"e%u\"", s->etags == 'w' ? "W/" : "", number);
}

static void put(BadServer *s, const char *path, const char *text, gsize length)
{
    g_hash_table_insert(s->objects, g_strdup(path), g_strndup(text, length));
    g_hash_table_insert(s->tags, g_strdup(path), GUINT_TO_POINTER(++s->count));
}

static void answer(SoupServerMessage *m, guint status, const char *type, char *text)
{
    soup_server_message_set_status(m, status, NULL);
    if (text != NULL)
        soup_server_message_set_response(m, type, SOUP_MEMORY_TAKE, text, strlen(text));
}

static gboolean is_object(const char *path)
{
    return g_str_has_suffix(path, ".ics");
}

static void list(BadServer *s, SoupServerMessage *m, const char *path, gboolean sync)
{
    GString *out = g_string_new(MULTI);
    GHashTableIter iter;
    gpointer key;
    g_hash_table_iter_init(&iter, s->objects);
    while (g_hash_table_iter_next(&iter, &key, NULL)) {
        g_autofree char *tag = tag_of(s, key);
        g_autofree char *quoted = tag != NULL ? g_markup_escape_text(tag, -1) : NULL;
        if (!g_str_has_prefix(key, path))
            continue;
        g_string_append_printf(out,
                               "<D:response><D:href>%s</D:href><D:propstat><D:prop>%s%s%s</D:prop>"
                               "<D:status>HTTP/1.1 200 OK</D:status></D:propstat></D:response>",
                               (char *)key, quoted != NULL ? "<D:getetag>" : "",
                               quoted != NULL ? quoted : "", quoted != NULL ? "</D:getetag>" : "");
    }
    if (sync)
        g_string_append_printf(out, "<D:sync-token>opaque %u</D:sync-token>", s->count);
    g_string_append(out, "</D:multistatus>");
    answer(m, 207, "application/xml", g_string_free(out, FALSE));
}

static void look(BadServer *s, SoupServerMessage *m, const char *path)
{
    gboolean calendar = s->made && g_str_has_prefix(path, HOME "thole-");
    if (g_str_has_prefix(path, HOME "thole-") && !s->made) {
        answer(m, 404, NULL, NULL);
        return;
    }
    answer(m, 207, "application/xml",
           g_strdup_printf(MULTI
                           "<D:response><D:href>%s</D:href><D:propstat><D:prop><D:resourcetype>"
                           "<D:collection/>%s</D:resourcetype><D:current-user-principal><D:href>"
                           "/dav/</D:href></D:current-user-principal>%s</D:prop><D:status>"
                           "HTTP/1.1 200 OK</D:status></D:propstat></D:response>"
                           "</D:multistatus>",
                           path, calendar ? "<C:calendar/>" : "",
                           strcmp(path, "/dav/") == 0 ? "<C:calendar-home-set><D:href>" HOME
                                                        "</D:href></C:calendar-home-set>"
                                                      : ""));
}

static void write_object(BadServer *s, SoupServerMessage *m, const char *path)
{
    SoupMessageHeaders *headers = soup_server_message_get_request_headers(m);
    const SoupMessageBody *body = soup_server_message_get_request_body(m);
    const char *match = soup_message_headers_get_one(headers, "If-Match");
    gboolean there = g_hash_table_contains(s->objects, path);
    g_autofree char *tag = there ? tag_of(s, path) : NULL;

    if ((soup_message_headers_get_one(headers, "If-None-Match") != NULL && there) ||
        (match != NULL && g_strcmp0(match, tag) != 0)) {
        answer(m, 412, NULL, NULL);
        return;
    }
    if (strcmp(soup_server_message_get_method(m), "DELETE") == 0) {
        g_hash_table_remove(s->objects, path);
        answer(m, there ? 204 : 404, NULL, NULL);
        return;
    }
    if (!s->made) {
        answer(m, 409, NULL, NULL);
        return;
    }
    if (body->length == 0) {
        s->empty_bodies++;
        answer(m, 400, NULL, NULL);
        return;
    }
    put(s, path, body->data, (gsize)body->length);
    g_autofree char *new_tag = tag_of(s, path);
    if (new_tag != NULL)
        soup_message_headers_replace(soup_server_message_get_response_headers(m), "ETag", new_tag);
    answer(m, there ? 204 : 201, NULL, NULL);
}

static void serve(BadServer *s, SoupServerMessage *m, const char *path)
{
    const char *method = soup_server_message_get_method(m);
    const char *depth =
        soup_message_headers_get_one(soup_server_message_get_request_headers(m), "Depth");
    const char *text = g_hash_table_lookup(s->objects, path);

    if (strcmp(method, "PROPFIND") == 0 || strcmp(method, "REPORT") == 0) {
        if (soup_server_message_get_request_body(m)->length == 0)
            s->empty_bodies++;
        if (g_strcmp0(depth, "1") == 0 || strcmp(method, "REPORT") == 0) {
            if (!s->made)
                answer(m, 404, NULL, NULL);
            else if (s->no_sync && strcmp(method, "REPORT") == 0)
                answer(m, 501, NULL, NULL);
            else
                list(s, m, path, strcmp(method, "REPORT") == 0);
        } else {
            look(s, m, path);
        }
    } else if (strcmp(method, "MKCALENDAR") == 0 || strcmp(method, "MKCOL") == 0) {
        answer(m, s->made ? 405 : 201, NULL, NULL);
        s->made = TRUE;
    } else if (strcmp(method, "GET") == 0) {
        g_autofree char *tag = text != NULL ? tag_of(s, path) : NULL;
        if (tag != NULL)
            soup_message_headers_replace(soup_server_message_get_response_headers(m), "ETag", tag);
        answer(m, text != NULL ? 200 : 404, "text/calendar", g_strdup(text));
    } else if (is_object(path)) {
        write_object(s, m, path);
    } else {
        answer(m, 403, NULL, NULL);
    }
}

static void cut(SoupServerMessage *m)
{
    g_autoptr(GIOStream) stream = soup_server_message_steal_connection(m);
    const char *half = "HTTP/1.1 207 Multi-Status\r\nContent-Type: application/xml\r\n"
                       "Content-Length: 5000\r\n\r\n" MULTI "<D:response><D:href>/dav";
    g_output_stream_write_all(g_io_stream_get_output_stream(stream), half, strlen(half), NULL, NULL,
                              NULL);
    g_io_stream_close(stream, NULL, NULL);
}

static void misbehave(BadServer *s, SoupServerMessage *m, const char *path)
{
    g_autofree char *huge = NULL;
    switch (s->fault) {
    case FAULT_NONE:
    case FAULT_STATUS:
        if (s->body != NULL)
            soup_message_headers_replace(soup_server_message_get_response_headers(m), "Retry-After",
                                         s->body);
        answer(m, s->status, NULL, NULL);
        break;
    case FAULT_APPLIED_STATUS:
        serve(s, m, path);
        answer(m, s->status, "text/plain", g_strdup(""));
        break;
    case FAULT_MULTISTATUS:
        answer(m, 207, "application/xml",
               g_strdup_printf(MULTI
                               "<D:response><D:href>http%%3A//x</D:href><D:status>HTTP/1.1 %u "
                               "No</D:status></D:response></D:multistatus>",
                               s->status));
        break;
    case FAULT_SILENT:
        s->held = g_slist_prepend(s->held, g_object_ref(m));
        soup_server_message_pause(m);
        break;
    case FAULT_TRUNCATED:
        cut(m);
        break;
    case FAULT_HUGE:
        huge = g_strnfill(12 * 1024 * 1024, 'x');
        answer(m, 207, "application/xml", g_steal_pointer(&huge));
        break;
    case FAULT_XML:
        answer(m, 207, "application/xml", g_strdup(s->body));
        break;
    case FAULT_REDIRECT:
        soup_message_headers_replace(soup_server_message_get_response_headers(m), "Location",
                                     s->body);
        answer(m, 302, NULL, NULL);
        break;
    case FAULT_RAISED: {
        char *text = g_strdup(g_hash_table_lookup(s->objects, path));
        if (text != NULL)
            put(s, path, text, strlen(text));
        g_free(text);
        serve(s, m, path);
        break;
    }
    }
}

static void came(SoupServer *server, SoupServerMessage *m, const char *path, GHashTable *query,
                 gpointer data)
{
    (void)server;
    (void)query;
    BadServer *s = data;
    const char *method = soup_server_message_get_method(m);
    const char *authorization =
        soup_message_headers_get_one(soup_server_message_get_request_headers(m), "Authorization");

    if (g_str_has_prefix(path, "/elsewhere") && authorization != NULL)
        s->told_elsewhere = TRUE;
    if (s->secret != NULL && g_strcmp0(authorization, s->secret) != 0) {
        soup_message_headers_replace(soup_server_message_get_response_headers(m),
                                     "WWW-Authenticate", "Basic realm=\"x\"");
        answer(m, 401, NULL, NULL);
    } else if (s->times > 0 && (s->method == NULL || strcmp(s->method, method) == 0)) {
        s->times--;
        s->hits++;
        misbehave(s, m, path);
    } else {
        serve(s, m, path);
    }
    g_ptr_array_add(s->log,
                    g_strdup_printf("%s %s %u", method, path, soup_server_message_get_status(m)));
}

BadServer *bad_server_new(void)
{
    BadServer *s = g_new0(BadServer, 1);
    s->server = soup_server_new(NULL, NULL);
    s->objects = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
    s->tags = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    s->log = g_ptr_array_new_with_free_func(g_free);
    s->etags = 's';
    soup_server_add_handler(s->server, NULL, came, s, NULL);
    if (!soup_server_listen_local(s->server, 0, SOUP_SERVER_LISTEN_IPV4_ONLY, NULL))
        abort();
    GSList *uris = soup_server_get_uris(s->server);
    s->url = g_strdup_printf("http://127.0.0.1:%d", g_uri_get_port(uris->data));
    g_slist_free_full(uris, (GDestroyNotify)g_uri_unref);
    return s;
}

void bad_server_free(BadServer *s)
{
    soup_server_disconnect(s->server);
    g_slist_free_full(s->held, g_object_unref);
    g_object_unref(s->server);
    g_hash_table_unref(s->objects);
    g_hash_table_unref(s->tags);
    g_ptr_array_unref(s->log);
    g_free(s->url);
    g_free(s);
}

void bad_server_fault(BadServer *s, Fault fault, const char *method, guint status, const char *body,
                      guint times)
{
    s->fault = fault;
    s->method = method;
    s->status = status;
    s->body = body;
    s->times = times;
    s->hits = 0;
}
