"""From a checked document (parsed TOML, or the JSON of a revision) to records."""

from collections.abc import Mapping, Sequence
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
    Position,
    Remedy,
    Term,
    Variant,
)


def _strings(row: Mapping[str, Any], key: str) -> tuple[str, ...]:
    return tuple(str(one) for one in row.get(key, ()))


def _rows(document: Mapping[str, Any], key: str) -> Sequence[Mapping[str, Any]]:
    rows: Sequence[Mapping[str, Any]] = document.get(key, ())
    return rows


def _limit(row: Mapping[str, Any]) -> Limit:
    low, high = row["new"]
    return Limit(str(row.get("size", STANDARD)), float(low), float(high), row.get("wear"))


def _feature(row: Mapping[str, Any]) -> Feature:
    plain = {key: row[key] for key in ("rule", "source", "dimension") if key in row}
    return Feature(
        row["code"],
        row["position"],
        row["name"],
        tuple(_limit(one) for one in row.get("limit", ())),
        form_mm=row.get("form"),
        **plain,
    )


def _check(row: Mapping[str, Any]) -> Check:
    plain = {
        key: row[key]
        for key in (
            "how",
            "feature",
            "warm",
            "rule",
            "expected",
            "designation",
            "caution",
            "note",
            "source",
            "identifies",
            "dimension",
        )
        if key in row
    }
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
        min_mm=row.get("min"),
        max_mm=row.get("max"),
        wear_mm=row.get("wear"),
        fit=(float(row["fit"][0]), float(row["fit"][1])) if "fit" in row else None,
        remedies=_strings(row, "remedies"),
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
    return Guide(
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
        features=tuple(_feature(one) for one in _rows(document, "feature")),
        checks=tuple(_check(one) for one in _rows(document, "check")),
        defects=tuple(
            Defect(
                one["code"],
                one["check"],
                one["name"],
                bool(one.get("condemns", False)),
                bool(one.get("harmless", False)),
                _strings(one, "remedies"),
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
