"""Numbers given out in turn. Raised by a conditional update, so that two askers never get the same one."""

from django.db import transaction
from django.db.models import F

from shop.models import Counter


def next_number(name: str, first: int = 1) -> int:
    """The next number of that name; inside the caller's transaction it is taken back if that fails."""
    with transaction.atomic():
        Counter.objects.get_or_create(name=name, defaults={"last": first - 1})
        Counter.objects.filter(name=name).update(last=F("last") + 1)
        return Counter.objects.values_list("last", flat=True).get(name=name)
