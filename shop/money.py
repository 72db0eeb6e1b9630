"""Money: whole minor units inside, Decimal at the door, rounded once where a figure becomes a line."""

import re
from datetime import date
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation

from django.conf import settings

from shop.models import ExchangeRate
from shop.refusals import Refusal

MICRO = 1_000_000
# ISO 4217 minor digits; the rest have two
DIGITS = {"JPY": 0, "KRW": 0, "ISK": 0, "CLP": 0, "KWD": 3, "BHD": 3, "TND": 3}
TYPED = re.compile(r"[0-9]{1,9}(?:[.,][0-9]{1,4})?")

# What people type that is nearly an amount: thousands set apart, and more digits than are kept
GROUPED = re.compile(r"([1-9][0-9]{0,2}(?:[.,'’\s][0-9]{3})+)(?:[.,]([0-9]*))?")
LONG = re.compile(r"[0-9]{10,}(?:[.,][0-9]*)?")


def digits(currency: str) -> int:
    return DIGITS.get(currency, 2)


def half_up(amount: Decimal) -> int:
    """Round half away from zero, as an invoice does; the same for credit notes."""
    return int(amount.quantize(Decimal(1), rounding=ROUND_HALF_UP))


def parse_minor(text: str, currency: str | None = None) -> int:
    """Minor units from ``"84"``, ``"84.00"`` or ``"84,00"``; Refusal with an example for anything else."""
    typed = text.strip()
    places = digits(currency or settings.CURRENCY)
    # 1,200 is twelve hundred to one reader and one and a fifth to another: neither is guessed at.
    if not TYPED.fullmatch(typed) or (places < 3 and GROUPED.fullmatch(typed)):
        raise Refusal(_what_is_wrong(typed, places))
    try:
        amount = Decimal(typed.replace(",", ".")).scaleb(places)
    except InvalidOperation:
        raise Refusal("This is no amount.") from None
    if amount != int(amount):
        raise Refusal(f"{currency or settings.CURRENCY} has {places} digits after the point.")
    return int(amount)


def _what_is_wrong(typed: str, places: int) -> str:
    """What of the text is no amount, with an example of what is."""
    example = str(Decimal(8450).scaleb(-places))
    if typed.startswith(("-", "−")):
        return f"An amount here is zero or more: write it without the minus, such as {example}."
    if grouped := GROUPED.fullmatch(typed):
        whole = re.sub(r"[^0-9]", "", grouped[1])
        minor = (grouped[2] or "")[:places].ljust(places, "0")
        plain = f"{whole}.{minor}" if places else whole
        says = f"Write it without the comma, point or space between the thousands, such as {plain}."
        # One mark with three digits after it may have been meant as the point.
        return f"{says} There are {places} digits after the point." if TYPED.fullmatch(typed) else says
    if LONG.fullmatch(typed):
        return f"The amount is too large: at most nine digits before the point, such as {example}."
    return f"Write an amount such as {example}, without a currency sign."


def show_minor(minor: int, currency: str | None = None, sign: bool = False) -> str:
    """``"84.00"`` or ``"84.00 EUR"``."""
    currency = currency or settings.CURRENCY
    text = f"{Decimal(minor).scaleb(-digits(currency)):.{digits(currency)}f}"
    return f"{text} {currency}" if sign else text


def line_minor(unit_micro: int, quantity: int, currency: str, rate_micro: int = MICRO) -> int:
    """A line in the shop's minor units: unit price × quantity × rate, rounded once.

    ``unit_micro``: millionths of one ``currency``; ``rate_micro``: millionths of the shop's currency for
    one of it.
    """
    amount = Decimal(unit_micro) * quantity * rate_micro / MICRO / MICRO
    return half_up(amount.scaleb(digits(settings.CURRENCY)))


def part_of(minor: int, permille: int) -> int:
    """So many thousandths of an amount (tax, margin), rounded once."""
    return half_up(Decimal(minor) * permille / 1000)


def rate_for(currency: str, on: date) -> tuple[int, date | None]:
    """The newest rate typed for the currency on or before that day, and its day.

    The shop's own currency is 1 with no day. Refusal if the office typed none.
    """
    if currency == settings.CURRENCY:
        return MICRO, None
    row = ExchangeRate.objects.filter(currency=currency, on__lte=on).order_by("-on").first()
    if row is None:
        raise Refusal(f"There is no exchange rate for {currency} on {on:%d %b %Y}. The Office types one.")
    return row.rate_micro, row.on
