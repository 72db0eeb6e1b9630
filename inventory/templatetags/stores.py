"""Tags of the Stores' pages: millimetres from stored micrometres, and moments in the shop's zone."""

from datetime import datetime

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from shop import clock

register = template.Library()


@register.simple_tag
def millimetres(value_um: float) -> str:
    """A stored length [µm] in mm to the micrometre."""
    return f"{value_um / 1000:.3f}"


@register.simple_tag
def moment(at: datetime | None) -> SafeString | str:
    """Day and minute in the shop's zone, readable by machines too."""
    if at is None:
        return "—"
    words = f"{clock.local(at):%d %b %Y %H:%M}"
    return format_html('<time datetime="{}">{}</time>', at.isoformat(), words)


@register.simple_tag
def micro(amount: int) -> str:
    """Millionths of a currency as a decimal."""
    from inventory.prices import show_micro

    return show_micro(amount)
