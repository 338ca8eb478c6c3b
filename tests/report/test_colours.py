"""Contrast of every colour pair of the style sheet, in light, dark and print."""

from __future__ import annotations

import importlib.resources
import re

import pytest

STYLE = (importlib.resources.files("probe.report") / "templates" / "style.css").read_text("utf-8")
_TEXT = ("ink", "soft", "link", "strong", "danger")
_LINES = ("hot", "cold", "single", "pair", "common", "danger", "ink")
_GROUNDS = ("paper", "sheet", "warm")


def _palettes() -> dict[str, dict[str, str]]:
    light, dark, paper = re.findall(r":root\{([^}]*)\}", STYLE)
    found = [
        dict(re.findall(r"--([\w-]+):(#[0-9a-f]{3,6})", block)) for block in (light, dark, paper)
    ]
    return {"light": found[0], "dark": found[1], "print": found[2]}


def _luminance(colour: str) -> float:
    digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    channels = [int(digits[i : i + 2], 16) / 255.0 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    a, b = sorted((_luminance(one), _luminance(other)))
    return (b + 0.05) / (a + 0.05)


def test_black_on_white() -> None:
    # WCAG 2.2: contrast ratios range from 1 to 21
    assert contrast("#000", "#fff") == pytest.approx(21.0)


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
@pytest.mark.parametrize("ground", _GROUNDS)
def test_contrast(scheme: str, ground: str) -> None:
    palette = _palettes()[scheme]
    # WCAG 2.2, 1.4.3: 4.5 to 1 for text; 1.4.11: 3 to 1 for graphical objects
    for name in _TEXT:
        assert contrast(palette[name], palette[ground]) >= 4.5, name
    for name in _LINES:
        assert contrast(palette[name], palette[ground]) >= 3.0, name


def test_print_is_black_and_white() -> None:
    # closed form: equal channels are grey
    for colour in _palettes()["print"].values():
        digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
        assert digits[:2] == digits[2:4] == digits[4:]
