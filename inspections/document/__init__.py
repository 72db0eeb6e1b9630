"""The guide as a document: plain frozen records read from the TOML file or from a published revision.

Pure: no database, no Django. Lengths are mm, money is minor units of the shop's currency, time is minutes.
Positions are named by codes that never change; everything else belongs to the one revision it stands in.
Every entry is a ``[[table]]`` with a ``code``. A feature or a check with ``unit = "in"`` states lengths in
inches. ``variants`` at a position, a check or a step says where it exists; without, everywhere.

``[[feature]]`` is measured: ``position``, ``name``, ``limit`` for each size (the first is the standard one),
``rule`` guarded or simple, ``dimension`` for the kind of gauge. A limit is ``new = [low, high]`` or an ISO
``zone = "25 H7"``, with ``wear`` beyond one end and ``mean`` for the mean of all places by itself::

    limit = [{ zone = "26 H7", wear = 26.035 }, { size = "oversize", new = [26.100, 26.121] }]
    form = 0.012     # out-of-round: between the directions of one depth
    taper = 0.010    # between the means of the depths
    spread = 0.002   # of a set: each place is another of its parts
    stated = true    # never read, its limits stand for it: a gasket as compressed

``[[check]]`` has a ``kind``:

identify, count   ``expected`` by variant; they come first in their position, a wrong part is nothing else
look              its defects: ``[[defect]]`` with ``reject = "a pit that can be felt"``, ``picture``
measure           ``feature``, ``places`` ("front, upright" is a depth and a direction), ``repeats`` for each
                  place, ``gauge_um``: the coarsest gauge allowed; ``warm`` asks for the part's temperature,
                  which is asked anyway where 10 °C would shift the reading by over a tenth of its zone
stack             ``terms``, each a feature with a signed factor, and its own limits: ``min`` and ``max``;
                  or ``zones = "25 H7/g6"``; or ``fit`` of new parts with ``wear`` beside it, in mm or as
                  manuals print it: ``fit = "0.0005L-0.0025L"``, ``wear = "0.0040L"`` (L loose, T tight,
                  inches unless ``unit = "mm"``). ``sizes`` states the same for other sizes. ``rollers``
                  and ``gap`` hold the total gap round the circle of needle rollers
thread            ``designation``, ``taper``, ``chase = true``; its defects
try               pieces as assembled, see below
replaced          always

A check of kind ``try`` is of named pieces as assembled: turned, selected, or measured for backlash, gap or
end float. ``of`` names the other positions it is assembled with; a reading of it is of all those pieces and
ends when any of them is changed. With ``min`` or ``max`` (and ``wear``) it takes a quantity and a gauge, at
its ``places`` if it names any; without, it is sound or shows one of its defects, like a look::

    [[check]]
    code = "TRY-2M-LASH"
    position = "W2M"
    kind = "try"
    of = ["LAY"]
    title = "Backlash of second gear"
    dimension = "movement"   # what the gauge measures; optional
    gauge_um = 12.0          # optional
    min = 0.08
    max = 0.20
    wear = 0.30
    places = ["first tooth", "opposite"]
    remedies = ["MATCH-2"]

``[[remedy]]`` says what it ``restores``, its minutes, skill, consumables and outside work with ``lead_days``,
what it ``leaves`` behind, its chance of failing (losses of outside work included) in ``fails``, what it
``rules_out``, and in ``not_when`` when it is not worth doing.
"""

from inspections.document.index import GuideIndex, is_sensitive
from inspections.document.reading import fit_of_zones, read, stated_fit, zone_of
from inspections.document.records import (
    CHECK_KINDS,
    DIMENSIONS,
    STANDARD,
    Bolts,
    Bond,
    BuildStep,
    Check,
    CheckKind,
    Complaint,
    Defect,
    Feature,
    Guide,
    Leaves,
    Limit,
    MateLimits,
    Position,
    Remedy,
    Rule,
    Term,
    Variant,
)

__all__ = [
    "CHECK_KINDS",
    "DIMENSIONS",
    "STANDARD",
    "Bolts",
    "Bond",
    "BuildStep",
    "Check",
    "CheckKind",
    "Complaint",
    "Defect",
    "Feature",
    "Guide",
    "GuideIndex",
    "Leaves",
    "Limit",
    "MateLimits",
    "Position",
    "Remedy",
    "Rule",
    "Term",
    "Variant",
    "fit_of_zones",
    "is_sensitive",
    "read",
    "stated_fit",
    "zone_of",
]
