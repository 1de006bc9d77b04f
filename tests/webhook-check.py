# SPDX-License-Identifier: MIT
"""Checks a webhook as a receiver would, by docs/notify.md, and prints the message's summary.

Usage: webhook-check.py SECRET TIME SIGNATURE NOW <BODY
"""
import hashlib
import hmac
import json
import sys

secret, time, signature, now = sys.argv[1:]
body = sys.stdin.buffer.read()
mine = "sha256=" + hmac.new(secret.encode(), time.encode() + b"." + body, hashlib.sha256).hexdigest()
if not hmac.compare_digest(mine, signature):
    sys.exit("the signature is not that of the body")
if abs(int(now) - int(time)) > 300:
    sys.exit("it is old: perhaps sent again by somebody who listened")
message = json.loads(body)
print(message["summary"])
