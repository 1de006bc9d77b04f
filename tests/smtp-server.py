#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""A real mail server (aiosmtpd) on free ports of loopback, one for each habit. Writes its ports as one
line of JSON, then a line for each mail it took, as python's own parser reads it. Ends with its input.

Usage: smtp-server.py FOLDER    (a certificate for 127.0.0.1 is made there: server.pem)
"""
import asyncio
import email
import email.policy
import json
import logging
import ssl
import subprocess
import sys

from aiosmtpd.smtp import SMTP, AuthResult

PASSWORD = b"s3cret word"


def say(thing):
    print(json.dumps(thing), flush=True)


class Handler:
    def __init__(self, habit):
        self.habit = habit

    async def handle_RCPT(self, server, session, envelope, address, options):
        if "nobody" in address:
            return "550 5.1.1 nobody of that name"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        if self.habit == "busy":
            return "451 4.3.0 come back later"
        if self.habit == "silent":
            await asyncio.sleep(3600)
        raw = envelope.content
        mail = email.message_from_bytes(raw, policy=email.policy.default)
        say({
            "habit": self.habit,
            "from": envelope.mail_from,
            "to": envelope.rcpt_tos,
            "encrypted": server.transport.get_extra_info("sslcontext") is not None,
            "user": session.auth_data.decode() if session.auth_data else None,
            "subject": mail["subject"],
            "header_from": str(mail["from"]),
            "header_to": str(mail["to"]),
            "date": mail["date"].datetime.timestamp(),
            "id": mail["message-id"],
            "auto": mail["auto-submitted"],
            "importance": mail["importance"],
            "type": mail.get_content_type(),
            "charset": mail.get_content_charset(),
            "encoding": mail["content-transfer-encoding"],
            "body": mail.get_content().replace("\r\n", "\n"),
            "defects": [repr(d) for d in mail.defects]
            + [repr(d) for header in mail.values() for d in header.defects],
            "once": len(mail.keys()) == len({key.lower() for key in mail.keys()}),
            "longest": max(map(len, raw.split(b"\r\n"))),
            "ascii": raw.isascii(),
            "bare": raw.replace(b"\r\n", b"").count(b"\n") + raw.replace(b"\r\n", b"").count(b"\r"),
        })
        return "250 OK"


def authenticate(server, session, envelope, mechanism, data):
    if data.password != PASSWORD:
        return AuthResult(success=False, handled=False)
    return AuthResult(success=True, auth_data=data.login)


async def serve(folder):
    logging.disable()
    pem = folder + "/server.pem"
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
                    "-nodes", "-keyout", pem, "-out", folder + "/cert.pem", "-days", "2", "-subj", "/CN=127.0.0.1",
                    "-addext", "subjectAltName=IP:127.0.0.1"], check=True, stderr=subprocess.DEVNULL)
    with open(pem, "a", encoding="ascii") as both, open(folder + "/cert.pem", encoding="ascii") as cert:
        both.write(cert.read())
    tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    tls.load_cert_chain(pem)
    loop = asyncio.get_running_loop()
    ports, servers = {}, []

    async def begin(habit, implicit=None, **options):
        server = await loop.create_server(lambda: SMTP(Handler(habit), loop=loop, **options), "127.0.0.1", 0,
                                          ssl=implicit)
        ports[habit] = server.sockets[0].getsockname()[1]
        servers.append(server)

    login = {"authenticator": authenticate, "auth_required": True}
    await begin("plain")
    await begin("busy")
    await begin("silent")
    await begin("starttls", tls_context=tls, require_starttls=True, **login)
    await begin("smtps", implicit=tls, auth_require_tls=False, **login)
    say(ports)
    await loop.run_in_executor(None, sys.stdin.read)


asyncio.run(serve(sys.argv[1]))
