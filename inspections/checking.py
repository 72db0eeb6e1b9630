"""Check a guide's document before it is published. Pure: text in, document and problems out.

A problem that is *refused* keeps the guide from being published; a *warning* is shown and can be right.
"""

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from inspections.document import Check, Guide, GuideIndex, read
from inspections.shape import TABLES, Lines, Problem, Severity, shape_problems
from shop.handbook.materials import expansion
from shop.handbook.quantities import Refused

FIT_TOLERANCE_MM = 0.0006  # half a step of the last digit that a limit in mm is stated to
MOST_CHARACTERS = 2_000_000

_KIND_NEEDS = {"measure": "feature", "stack": "terms", "thread": "designation"}
_KIND_MAY = {
    "feature": {"measure"},
    "places": {"measure", "try"},
    "gauge_um": {"measure", "try"},
    "warm": {"measure", "try"},
    "of": {"try"},
    "dimension": {"try"},
    "terms": {"stack"},
    "min": {"stack", "try"},
    "max": {"stack", "try"},
    "wear": {"stack", "try"},
    "fit": {"stack"},
    "rule": {"stack", "try"},
    "expected": {"identify", "count"},
    "identifies": {"count"},
    "designation": {"thread"},
    "remedies": {"measure", "stack", "count", "thread", "try"},
}


def check_document(text: str) -> tuple[dict[str, Any], list[Problem]]:
    """Parse and check a guide. The document is empty if it could not be parsed."""
    if len(text) > MOST_CHARACTERS:
        return {}, [Problem("refused", 0, "guide", "The document is longer than 2 million characters.")]
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"line (\d+)", str(error))
        line = int(at.group(1)) if at else len(text.splitlines())
        return {}, [Problem("refused", line, "document", f"This is not TOML: {error}.")]
    lines = Lines(text)
    problems = [*shape_problems(document, lines)]
    if not problems:
        problems = [*_duplicates(document, lines)]
    if not problems:
        problems = [*_Checker(document, lines).problems()]
    return document, sorted(problems, key=lambda one: (one.severity, one.line))


def _duplicates(document: Mapping[str, Any], lines: Lines) -> Iterator[Problem]:
    for table in TABLES:
        keys = ("code", "number") if table == "position" else ("code",)
        for key in keys:
            first: dict[Any, int] = {}
            for place, row in enumerate(document.get(table, ())):
                line = lines.of(table, place)
                if row[key] in first:
                    words = f"{key} {row[key]} stands already on line {first[row[key]]}."
                    yield Problem("refused", line, f"{table} {row['code']}.{key}", words)
                first.setdefault(row[key], line)


