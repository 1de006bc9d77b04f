/* SPDX-License-Identifier: MIT */
/* A client of the control interface that shares a thread with the daemon: it turns the loop
 * meanwhile. */
#pragma once

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <json-glib/json-glib.h>

/* A connection, not blocking. */
int client_open(const char *path);

/* Sends as the daemon takes it, STEP bytes at a time, then reads to the end and closes. The caller
 * frees. */
char *client_finish(int fd, const char *bytes, gsize length, gsize step);

/* A whole exchange of bytes; of a request. The caller frees. */
char *client_exchange(const char *path, const char *bytes, gsize length);
char *client_ask(const char *path, const char *method, const char *target, const char *body);

/* The bytes of a request. The caller frees. */
char *client_text(const char *method, const char *target, const char *body);

/* The status of a reply, 0 where it is none; its object, which PARSER keeps. */
int client_status(const char *reply);
JsonObject *client_object(const char *reply, JsonParser *parser);

/* It is a problem of this status and type, and its detail holds DETAIL. */
void assert_problem(const char *reply, int status, const char *type, const char *detail);
