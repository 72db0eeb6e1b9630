"""From a checked document (parsed TOML, or the JSON of a revision) to records."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from inspections.document.records import (
    STANDARD,
    Bolts,
    Bond,
    BuildStep,
    Check,
    Complaint,
    Defect,
    Feature,
    Guide,
    Leaves,
    Limit,
    MateLimits,
    Position,
    Remedy,
    Term,
    Variant,
)
from inspections.document.sensitivity import shifts_of
from shop.handbook import fits
from shop.handbook.quantities import Refused

MM_PER_INCH = 25.4


def _strings(row: Mapping[str, Any], key: str) -> tuple[str, ...]:
    return tuple(str(one) for one in row.get(key, ()))


def _rows(document: Mapping[str, Any], key: str) -> Sequence[Mapping[str, Any]]:
    rows: Sequence[Mapping[str, Any]] = document.get(key, ())
    return rows


def mm(value: float, unit: str) -> float:
    """A number in the unit of its entry, in mm; 1 in = 25.4 mm exactly, rounded far below any gauge."""
    return round(float(value) * MM_PER_INCH, 7) if unit == "in" else float(value)


def _maybe_mm(row: Mapping[str, Any], key: str, unit: str) -> float | None:
    return mm(row[key], unit) if key in row else None


def _two_mm(row: Mapping[str, Any], key: str, unit: str) -> tuple[float, float] | None:
    return (mm(row[key][0], unit), mm(row[key][1], unit)) if key in row else None


def zone_of(text: str) -> tuple[float, float]:
    """Limits of one ISO zone with its basic size in mm, such as "25 H7"."""
    size, _, zone = text.strip().partition(" ")
    found = fits.limits(_basic(size, text), zone.strip())
    return round(found.lower_mm, 7), round(found.upper_mm, 7)


def fit_of_zones(text: str) -> tuple[float, float]:
    """The clearance of an ISO pair with its basic size in mm, such as "25 H7/g6"."""
    size, _, pair = text.strip().partition(" ")
    hole, _, shaft = pair.partition("/")
    found = fits.fit(_basic(size, text), hole.strip(), shaft.strip())
    return round(found.clearance_min_um / 1000, 7), round(found.clearance_max_um / 1000, 7)


def _basic(size: str, text: str) -> float:
    try:
        return float(size)
    except ValueError:
        raise Refused(f'"{text}" has no basic size. Write it like "25 H7/g6", in mm') from None


def stated_fit(text: str, unit: str = "") -> tuple[float, float]:
    """A fit as manuals print it, L loose and T tight, in inches unless the unit is mm."""
    # The handbook reads inches: a text in mm is brought there and back.
    found = fits.parse_loose_tight(text)
    ends = (found.min_mm, found.max_mm)
    return tuple(round(end / MM_PER_INCH if unit == "mm" else end, 7) for end in ends)  # type: ignore[return-value]


def _limit(row: Mapping[str, Any], unit: str) -> Limit:
    new = zone_of(row["zone"]) if "zone" in row else _two_mm(row, "new", unit)
    assert new is not None
    return Limit(
        str(row.get("size", STANDARD)),
        *new,
        _maybe_mm(row, "wear", unit),
        _two_mm(row, "mean", unit),
    )


def _feature(row: Mapping[str, Any]) -> Feature:
    plain = {key: row[key] for key in ("rule", "source", "dimension", "stated") if key in row}
    unit = row.get("unit", "mm")
    return Feature(
        row["code"],
        row["position"],
        row["name"],
        tuple(_limit(one, unit) for one in row.get("limit", ())),
        form_mm=_maybe_mm(row, "form", unit),
        taper_mm=_maybe_mm(row, "taper", unit),
        spread_mm=_maybe_mm(row, "spread", unit),
        **plain,
    )


def _mate(row: Mapping[str, Any], unit: str) -> dict[str, Any]:
    """The limits that a stack, a size of it, or a try states."""
    fit = row.get("fit")
    if isinstance(fit, str):
        stated: tuple[float, float] | None = stated_fit(fit, unit)
    elif "zones" in row:
        stated = fit_of_zones(row["zones"])
    else:
        stated = _two_mm(row, "fit", unit)
    wear = row.get("wear")
    worn = stated_fit(wear, unit)[1] if isinstance(wear, str) else _maybe_mm(row, "wear", unit)
    return {
        "min_mm": _maybe_mm(row, "min", unit),
        "max_mm": _maybe_mm(row, "max", unit),
        "wear_mm": worn,
        "fit": stated,
    }


_CHECK_KEYS = (
    *("how", "feature", "warm", "rule", "expected", "designation", "caution", "note", "source"),
    *("identifies", "dimension", "repeats", "taper", "chase", "zones", "rollers"),
)


def _check(row: Mapping[str, Any]) -> Check:
    plain = {key: row[key] for key in _CHECK_KEYS if key in row}
    unit = row.get("unit", "")
    return Check(
        row["code"],
        row["position"],
        row["kind"],
        row["title"],
        variants=_strings(row, "variants"),
        places=_strings(row, "places"),
        of=_strings(row, "of"),
        gauge_um=row.get("gauge_um"),
        terms=tuple(Term(one["feature"], int(one["factor"])) for one in row.get("terms", ())),
        sizes=tuple(MateLimits(one["size"], **_mate(one, unit)) for one in row.get("sizes", ())),
        gap_mm=_two_mm(row, "gap", unit),
        remedies=_strings(row, "remedies"),
        **_mate(row, unit),
        **plain,
    )


def _remedy(row: Mapping[str, Any]) -> Remedy:
    plain = {
        key: row[key]
        for key in (
            "skill",
            "consumables_minor",
            "outside_minor",
            "lead_days",
            "fails",
            "not_when",
            "caution",
            "note",
            "source",
        )
        if key in row
    }
    return Remedy(
        row["code"],
        row["name"],
        int(row["minutes"]),
        _strings(row, "restores"),
        leaves=tuple(
            Leaves(one["feature"], str(one.get("size", STANDARD)), float(one["to"][0]), float(one["to"][1]))
            for one in row.get("leaves", ())
        ),
        rules_out=_strings(row, "rules_out"),
        **plain,
    )


def _bolts(row: Mapping[str, Any] | None) -> Bolts | None:
    if row is None:
        return None
    plain = {key: value for key, value in row.items() if key != "at"}
    return Bolts(at=tuple((str(n), float(x), float(y)) for n, x, y in row.get("at", ())), **plain)


def _step(row: Mapping[str, Any]) -> BuildStep:
    keys = ("sealing", "float_check", "fit_check", "stamp", "caution", "note")
    plain = {key: row[key] for key in keys if key in row}
    return BuildStep(
        row["code"],
        row["title"],
        row["text"],
        positions=_strings(row, "positions"),
        after=_strings(row, "after"),
        variants=_strings(row, "variants"),
        bolts=_bolts(row.get("bolts")),
        washers=_strings(row, "washers"),
        record=_strings(row, "record"),
        **plain,
    )


def read(document: Mapping[str, Any]) -> Guide:
    """Turn a checked document (parsed TOML, or the JSON of a revision) into records.

    KeyError, TypeError or ValueError mean a document that the checker should have refused.
    """
    head = document["guide"]
    said = {key: head[key] for key in ("source",) if key in head}  # of every entry without its own
    guide = Guide(
        family=head["family"],
        family_name=head["name"],
        maker=head["maker"],
        note=head["note"],
        variants=tuple(Variant(one["code"], one["name"]) for one in _rows(document, "variant")),
        positions=tuple(
            Position(
                one["code"],
                int(one["number"]),
                one["name"],
                one.get("us_name", ""),
                int(one.get("quantity", 1)),
                _strings(one, "variants"),
                one.get("material", "steel"),
            )
            for one in _rows(document, "position")
        ),
        bonds=tuple(
            Bond(
                one["code"], one["name"], one["kind"], _strings(one, "positions"), one.get("penalty_minor", 0)
            )
            for one in _rows(document, "bond")
        ),
        features=tuple(_feature({**said, **one}) for one in _rows(document, "feature")),
        checks=tuple(_check({**said, **one}) for one in _rows(document, "check")),
        defects=tuple(
            Defect(
                one["code"],
                one["check"],
                one["name"],
                bool(one.get("condemns", False)),
                bool(one.get("harmless", False)),
                _strings(one, "remedies"),
                one.get("reject", ""),
                one.get("picture", ""),
            )
            for one in _rows(document, "defect")
        ),
        remedies=tuple(_remedy(one) for one in _rows(document, "remedy")),
        complaints=tuple(
            Complaint(one["code"], one["name"], _strings(one, "explained_by"))
            for one in _rows(document, "complaint")
        ),
        steps=tuple(_step(one) for one in _rows(document, "step")),
        cautions=_strings(head, "cautions"),
        oil=head["oil"],
        drawing=document.get("drawing", {}),
        build_minutes=int(head.get("build_minutes", 0)),
    )
    return _asking_for_warmth(guide)


def _asking_for_warmth(guide: Guide) -> Guide:
    """The part's temperature is asked for at every sensitive check, whether the guide says so or not."""
    features = {one.code: one for one in guide.features}
    materials = {one.code: one.material for one in guide.positions}
    sensitive = shifts_of(guide.checks, features, materials)
    checks = tuple(replace(one, warm=True) if one.code in sensitive else one for one in guide.checks)
    return replace(guide, checks=checks)
