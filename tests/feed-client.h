/* SPDX-License-Identifier: MIT */
/* A client of the feed that shares a thread with it: it turns the loop meanwhile. */
#pragma once

#include <glib.h>

#include "feed/feed.h"

/* A connection from the numeric address `from` on loopback, not blocking. */
int feed_open_from(const char *from, int port);

/* A whole exchange of bytes over it, or over a connection from 127.0.0.1. The caller frees. */
char *feed_finish(int fd, const char *bytes);
char *feed_exchange(int port, const char *bytes);

/* A request of METHOD at TARGET with further header lines, each with its line break, or "". */
char *feed_ask(int port, const char *method, const char *target, const char *headers);

/* A field of a reply's head, or NULL; what follows its head. The former the caller frees. */
char *feed_header(const char *reply, const char *name);
const char *feed_body(const char *reply);

/* A new certificate for 127.0.0.1 and its key in FOLDER, cert.pem and key.pem, by openssl. */
void feed_make_certificate(const char *folder);
