"""What every handbook function returns beside its value: the working, so that a reader can check it.

A result is a frozen dataclass of its own topic that ends with ``working`` and ``cautions``.
"""

import re
from dataclasses import dataclass

COMMON_PRACTICE = "common practice, no source"
FROM_MEMORY = "from memory: check before relying on it"
INVENTED = "invented for the demonstration"
_MINUS = re.compile(r"(?<![\w/.)\-])-(?=[0-9])")


class Danger(str):
    """A caution about danger to people; every other caution is about the work or the figure."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Step:
    """One line of working: the formula as text, its inputs with their units, and where it comes from."""

    formula: str
    inputs: tuple[tuple[str, str], ...]
    source: str

    def __post_init__(self) -> None:
        """A number below 0 has the typographic minus, as everywhere that a person reads."""
        if any("-" in value for _, value in self.inputs):
            signed = tuple((name, _MINUS.sub("−", value)) for name, value in self.inputs)
            object.__setattr__(self, "inputs", signed)

    def as_dict(self) -> dict[str, object]:
        return {"formula": self.formula, "inputs": dict(self.inputs), "source": self.source}


class OutOfRange(ValueError):
    """A value outside the validity of a formula or table; names the argument and the allowed interval."""

    def __init__(self, argument: str, value: object, allowed: str) -> None:
        self.argument = argument
        self.value = value
        self.allowed = allowed
        super().__init__(f"{argument} is {value}; allowed: {allowed}")


def within(argument: str, value: float, low: float, high: float, unit: str) -> float:
    """Return ``value`` if ``low <= value <= high``, else raise :class:`OutOfRange` (nan and inf too)."""
    if not (low <= value <= high):
        raise OutOfRange(argument, value, f"{low:g} to {high:g} {unit}".strip())
    return value
