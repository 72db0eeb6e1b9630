"""Part numbers and search. Numbers are compared without marks and in upper case, as storemen read them."""

from __future__ import annotations

import re

from django.db.models import Q, QuerySet, Sum

from inventory.models import Part, Piece

MARKS = re.compile(r"[^0-9A-Z]+")


def search_key(number: str) -> str:
    """``"h4-60.12"`` and ``"H4 6012"`` are one number: ``"H46012"``."""
    return MARKS.sub("", number.upper())[:40]


def part_of_number(number: str) -> Part | None:
    """The one part whose number reads like this; none if there is no such part or several."""
    key = search_key(number)
    found = list(Part.objects.filter(search_key=key)[:2]) if key else []
    return found[0] if len(found) == 1 else None


def find_parts(text: str = "", position: str = "", bin: str = "") -> QuerySet[Part]:
    """Parts whose number or name holds the words, that fit the position and lie in the bin; with what is on
    hand and promised of each (``on_hand``, ``reserved``: none means nothing was ever received)."""
    rows = Part.objects.all()
    for word in text.split():
        rows = rows.filter(_number_or_name(word, "search_key", "name"))
    if position:
        rows = rows.filter(fits__position__code__iexact=position)
    if bin:
        rows = rows.filter(lots__bin__code__iexact=bin, lots__balance__on_hand__gt=0)
    chosen = Part.objects.filter(pk__in=rows.order_by().values("pk"))
    return chosen.annotate(
        on_hand=Sum("lots__balance__on_hand"), reserved=Sum("lots__balance__reserved")
    ).order_by("number")


def find_pieces(text: str = "", position: str = "", bin: str = "") -> QuerySet[Piece]:
    """Pieces in stock by tag, part number, name or words, position and bin."""
    rows = Piece.objects.in_stock().select_related("position", "bin", "part", "family")
    for word in text.split():
        rows = rows.filter(
            Q(tag__icontains=word)
            | Q(words__icontains=word)
            | Q(position__name__icontains=word)
            | _number_or_name(word, "part__search_key", "part__name")
        )
    if position:
        rows = rows.filter(position__code__iexact=position)
    if bin:
        rows = rows.filter(bin__code__iexact=bin)
    return rows.order_by("tag")


def _number_or_name(word: str, key_field: str, name_field: str) -> Q:
    named = Q(**{f"{name_field}__icontains": word})
    key = search_key(word)
    return named | Q(**{f"{key_field}__contains": key}) if key else named
