"""Letters to customers, by Django's mail. One letter a key: the Message-ID says so to the receiving side."""

import re
from collections.abc import Sequence
from urllib.parse import urlsplit

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import BadHeaderError, EmailMessage
from django.core.validators import validate_email


def usable_address(text: str) -> str:
    """The address if a letter can go there, otherwise nothing. A line break is never part of one."""
    if re.search(r"[\x00-\x1f\x7f]", text):
        return ""
    typed = text.strip()
    try:
        validate_email(typed)
    except ValidationError:
        return ""
    return typed


def message_id(key: str) -> str:
    """The Message-ID (RFC 5322, 3.6.4) of the letter with that key: the same whenever it is made again."""
    host = urlsplit(settings.ADDRESS).hostname or "localhost"
    return f"<{re.sub(r'[^A-Za-z0-9]+', '.', key).strip('.')}@{host}>"


def send_letter(
    *, to: str, subject: str, body: str, key: str, papers: Sequence[tuple[str, bytes, str]] = ()
) -> None:
    """Send one letter. ``papers``: file name, bytes, content type.

    Trouble on the way is raised for the outbox to try again; a cut connection may cause one double, which
    carries the same Message-ID. A line break in a header raises BadHeaderError and sends nothing.
    """
    if not usable_address(to):
        raise BadHeaderError("no letter can go to this address")
    letter = EmailMessage(
        subject=subject,
        body=body,
        to=[to],
        headers={"Message-ID": message_id(key), "Auto-Submitted": "auto-generated"},
    )
    for name, data, content_type in papers:
        letter.attach(name, data, content_type)
    letter.send()
