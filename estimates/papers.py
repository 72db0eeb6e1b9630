"""Outbox rules of quotes: the paper, and the letters to the customer. Each effect is keyed by its row."""

from django.conf import settings

from estimates.links import path_of_quote
from estimates.models import Quote
from estimates.shown import quote_context
from shop.documents import keep_file, path_of, render_paper
from shop.mailing import send_letter, usable_address
from shop.models import Document
from shop.money import show_minor


def paper_key(quote: Quote) -> str:
    return f"quote-paper:{quote.pk}"


def paper_of(quote: Quote) -> Document | None:
    """The printed paper, if it is there yet."""
    return Document.objects.filter(key=paper_key(quote)).first()


def quote_by(pk: int) -> Quote:
    return Quote.objects.select_related(
        "ticket", "ticket__customer", "ticket__family", "ticket__variant", "plan"
    ).get(pk=pk)


def print_quote(key: str, quote: int) -> Document:
    """Outbox rule: make the quote's PDF and keep it with its ticket. Twice is once."""
    row = quote_by(quote)
    if (kept := paper_of(row)) is not None:
        return kept
    data = render_paper("estimates/quote_paper.html", quote_context(row))
    return keep_file(
        ticket=row.ticket,
        kind="quote",
        title=f"Quote {row.version} of ticket {row.ticket.number}",
        suffix=".pdf",
        content_type="application/pdf",
        data=data,
        key=paper_key(row),
    )


def file_name(quote: Quote) -> str:
    return f"quote-{quote.ticket.number}-{quote.version}.pdf"


def address_of(quote: Quote) -> str:
    """The address that the customer opens."""
    return f"{settings.ADDRESS}{path_of_quote(quote)}"


def mail_quote(key: str, quote: int) -> None:
    """Outbox rule: send the customer the link and the paper, unless the quote was answered or replaced."""
    row = quote_by(quote)
    to = usable_address(row.ticket.customer.email) if row.ticket.customer else ""
    if row.state != "sent" or not to:
        return
    paper = print_quote(paper_key(row), row.pk)
    send_letter(
        to=to,
        subject=f"Quote for your {row.ticket.family.name}, ticket {row.ticket.number}",
        body=_quote_words(row),
        key=key,
        papers=[(file_name(row), path_of(paper).read_bytes(), "application/pdf")],
    )


def _quote_words(quote: Quote) -> str:
    assert quote.valid_until is not None
    total = show_minor(quote.total_minor, quote.currency, sign=True)
    return (
        f"Your {quote.ticket.family.name} has been stripped and examined. What it needs, and what that "
        f"costs, is in the paper with this letter.\n\n"
        f"In all {total}, tax included, valid until {quote.valid_until:%d %B %Y}.\n\n"
        f"Say yes or no here:\n{address_of(quote)}\n\n"
        f"The address is for you alone. Whoever has it can answer in your place.\n\n"
        f"{settings.SHOP_NAME}\n"
    )


def mail_acceptance(key: str, quote: int) -> None:
    """Outbox rule: tell the customer that the yes has arrived."""
    row = quote_by(quote)
    to = usable_address(row.ticket.customer.email) if row.ticket.customer else ""
    if row.state != "accepted" or not to:
        return
    total = show_minor(row.total_minor, row.currency, sign=True)
    send_letter(
        to=to,
        subject=f"Accepted: quote {row.version} of ticket {row.ticket.number}",
        body=(
            f"Thank you. Quote {row.version} for your {row.ticket.family.name} is accepted: {total}, "
            f"tax included. The parts are kept for you and the work can begin.\n\n"
            f"The quote stays here to read:\n{address_of(row)}\n\n{settings.SHOP_NAME}\n"
        ),
        key=key,
    )
