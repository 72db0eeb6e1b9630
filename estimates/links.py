"""The customer's signed link to one quote: for that purpose only, with an end, and no secret of a person."""

from datetime import timedelta

from django.urls import reverse

from estimates.models import Quote
from shop.access import Actor, NotThere
from shop.links import sign, unsign

PURPOSE = "quote"
LIFE = timedelta(days=120)  # longer than any quote is valid: an expired quote is still shown as expired


def path_of_quote(quote: Quote) -> str:
    return reverse("public_quote", args=[sign(PURPOSE, quote.nonce)])


def quote_of_link(token: str) -> Quote:
    """The quote that the link was made for; NotThere if it was tampered with, is too old, or is a draft."""
    nonce = unsign(PURPOSE, token, LIFE)
    quote = (
        Quote.objects.select_related(
            "ticket", "ticket__customer", "ticket__family", "ticket__variant", "plan"
        )
        .filter(nonce=nonce)
        .exclude(state="draft")
        .first()
    )
    if quote is None:
        raise NotThere
    return quote


def customer_of(quote: Quote) -> Actor:
    """The customer, as far as the shop can tell: whoever holds the link."""
    return Actor("link", f"link:quote:{quote.pk}")
