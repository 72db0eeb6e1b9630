"""The build order: stacks where they are named, every position fitted, and no circle."""

from collections.abc import Iterator, Mapping

from inspections.checking.book import Book
from inspections.guiding.shape import Problem


def order_problems(book: Book) -> Iterator[Problem]:
    yield from _steps(book)
    yield from _circles(book)


def _steps(book: Book) -> Iterator[Problem]:
    built = {code for one in book.guide.steps for code in (*one.positions, *one.washers)}
    for one in book.guide.steps:
        for key, code in (("float_check", one.float_check), ("fit_check", one.fit_check)):
            check = book.index.check.get(code)
            if check is not None and check.kind != "stack":
                yield book.say("step", one.code, key, f"Check {code} is not a stack.")
        if one.washers and not one.float_check:
            words = "Washers are chosen for a float: name its float_check."
            yield book.say("step", one.code, "washers", words)
        if one.bolts is not None and one.bolts.turns and one.bolts.torque_nm is not None:
            words = "A taper thread is turned past hand-tight and has no torque."
            yield book.say("step", one.code, "bolts", words)
    if book.guide.steps:
        for position in book.guide.positions:
            if position.code not in built:
                words = "No build step fits this position."
                yield book.say("position", position.code, "code", words, warning=True)


def _circles(book: Book) -> Iterator[Problem]:
    """Steps that wait for each other, found by taking away every step whose predecessors are done."""
    left = {one.code: {*one.after} & {row.code for row in book.guide.steps} for one in book.guide.steps}
    while ready := [code for code, after in left.items() if not after]:
        for code in ready:
            del left[code]
        for after in left.values():
            after.difference_update(ready)
    if left:
        circle = " → ".join(_walk(left))
        code = circle.split(" → ", maxsplit=1)[0]
        yield book.say("step", code, "after", f"The build order runs in a circle: {circle}.")


def _walk(left: Mapping[str, set[str]]) -> list[str]:
    """One circle among steps that each wait for another."""
    path = [min(left)]
    while (following := min(left[path[-1]])) not in path:
        path.append(following)
    return [*path[path.index(following) :], following]
