/* SPDX-License-Identifier: MIT */
#include "caldav/xml.h"

#include <libxml/parser.h>
#include <libxml/tree.h>
#include <string.h>

#include "base/error.h"

#define DAV "DAV:"
#define CAL "urn:ietf:params:xml:ns:caldav"
#define HEADER "<?xml version=\"1.0\" encoding=\"utf-8\"?>\n"

static void response_free(gpointer data)
{
    DavResponse *response = data;
    g_free(response->href);
    g_free(response->etag);
    g_free(response->principal);
    g_free(response->home);
    g_free(response);
}

void dav_multistatus_free(DavMultistatus *multistatus)
{
    if (multistatus == NULL)
        return;
    g_ptr_array_unref(multistatus->responses);
    g_free(multistatus->token);
    g_free(multistatus);
}

/* ---- reading ---- */

static gboolean is_element(const xmlNode *node, const char *space, const char *name)
{
    return node->type == XML_ELEMENT_NODE && node->ns != NULL &&
           strcmp((const char *)node->name, name) == 0 &&
           strcmp((const char *)node->ns->href, space) == 0;
}

static const xmlNode *child(const xmlNode *node, const char *space, const char *name)
{
    for (const xmlNode *at = node != NULL ? node->children : NULL; at != NULL; at = at->next) {
        if (is_element(at, space, name))
            return at;
    }
    return NULL;
}

/* The text inside, without blanks around; NULL where there is none. */
static char *text_in(const xmlNode *node)
{
    GString *text = g_string_new(NULL);

    for (const xmlNode *at = node != NULL ? node->children : NULL; at != NULL; at = at->next) {
        if ((at->type == XML_TEXT_NODE || at->type == XML_CDATA_SECTION_NODE) &&
            at->content != NULL)
            g_string_append(text, (const char *)at->content);
    }
    char *stripped = g_strstrip(g_string_free(text, FALSE));
    if (*stripped == '\0')
        g_clear_pointer(&stripped, g_free);
    return stripped;
}

static char *href_in(const xmlNode *node)
{
    return text_in(child(node, DAV, "href"));
}

/* "HTTP/1.1 404 Not Found" → 404; 0 for anything else. */
static guint status_in(const xmlNode *node)
{
    g_autofree char *line = text_in(child(node, DAV, "status"));
    const char *number = line != NULL ? strchr(line, ' ') : NULL;
    guint64 status = number != NULL ? g_ascii_strtoull(number, NULL, 10) : 0;

    return status >= 100 && status < 600 ? (guint)status : 0;
}

static void take(char **field, char *text)
{
    if (text == NULL)
        return;
    g_free(*field);
    *field = text;
}

static void read_properties(const xmlNode *prop, DavResponse *response)
{
    const xmlNode *type = child(prop, DAV, "resourcetype");

    take(&response->etag, text_in(child(prop, DAV, "getetag")));
    take(&response->principal, href_in(child(prop, DAV, "current-user-principal")));
    take(&response->home, href_in(child(prop, CAL, "calendar-home-set")));
    if (child(type, DAV, "collection") != NULL)
        response->collection = TRUE;
    if (child(type, CAL, "calendar") != NULL)
        response->calendar = TRUE;
}

static DavResponse *read_response(const xmlNode *node)
{
    DavResponse *response = g_new0(DavResponse, 1);

    response->href = href_in(node);
    response->status = status_in(node);
    for (const xmlNode *at = node->children; at != NULL; at = at->next) {
        guint status = is_element(at, DAV, "propstat") ? status_in(at) : 0;
        if (status >= 200 && status < 300)
            read_properties(child(at, DAV, "prop"), response);
    }
    return response;
}

static DavMultistatus *read_document(const xmlDoc *document)
{
    const xmlNode *root = xmlDocGetRootElement(document);

    if (document->intSubset != NULL || root == NULL || !is_element(root, DAV, "multistatus"))
        return NULL;
    DavMultistatus *multistatus = g_new0(DavMultistatus, 1);
    multistatus->responses = g_ptr_array_new_with_free_func(response_free);
    multistatus->token = text_in(child(root, DAV, "sync-token"));
    for (const xmlNode *at = root->children; at != NULL; at = at->next) {
        if (is_element(at, DAV, "response"))
            g_ptr_array_add(multistatus->responses, read_response(at));
    }
    return multistatus;
}

DavMultistatus *dav_multistatus_read(GBytes *body, GError **error)
{
    gsize length;
    const char *bytes = g_bytes_get_data(body, &length);
    DavMultistatus *multistatus = NULL;

    /* Before anything is parsed, so that no declaration is ever looked at. */
    if (length > 0 && length <= G_MAXINT &&
        g_strstr_len(bytes, (gssize)length, "<!DOCTYPE") == NULL) {
        xmlDoc *document = xmlReadMemory(bytes, (int)length, NULL, NULL,
                                         XML_PARSE_NONET | XML_PARSE_NOERROR | XML_PARSE_NOWARNING);
        if (document != NULL) {
            multistatus = read_document(document);
            xmlFreeDoc(document);
        }
    }
    if (multistatus == NULL)
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "the reply is no multistatus of WebDAV, or is cut short");
    return multistatus;
}

/* ---- writing ---- */

char *dav_xml_look(void)
{
    return g_strdup(HEADER "<propfind xmlns=\"DAV:\" xmlns:C=\"" CAL "\"><prop><resourcetype/>"
                           "<current-user-principal/><C:calendar-home-set/></prop></propfind>\n");
}

char *dav_xml_list(void)
{
    return g_strdup(HEADER "<propfind xmlns=\"DAV:\"><prop><resourcetype/><getetag/></prop>"
                           "</propfind>\n");
}

char *dav_xml_changes(const char *token)
{
    return g_markup_printf_escaped(
        HEADER "<sync-collection xmlns=\"DAV:\"><sync-token>%s</sync-token>"
               "<sync-level>1</sync-level><prop><getetag/></prop></sync-collection>\n",
        token);
}

char *dav_xml_calendar(gboolean extended, const char *name, const char *colour)
{
    g_autofree char *look =
        colour != NULL
            ? g_markup_printf_escaped("<A:calendar-color xmlns:A=\"http://apple.com/ns/ical/\">%sFF"
                                      "</A:calendar-color>",
                                      colour)
            : g_strdup("");
    g_autofree char *title = g_markup_escape_text(name, -1);
    const char *element = extended ? "mkcol" : "C:mkcalendar";

    return g_strdup_printf(
        HEADER "<%s xmlns=\"DAV:\" xmlns:C=\"" CAL "\"><set><prop>%s<displayname>%s</displayname>"
               "<C:supported-calendar-component-set><C:comp name=\"VEVENT\"/>"
               "</C:supported-calendar-component-set>%s</prop></set></%s>\n",
        element, extended ? "<resourcetype><collection/><C:calendar/></resourcetype>" : "", title,
        look, element);
}
