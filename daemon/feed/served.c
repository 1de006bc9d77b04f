/* SPDX-License-Identifier: MIT */
#include "feed/served.h"

#include <string.h>

#define RETRY_S "60" /* a first plan is there by then; chosen */
#define TYPE "text/calendar; charset=utf-8"

Served *served_new(const char *name)
{
    Served *served = g_new0(Served, 1);

    served->name = g_strdup(name);
    return served;
}

void served_free(Served *served)
{
    g_free(served->name);
    g_clear_pointer(&served->bytes, g_bytes_unref);
    g_clear_pointer(&served->packed, g_bytes_unref);
    g_free(served->tag);
    g_free(served->packed_tag);
    g_free(served);
}

/* Packed once here and not for each who asks; the same bytes are packed the same. */
static GBytes *pack(GBytes *bytes)
{
    g_autoptr(GZlibCompressor) gzip = g_zlib_compressor_new(G_ZLIB_COMPRESSOR_FORMAT_GZIP, -1);
    g_autoptr(GOutputStream) memory = g_memory_output_stream_new_resizable();
    g_autoptr(GOutputStream) stream = g_converter_output_stream_new(memory, G_CONVERTER(gzip));
    gsize length;
    const void *data = g_bytes_get_data(bytes, &length);

    /* Memory is never full: GLib would have aborted. */
    if (!g_output_stream_write_all(stream, data, length, NULL, NULL, NULL) ||
        !g_output_stream_close(stream, NULL, NULL))
        return g_bytes_new(NULL, 0);
    return g_memory_output_stream_steal_as_bytes(G_MEMORY_OUTPUT_STREAM(memory));
}

gboolean served_put(Served *served, GBytes *bytes, int64_t now_utc)
{
    if (served->bytes != NULL && g_bytes_equal(served->bytes, bytes))
        return FALSE;
    g_autofree char *hash = g_compute_checksum_for_bytes(G_CHECKSUM_SHA256, bytes);

    g_clear_pointer(&served->bytes, g_bytes_unref);
    g_clear_pointer(&served->packed, g_bytes_unref);
    g_free(served->tag);
    g_free(served->packed_tag);
    served->bytes = g_bytes_ref(bytes);
    served->packed = pack(bytes);
    served->tag = g_strdup_printf("\"%.32s\"", hash);
    served->packed_tag = g_strdup_printf("\"%.32s-gzip\"", hash);
    /* Whole seconds: two changes in one would look the same. */
    served->changed_utc = MAX(now_utc, served->changed_utc + 1);
    return TRUE;
}

static gboolean takes_gzip(SoupMessageHeaders *asked)
{
    const char *header = soup_message_headers_get_list(asked, "Accept-Encoding");
    GSList *unacceptable = NULL;
    gboolean takes = FALSE;

    if (header == NULL)
        return FALSE;
    GSList *codings = soup_header_parse_quality_list(header, &unacceptable);
    for (GSList *l = codings; l != NULL; l = l->next)
        takes = takes || g_ascii_strcasecmp(l->data, "gzip") == 0;
    soup_header_free_list(codings);
    soup_header_free_list(unacceptable);
    return takes;
}

/* Weak comparison is meant here (RFC 9110 §13.1.2): a proxy may have made the tag a weak one. */
static gboolean names_tag(const char *header, const char *tag)
{
    GSList *tags = soup_header_parse_list(header);
    gboolean found = FALSE;

    for (GSList *l = tags; l != NULL; l = l->next) {
        const char *one = l->data;
        if (g_str_has_prefix(one, "W/"))
            one += 2;
        found = found || strcmp(one, "*") == 0 || strcmp(one, tag) == 0;
    }
    soup_header_free_list(tags);
    return found;
}

static gboolean is_known(const Served *served, SoupMessageHeaders *asked, const char *tag)
{
    const char *tags = soup_message_headers_get_list(asked, "If-None-Match");
    const char *since = soup_message_headers_get_one(asked, "If-Modified-Since");

    if (tags != NULL)
        return names_tag(tags, tag); /* the other is not looked at then (RFC 9110 §13.1.3) */
    g_autoptr(GDateTime) time = since != NULL ? soup_date_time_new_from_http_string(since) : NULL;
    return time != NULL && served->changed_utc <= g_date_time_to_unix(time);
}

void served_answer(const Served *served, SoupServerMessage *message)
{
    SoupMessageHeaders *asked = soup_server_message_get_request_headers(message);
    SoupMessageHeaders *reply = soup_server_message_get_response_headers(message);

    if (served->bytes == NULL) {
        soup_message_headers_replace(reply, "Retry-After", RETRY_S);
        soup_server_message_set_status(message, SOUP_STATUS_SERVICE_UNAVAILABLE, NULL);
        return;
    }
    const gboolean packed = takes_gzip(asked);
    const char *tag = packed ? served->packed_tag : served->tag;
    g_autoptr(GDateTime) changed = g_date_time_new_from_unix_utc(served->changed_utc);
    g_autofree char *modified = soup_date_time_to_string(changed, SOUP_DATE_HTTP);
    soup_message_headers_replace(reply, "ETag", tag);
    soup_message_headers_replace(reply, "Last-Modified", modified);
    soup_message_headers_replace(reply, "Vary", "Accept-Encoding");
    soup_message_headers_replace(reply, "Cache-Control", "private, no-cache");
    if (is_known(served, asked, tag)) {
        soup_server_message_set_status(message, SOUP_STATUS_NOT_MODIFIED, NULL);
        return;
    }
    gsize length;
    const char *data = g_bytes_get_data(packed ? served->packed : served->bytes, &length);
    if (packed)
        soup_message_headers_replace(reply, "Content-Encoding", "gzip");
    soup_server_message_set_status(message, SOUP_STATUS_OK, NULL);
    soup_server_message_set_response(message, TYPE, SOUP_MEMORY_COPY, data, length);
}
