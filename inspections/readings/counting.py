"""The counter that tablets ask for is raised by whatever changes what an examination says."""

from django.db.models import F, Q

from inspections.models import Examination
from inventory.models import Piece


def raise_counter_of_piece(piece: Piece) -> None:
    """Reworked, exchanged or parted: everybody at the unit that the piece came out of sees it.

    Called in the transaction of the change, so that the counter and the change are seen together.
    """
    lies = Q(donor_id=piece.from_unit_id) if piece.from_unit_id else Q(pk__in=())
    if piece.source_id:
        lies |= Q(ticket__sources=piece.source_id)
    Examination.objects.filter(pk__in=Examination.objects.filter(lies).values("pk")).update(
        counter=F("counter") + 1
    )
