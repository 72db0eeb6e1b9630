"""A small reader of the style sheets: enough to hold the tokens to their promises."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
STATIC = ROOT / "shop" / "static" / "shop"
CSS = STATIC / "css"
COLOUR = re.compile(r"#[0-9a-fA-F]{3,8}\b|\b(?:rgb|hsl|hwb|lab|lch|oklch|color)\(")


def without_comments(text: str) -> str:
    return re.sub(r"/\*.*?\*/", "", text, flags=re.S)


def blocks(text: str) -> dict[str, dict[str, str]]:
    """Custom properties by selector; a selector inside a media query carries the query before it."""
    found: dict[str, dict[str, str]] = {}
    query = ""
    for line in without_comments(text).splitlines():
        if line.startswith("@media"):
            query = line.removesuffix("{").strip() + " "
        elif line.strip().startswith(":root"):
            inside = query if line.startswith(" ") else ""
            current = found.setdefault(inside + line.strip().removesuffix("{").strip(), {})
        elif match := re.match(r"\s*(--[\w-]+):\s*(.+?);", line):
            current[match[1]] = match[2]
    return found


def luminance(colour: str) -> float:
    """Relative luminance of ``#rrggbb``, 0 to 1. WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio, 1 to 21. WCAG 2.2, definition of contrast ratio."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
