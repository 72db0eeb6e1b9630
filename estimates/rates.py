"""Exchange rates, typed by the office with their day. Purchases keep a copy of theirs."""

import re
from datetime import date, datetime
from decimal import Decimal

from django.conf import settings
from django.db import transaction

from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.models import ExchangeRate
from shop.money import MICRO
from shop.refusals import Conflict, Refusal

TYPED = re.compile(r"[0-9]{1,6}(?:[.,][0-9]{1,6})?")
FIRST_DAY = date(2000, 1, 1)
FAR_OFF = 2  # so many times the newest rate, or that part of it, is asked for twice
# ISO 4217 alphabetic codes of currencies in use; from memory, check before relying on it
CURRENCY_WORDS = """
    AED ARS AUD BAM BDT BGN BHD BRL CAD CHF CLP CNY COP CZK DKK EGP EUR GBP GEL HKD HUF IDR ILS INR
    ISK JOD JPY KES KRW KWD KZT LKR MAD MDL MKD MXN MYR NGN NOK NZD OMR PEN PHP PKR PLN QAR RON RSD
    RUB SAR SEK SGD THB TND TRY TWD TZS UAH USD UYU VND XAF XOF ZAR
"""
CURRENCIES = frozenset(CURRENCY_WORDS.split())


def parse_rate(text: str) -> int:
    """Millionths from ``"1.15"`` or ``"1,15"``; Refusal with an example for anything else."""
    typed = text.strip()
    if not TYPED.fullmatch(typed):
        raise Refusal(rate="Write a rate such as 1.1500, with at most six digits after the point.")
    micro = int(Decimal(typed.replace(",", ".")).scaleb(6))
    if micro <= 0:
        raise Refusal(rate="A rate is more than nothing.")
    return micro


def show_rate(micro: int) -> str:
    """``"1.15"``: as many digits as it has, at least two after the point."""
    whole, after = divmod(micro, MICRO)
    return f"{whole}.{f'{after:06d}'.rstrip('0').ljust(2, '0')}"


def _currency(text: str) -> str:
    code = text.strip().upper()
    if code not in CURRENCIES:
        raise Refusal(currency="Write the three letters of a currency, such as GBP.")
    if code == settings.CURRENCY:
        raise Refusal(currency=f"{code} is the shop's own currency: it needs no rate.")
    return code


def type_rate(
    *, currency: str, on: date, rate: str, by: Actor, sure: bool = False, at: datetime | None = None
) -> ExchangeRate:
    """Write down what one of ``currency`` is in the shop's own on that day.

    A rate far from the newest one, or another one for a day that has one, is taken only if the office is
    ``sure``. The same rate again changes nothing.
    """
    by.need("keep_office")
    at = at or clock.now()
    code, micro = _currency(currency), parse_rate(rate)
    if not FIRST_DAY <= on <= clock.today(at):
        raise Refusal(on="Write a day that has come already, from the year 2000 on.")
    newest = ExchangeRate.objects.filter(currency=code).exclude(on=on).order_by("-on").first()
    if newest is not None and not sure:
        times = Decimal(micro) / newest.rate_micro
        if not Decimal(1) / FAR_OFF <= times <= FAR_OFF:
            raise Refusal(
                rate=f"On {newest.on:%d %b %Y} it was {show_rate(newest.rate_micro)}. Look at the point "
                "again, and tick that you are sure."
            )
    with transaction.atomic():
        row, made = ExchangeRate.objects.get_or_create(
            currency=code, on=on, defaults={"rate_micro": micro, "typed_by": by.user}
        )
        before = row.rate_micro
        if not made and before == micro:
            return row
        if not made:
            if not sure:
                raise Refusal(
                    rate=f"For that day {show_rate(before)} stands already. Tick that you are sure to put "
                    "this one in its place."
                )
            won = ExchangeRate.objects.filter(pk=row.pk, rate_micro=before).update(
                rate_micro=micro, typed_by=by.user
            )
            if not won:
                raise Conflict("Somebody typed another rate for that day meanwhile. Look again.")
        write_line(
            by=by, deed="typed rate", thing=row, at=at, currency=code, on=f"{on}", rate_micro=micro,
            before_micro=0 if made else before,
        )  # fmt: skip
    row.refresh_from_db()
    return row
