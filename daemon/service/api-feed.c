/* SPDX-License-Identifier: MIT */
#include "service/api-feed.h"

#include <gio/gio.h>
#include <string.h>

#include "garden/feed-setup.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/feed-outlet.h"
#include "service/wording-feed.h"

#define CERTIFICATE_WARN_D 14 /* before it ends; chosen */

static JsonArray *addresses(const Service *service)
{
    JsonArray *array = json_array_new();

    for (int i = 0; i < service->garden->n_growers; i++) {
        g_autofree char *address = feed_outlet_address(service->feed, i);
        if (address == NULL)
            continue;
        JsonObject *one = json_object_new();
        api_set_text(one, "grower", service->garden->growers[i].name);
        api_set_text(one, "address", address);
        json_array_add_object_element(array, one);
    }
    return array;
}

/* It listens on loopback, and no web server is said to stand in front. */
static gboolean is_only_here(const FeedSetup *setup)
{
    g_autoptr(GInetAddress) address = g_inet_address_new_from_string(setup->host);
    return *setup->outside == '\0' && address != NULL && g_inet_address_get_is_loopback(address);
}

JsonNode *api_feed(const Service *service)
{
    JsonNode *node = json_node_new(JSON_NODE_NULL);

    if (service->garden->feed == NULL)
        return node;
    JsonObject *object = json_object_new();
    api_set_text(object, "problem", feed_outlet_problem(service->feed));
    api_take_text(
        object, "text",
        wording_feed(service->garden->n_growers > 1, is_only_here(service->garden->feed)));
    json_object_set_array_member(object, "addresses", addresses(service));
    json_node_init_object(node, object);
    json_object_unref(object);
    return node;
}

/* When the certificate ends; 0 none, or it does not say. */
static int64_t certificate_end(const FeedSetup *setup)
{
    if (setup->certificate == NULL)
        return 0;
    g_autoptr(GTlsCertificate) certificate =
        g_tls_certificate_new_from_pem(setup->certificate, -1, NULL);
    g_autoptr(GDateTime) end =
        certificate != NULL ? g_tls_certificate_get_not_valid_after(certificate) : NULL;
    return end != NULL ? g_date_time_to_unix(end) : 0;
}

char *api_feed_words(const Service *service, gboolean *ret_well)
{
    const FeedSetup *setup = service->garden->feed;
    const WordingContext words = service_wording(service);
    const char *problem = feed_outlet_problem(service->feed);

    if (setup == NULL)
        return NULL;
    const int64_t end_utc = certificate_end(setup), now_utc = clock_now(service->clk);
    g_autofree char *end = wording_when(&words, 0, end_utc);
    *ret_well = problem == NULL &&
                (end_utc == 0 || end_utc > now_utc + (int64_t)CERTIFICATE_WARN_D * 24 * 3600);
    if (problem != NULL)
        return g_strdup(problem);
    if (*ret_well)
        return g_strdup("served; a phone may see a change late");
    return g_strdup_printf(end_utc <= now_utc
                               ? "its certificate ended %s, phones turn away; put a new one there, "
                                 "then reload"
                               : "its certificate ends %s; put a new one there, then reload",
                           end);
}

static gboolean find_grower(const Service *service, const char *name, int *ret, GError **error)
{
    const Garden *garden = service->garden;

    if (name == NULL && garden->n_growers == 1) {
        *ret = 0;
        return TRUE;
    }
    for (int i = 0; name != NULL && i < garden->n_growers; i++) {
        if (strcmp(garden->growers[i].name, name) == 0) {
            *ret = i;
            return TRUE;
        }
    }
    g_autofree char *hint = garden_suggest(garden, GARDEN_GROWER, name != NULL ? name : "");
    if (name == NULL)
        return api_refuse(error, THOLE_ERROR_INVALID, "grower is missing; %s", hint);
    return api_refuse(error, THOLE_ERROR_NOT_FOUND, "there is no grower %.60s; %s", name, hint);
}

static JsonNode *post_renew(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    const char *name = NULL;
    int grower = 0;

    if (!control_body_string(request, "grower", FALSE, &name, error) ||
        !control_reject_rest(request, error) || !find_grower(service, name, &grower, error))
        return NULL;
    if (service->garden->feed == NULL) {
        (void)api_refuse(error, THOLE_ERROR_CONFLICT,
                         "no feed is served; a section [feed] of thole.conf switches it on");
        return NULL;
    }
    return feed_outlet_renew(service->feed, grower, error) ? api_calendar(service) : NULL;
}

void api_add_feed(Service *service, Control *control)
{
    control_add(control, "POST", "/v1/calendar/renew", post_renew, service);
}