class _Checker:
    """References, limits and orders of a document whose shape is right."""

    def __init__(self, document: Mapping[str, Any], lines: Lines) -> None:
        self.document = document
        self.guide: Guide = read(document)
        self.index = GuideIndex(self.guide)
        self.variants = [one.code for one in self.guide.variants]
        self._line = {
            (table, row["code"]): lines.of(table, place)
            for table in TABLES
            for place, row in enumerate(document.get(table, ()))
        }

    def problems(self) -> Iterator[Problem]:
        for part in (
            self._references,
            self._features,
            self._checks,
            self._stacks,
            self._fits,
            self._defects,
            self._remedies,
            self._steps,
            self._circles,
        ):
            found = [*part()]
            yield from found

    def _say(self, table: str, code: str, key: str, words: str, *, warning: bool = False) -> Problem:
        severity: Severity = "warning" if warning else "refused"
        return Problem(severity, self._line.get((table, code), 0), f"{table} {code}.{key}", words)

    def _rows(self, table: str) -> Iterable[Mapping[str, Any]]:
        rows: Iterable[Mapping[str, Any]] = self.document.get(table, ())
        return rows

    def _known(self, table: str) -> set[str]:
        return {row["code"] for row in self._rows(table)}

    def _references(self) -> Iterator[Problem]:
        """Every code that names another entry."""
        for table, key, target in (
            ("position", "variants", "variant"),
            ("bond", "positions", "position"),
            ("feature", "position", "position"),
            ("check", "position", "position"),
            ("check", "variants", "variant"),
            ("check", "feature", "feature"),
            ("check", "of", "position"),
            ("check", "remedies", "remedy"),
            ("defect", "check", "check"),
            ("defect", "remedies", "remedy"),
            ("remedy", "restores", "check"),
            ("remedy", "rules_out", "remedy"),
            ("complaint", "explained_by", "check"),
            ("step", "positions", "position"),
            ("step", "washers", "position"),
            ("step", "after", "step"),
            ("step", "variants", "variant"),
            ("step", "float_check", "check"),
            ("step", "fit_check", "check"),
        ):
            known = self._known(target)
            for row in self._rows(table):
                named = row.get(key, [])
                for code in [named] if isinstance(named, str) else named:
                    if code not in known:
                        yield self._say(table, row["code"], key, f"There is no {target} {code}.")
        for row in self._rows("check"):
            for code in {*row.get("expected", {})} - {"*", *self.variants}:
                yield self._say("check", row["code"], "expected", f"There is no variant {code}.")
        yield from self._inner_references()
        for one in self.guide.positions:
            try:
                expansion(one.material)
            except Refused as error:
                yield self._say("position", one.code, "material", str(error))

    def _inner_references(self) -> Iterator[Problem]:
        for table, key in (("check", "terms"), ("remedy", "leaves")):
            for row in self._rows(table):
                for inner in row.get(key, ()):
                    if inner["feature"] not in self.index.feature:
                        yield self._say(table, row["code"], key, f"There is no feature {inner['feature']}.")

    def _features(self) -> Iterator[Problem]:
        for one in self.guide.features:
            sizes = [limit.size for limit in one.limits]
            if not sizes:
                yield self._say("feature", one.code, "limit", "A feature needs limits for one size.")
            for size in {size for size in sizes if sizes.count(size) > 1}:
                yield self._say("feature", one.code, "limit", f"Size {size} stands twice.")
            if one.form_mm is not None and one.form_mm <= 0:
                yield self._say("feature", one.code, "form", "The form limit has to be above 0.")
            for limit in one.limits:
                words = _upside_down(limit.new_min_mm, limit.new_max_mm, limit.wear_mm)
                if words:
                    yield self._say("feature", one.code, "limit", f"{limit.size}: {words}")

    def _checks(self) -> Iterator[Problem]:
        for row in self._rows("check"):
            code, kind = row["code"], row["kind"]
            for key in row:
                if key in _KIND_MAY and kind not in _KIND_MAY[key]:
                    yield self._say("check", code, key, f"{key} says nothing at a check of kind {kind}.")
            need = _KIND_NEEDS.get(kind)
            if need and not row.get(need):
                yield self._say("check", code, need, f"A check of kind {kind} needs {need}.")
        for one in self.guide.checks:
            position = self.index.position.get(one.position)
            if position is None:
                continue
            here = [code for code in self.variants if one.exists_in(code) and position.exists_in(code)]
            if not here:
                yield self._say(
                    "check", one.code, "position", f"No variant has this check: see position {one.position}."
                )
            yield from self._check_by_kind(one, here)

    def _check_by_kind(self, one: Check, here: list[str]) -> Iterator[Problem]:
        feature = self.index.feature.get(one.feature)
        if feature is not None and feature.position != one.position:
            words = f"Feature {one.feature} is on {feature.position}, the check is on {one.position}."
            yield self._say("check", one.code, "feature", words)
        if one.kind in {"identify", "count"}:
            for variant in here:
                if not one.expects(variant):
                    yield self._say("check", one.code, "expected", f"What is expected of {variant}?")
        if one.kind == "count" and any(not text.isdigit() for text in (one.expected or {}).values()):
            yield self._say("check", one.code, "expected", "A count expects a whole number in quotes.")
        if one.gauge_um is not None and one.gauge_um <= 0:
            yield self._say("check", one.code, "gauge_um", "The gauge's uncertainty has to be above 0 µm.")
        if one.kind == "try":
            yield from self._try(one, here)
        seen = one.kind == "look" or (one.kind == "try" and not one.takes_quantity)
        if seen and one.code not in self.index.defects_of:
            words = "Nothing can be found wrong here: no defect names this check."
            yield self._say("check", one.code, "code", words, warning=True)
        for code in one.remedies:
            yield from self._restores("check", one.code, code, one.code)

    def _try(self, one: Check, here: list[str]) -> Iterator[Problem]:
        if one.position in one.of:
            yield self._say("check", one.code, "of", f"{one.position} is the piece itself: name the others.")
        for code in dict.fromkeys(one.of):
            other = self.index.position.get(code)
            if other is not None and here and not any(other.exists_in(variant) for variant in here):
                words = f"No variant that has this check has {code}: there is nothing to try it with."
                yield self._say("check", one.code, "of", words)
            if one.of.count(code) > 1:
                yield self._say("check", one.code, "of", f"{code} stands twice.")
        if not one.takes_quantity:
            for key, value in (("places", one.places), ("gauge_um", one.gauge_um), ("warm", one.warm)):
                if value:
                    words = f"{key} needs a quantity to read: give min, max or wear."
                    yield self._say("check", one.code, key, words)
        elif one.min_mm is None and one.max_mm is None:
            words = "A wear limit stands beyond the limit of new parts: give min or max as well."
            yield self._say("check", one.code, "wear", words)
        elif one.min_mm is not None and one.max_mm is not None:
            if words := _upside_down(one.min_mm, one.max_mm, one.wear_mm):
                yield self._say("check", one.code, "min", words)
        elif one.wear_mm is not None and one.wear_mm in {one.lower_mm, one.upper_mm} - {
            one.min_mm,
            one.max_mm,
        }:
            pass
        elif one.wear_mm is not None:
            words = "The wear limit lies inside the limit of new parts: it says nothing."
            yield self._say("check", one.code, "wear", words)

    def _restores(self, table: str, code: str, remedy: str, check: str) -> Iterator[Problem]:
        known = self.index.remedy.get(remedy)
        if known is not None and known.restores and check not in known.restores:
            yield self._say(table, code, "remedies", f"Remedy {remedy} does not restore check {check}.")

    def _stacks(self) -> Iterator[Problem]:
        for one in self.guide.checks:
            if one.kind != "stack":
                continue
            if any(term.factor == 0 for term in one.terms):
                yield self._say("check", one.code, "terms", "A factor of 0 takes nothing part.")
            if one.lower_mm is None and one.upper_mm is None:
                yield self._say("check", one.code, "min", "A stack needs min, max or fit.")
            for low, high, key in ((one.min_mm, one.max_mm, "min"), (*(one.fit or (None, None)), "fit")):
                if low is not None and high is not None:
                    words = _upside_down(low, high, one.wear_mm)
                    if words:
                        yield self._say("check", one.code, key, words)
            for variant in self.variants:
                if one.position in self.index.position and one in self._checks_of(variant):
                    yield from self._unread_terms(one, variant)

    def _checks_of(self, variant: str) -> tuple[Check, ...]:
        """Checks of a variant; those with an unknown position are reported elsewhere."""
        return tuple(
            one
            for one in self.guide.checks
            if one.position in self.index.position
            and one.exists_in(variant)
            and self.index.position[one.position].exists_in(variant)
        )

    def _unread_terms(self, one: Check, variant: str) -> Iterator[Problem]:
        measured = {row.feature for row in self._checks_of(variant) if row.kind == "measure"}
        for term in one.terms:
            if term.feature in self.index.feature and term.feature not in measured:
                words = f"No reading can give {term.feature} on variant {variant}: no check measures it."
                yield self._say("check", one.code, "terms", words)

    def _fits(self) -> Iterator[Problem]:
        """The fit of new parts has to follow from their new sizes; else one of the figures is a misprint."""
        for one in self.guide.checks:
            if (
                one.fit is None
                or one.fit[0] > one.fit[1]
                or any(term.feature not in self.index.feature for term in one.terms)
            ):
                continue
            ends = [(0.0, 0.0)]
            for term in one.terms:
                limits = self.index.feature[term.feature].limits
                if not limits:
                    break
                both = sorted(term.factor * size for size in (limits[0].new_min_mm, limits[0].new_max_mm))
                ends.append((both[0], both[1]))
            tight, loose = (sum(end[side] for end in ends) for side in (0, 1))
            if max(abs(tight - one.fit[0]), abs(loose - one.fit[1])) > FIT_TOLERANCE_MM:
                words = (
                    f"The fit of new parts is stated as {one.fit[0]:.4f} to {one.fit[1]:.4f} mm; "
                    f"their sizes give {tight:.4f} to {loose:.4f} mm. One of them is a misprint."
                )
                yield self._say("check", one.code, "fit", words, warning=True)

    def _defects(self) -> Iterator[Problem]:
        for one in self.guide.defects:
            check = self.index.check.get(one.check)
            if check is not None and check.kind not in {"look", "thread", "try"}:
                words = f"Check {one.check} is of kind {check.kind}; defects belong to look, thread and try."
                yield self._say("defect", one.code, "check", words)
            elif check is not None and check.kind == "try" and check.takes_quantity:
                words = f"Check {one.check} is read as a quantity: its limits say what is wrong."
                yield self._say("defect", one.code, "check", words)
            if one.condemns and (one.harmless or one.remedies):
                words = "A defect that condemns is not harmless and has no remedy."
                yield self._say("defect", one.code, "condemns", words)
            if not (one.condemns or one.harmless or one.remedies):
                yield self._say("defect", one.code, "remedies", "Say condemns, harmless, or name a remedy.")
            for code in one.remedies:
                yield from self._restores("defect", one.code, code, one.check)

    def _remedies(self) -> Iterator[Problem]:
        used = {code for check in self.guide.checks for code in check.remedies}
        used |= {code for defect in self.guide.defects for code in defect.remedies}
        for one in self.guide.remedies:
            if not one.restores:
                yield self._say("remedy", one.code, "restores", "A remedy has to restore a check.")
            if not 0 <= one.fails < 1:
                words = "The chance of failing is from 0 up to, not including, 1."
                yield self._say("remedy", one.code, "fails", words)
            if one.code not in used:
                words = "No check or defect names this remedy."
                yield self._say("remedy", one.code, "code", words, warning=True)
            for left in one.leaves:
                feature = self.index.feature.get(left.feature)
                limit = feature.limit(left.size) if feature else None
                if left.min_mm > left.max_mm:
                    yield self._say("remedy", one.code, "leaves", f"{left.feature}: limits are upside down.")
                elif feature and limit is None:
                    words = f"Feature {left.feature} has no size {left.size}."
                    yield self._say("remedy", one.code, "leaves", words)
                elif limit and not (limit.lower_mm <= left.min_mm and left.max_mm <= limit.upper_mm):
                    words = f"{left.feature}: what it leaves is not inside the limits of {left.size}."
                    yield self._say("remedy", one.code, "leaves", words)

    def _steps(self) -> Iterator[Problem]:
        built = {code for one in self.guide.steps for code in (*one.positions, *one.washers)}
        for one in self.guide.steps:
            for key, code in (("float_check", one.float_check), ("fit_check", one.fit_check)):
                check = self.index.check.get(code)
                if check is not None and check.kind != "stack":
                    yield self._say("step", one.code, key, f"Check {code} is not a stack.")
            if one.washers and not one.float_check:
                words = "Washers are chosen for a float: name its float_check."
                yield self._say("step", one.code, "washers", words)
            if one.bolts is not None and one.bolts.turns and one.bolts.torque_nm is not None:
                words = "A taper thread is turned past hand-tight and has no torque."
                yield self._say("step", one.code, "bolts", words)
        if self.guide.steps:
            for position in self.guide.positions:
                if position.code not in built:
                    words = "No build step fits this position."
                    yield self._say("position", position.code, "code", words, warning=True)

    def _circles(self) -> Iterator[Problem]:
        """Steps that wait for each other, found by taking away every step whose predecessors are done."""
        left = {one.code: {*one.after} & {row.code for row in self.guide.steps} for one in self.guide.steps}
        while ready := [code for code, after in left.items() if not after]:
            for code in ready:
                del left[code]
            for after in left.values():
                after.difference_update(ready)
        if left:
            circle = " → ".join(_walk(left))
            code = circle.split(" → ", maxsplit=1)[0]
            yield self._say("step", code, "after", f"The build order runs in a circle: {circle}.")


def _walk(left: Mapping[str, set[str]]) -> list[str]:
    """One circle among steps that each wait for another."""
    path = [min(left)]
    while (following := min(left[path[-1]])) not in path:
        path.append(following)
    return [*path[path.index(following) :], following]


def _upside_down(low: float, high: float, wear: float | None) -> str:
    if low > high:
        return f"The limits are upside down: {low:g} is above {high:g}."
    if wear is not None and low < wear < high:
        return f"The wear limit {wear:g} lies inside the new limits {low:g} to {high:g}."
    return ""
