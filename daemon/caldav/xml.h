/* SPDX-License-Identifier: MIT */
/* WebDAV's XML, read without a network, a DTD or entities, and written. */
#pragma once

#include <glib.h>

/* What a multistatus says of one resource. Texts are owned; NULL where nothing was said. */
typedef struct DavResponse {
    char *href;
    guint status; /* of the resource itself; 0: said per property */
    char *etag, *principal, *home;
    gboolean collection, calendar;
} DavResponse;

typedef struct DavMultistatus {
    GPtrArray *responses; /* (element-type DavResponse) */
    char *token;          /* (owned) (nullable) of sync-collection */
} DavMultistatus;

void dav_multistatus_free(DavMultistatus *multistatus);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(DavMultistatus, dav_multistatus_free)

/*
 * NULL with THOLE_ERROR_INVALID where BODY is no whole multistatus, or has a document type: there
 * could be entities in it. Properties of a propstat that did not succeed are passed by.
 */
DavMultistatus *dav_multistatus_read(GBytes *body, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Bodies of requests; g_free(). */
char *dav_xml_look(void);                 /* PROPFIND: what a resource is, and leads to */
char *dav_xml_list(void);                 /* PROPFIND: tags */
char *dav_xml_changes(const char *token); /* REPORT sync-collection (RFC 6578 §3.2) */
char *dav_xml_calendar(
    gboolean extended, const char *name,
    const char *colour); /* MKCALENDAR, or MKCOL of RFC 5689; colour #RRGGBB or NULL */
