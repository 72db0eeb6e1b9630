"""Signed links: a value that leaves the shop in an address and can be believed when it comes back.

A token works for its purpose only (the purpose is the salt) and for as long as the asker allows. Its time
is the shop's clock, so that a demonstration that shifts the clock shifts the end of a link too.
"""

import json
from datetime import UTC, datetime, timedelta

from django.core.signing import BadSignature, Signer
from django.utils.http import urlsafe_base64_decode, urlsafe_base64_encode

from shop import clock
from shop.access import NotThere

LONGEST = 2000  # characters of a token that are looked at


def _signer(purpose: str) -> Signer:
    return Signer(salt=f"shop.links:{purpose}", sep="~")


def sign(purpose: str, value: str, at: datetime | None = None) -> str:
    """A token for ``value`` that only :func:`unsign` with the same purpose accepts; safe in an address."""
    moment = int((at or clock.now()).timestamp())
    body = urlsafe_base64_encode(json.dumps([value, moment]).encode())
    return _signer(purpose).sign(body)


def unsign(purpose: str, token: str, max_age: timedelta, at: datetime | None = None) -> str:
    """The value of a token; the signature is checked before anything of it is used.

    Raises :class:`NotThere` for a token that was altered, is for another purpose or is too old.
    """
    try:
        body = _signer(purpose).unsign(token[:LONGEST])
    except BadSignature:
        raise NotThere from None
    value, moment = json.loads(urlsafe_base64_decode(body))
    age = (at or clock.now()) - datetime.fromtimestamp(moment, UTC)
    if age > max_age:
        raise NotThere
    return str(value)
