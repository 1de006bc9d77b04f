/* SPDX-License-Identifier: MIT */
#include "post-box.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <json-glib/json-glib.h>
#include <string.h>

#include "base/local-time.h"

static void letter_free(gpointer data)
{
    Letter *letter = data;
    g_free(letter->path);
    g_free(letter->id);
    g_free(letter->topic);
    g_free(letter->summary);
    g_free(letter->body);
    g_free(letter->grower);
    g_free(letter->done_url);
    g_free(letter);
}

static char *text_of(JsonObject *object, const char *member)
{
    return g_strdup(json_object_get_string_member_with_default(object, member, NULL));
}

static void on_post(SoupServer *server, SoupServerMessage *message, const char *path,
                    GHashTable *query, gpointer data)
{
    PostBox *box = data;
    (void)server, (void)query;
    soup_server_message_set_status(message, box->status, NULL);
    if (box->status / 100 != 2) {
        box->refused++;
        return;
    }
    g_autoptr(GBytes) bytes =
        soup_message_body_flatten(soup_server_message_get_request_body(message));
    gsize length;
    const char *text = g_bytes_get_data(bytes, &length);
    g_autoptr(JsonParser) parser = json_parser_new();
    assert_true(json_parser_load_from_data(parser, text, (gssize)length, NULL));
    JsonObject *object = json_node_get_object(json_parser_get_root(parser));
    Letter *letter = g_new0(Letter, 1);
    letter->path = g_strdup(path);
    letter->id = text_of(object, "id");
    letter->topic = text_of(object, "topic");
    letter->summary = text_of(object, "summary");
    letter->body = text_of(object, "body");
    letter->grower = text_of(object, "grower");
    letter->done_url = text_of(object, "done_url");
    letter->urgent = json_object_get_boolean_member(object, "urgent");
    letter->at_utc = world_now(box->w);
    g_ptr_array_add(box->letters, letter);
}

static char *config_of(const PostBox *box, const char *channels)
{
    g_auto(GStrv) parts = g_strsplit(channels, "%s", -1);
    g_autofree char *filled = g_strjoinv(box->base, parts);
    const char *sections = strchr(filled, '[');
    g_autofree char *settings = g_strndup(filled, (gsize)(sections - filled));
    return g_strconcat("[garden]\n", settings, world_garden + strlen("[garden]\n"), sections, NULL);
}

PostBox *post_box_new(const char *channels, const char *start)
{
    PostBox *box = g_new0(PostBox, 1);
    box->letters = g_ptr_array_new_with_free_func(letter_free);
    box->status = 204;
    box->server = soup_server_new(NULL, NULL);
    soup_server_add_handler(box->server, NULL, on_post, box, NULL);
    assert_true(soup_server_listen_local(box->server, 0, SOUP_SERVER_LISTEN_IPV4_ONLY, NULL));
    GSList *uris = soup_server_get_uris(box->server);
    box->base = g_strdup_printf("http://127.0.0.1:%d", g_uri_get_port(uris->data));
    g_slist_free_full(uris, (GDestroyNotify)g_uri_unref);
    g_autofree char *config = config_of(box, channels);
    box->w = world_new(config, start);
    box->w->channels = TRUE;
    return box;
}

void post_box_free(PostBox *box)
{
    world_free(box->w);
    soup_server_disconnect(box->server);
    g_object_unref(box->server);
    g_ptr_array_unref(box->letters);
    g_free(box->base);
    g_free(box);
}

void post_box_configure(PostBox *box, const char *channels)
{
    g_autofree char *config = config_of(box, channels);
    world_write(box->w->config, config);
    if (box->w->service != NULL)
        assert_true(service_reload(box->w->service, NULL));
}

static gboolean has(const Letter *letter, const char *part)
{
    return strstr(letter->summary, part) != NULL || strstr(letter->body, part) != NULL ||
           strstr(letter->topic, part) != NULL;
}

guint post_box_count(const PostBox *box, const char *part)
{
    guint n = 0;
    for (guint i = 0; i < box->letters->len; i++)
        n += has(box->letters->pdata[i], part);
    return n;
}

const Letter *post_box_last(const PostBox *box, const char *part)
{
    for (guint i = box->letters->len; i-- > 0;)
        if (has(box->letters->pdata[i], part))
            return box->letters->pdata[i];
    return NULL;
}

void post_box_forget(PostBox *box)
{
    g_ptr_array_set_size(box->letters, 0);
    box->refused = 0;
}

char *post_box_text(const PostBox *box)
{
    GString *text = g_string_new(NULL);
    for (guint i = 0; i < box->letters->len; i++) {
        const Letter *letter = box->letters->pdata[i];
        g_autofree char *at = utc_format(letter->at_utc);
        g_string_append_printf(text, "%s %s %s%s\n  %s\n  ", at, letter->path, letter->topic,
                               letter->urgent ? "!" : "", letter->summary);
        for (const char *p = letter->body; *p != '\0'; p++) {
            g_string_append_c(text, *p);
            if (*p == '\n')
                g_string_append(text, "  ");
        }
        g_string_append_c(text, '\n');
    }
    return g_string_free(text, FALSE);
}
