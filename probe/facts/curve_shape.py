"""What must hold of the curves of a side before anything is drawn or taken from them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeGuard

from probe.formats.text import quoted

LARGEST_NUMBER = 1e30
"""In any unit of the format; far beyond it, squares and ratios no longer fit a float."""

COLUMNS = (
    "hz", "volts", "real", "imag", "value", "u95", "real_u95", "imag_u95", "low", "high", "limit",
    "phase_deg",
)  # fmt: skip
NOT_BELOW_ZERO = dict.fromkeys(
    ("u95", "real_u95", "imag_u95"), "half the width of an interval is not below 0"
)
ABOVE_ZERO = {"hz": "a frequency is above 0", "volts": "a level is above 0"}


def curves_complaint(curves: Mapping[str, Any], where: str) -> str | None:
    """Return what is wrong with the curves of a side, None where nothing is.

    The draws behind them are checked where they are unpacked.
    """
    if curves.get("hz") is not None and (wrong := _column(curves, "hz", where)):
        return wrong
    for name, curve in curves.items():
        if name in ("hz", "draws") or curve is None:
            continue
        here = f"{where}.{quoted(name, 40)[1:-1]}"
        if not isinstance(curve, Mapping):
            return f"{here} is not an object"
        for column in COLUMNS:
            if curve.get(column) is not None and (wrong := _column(curve, column, here)):
                return wrong
        for part, other in (("real", "imag"), ("imag", "real")):
            if curve.get(part) is not None and curve.get(other) is None:
                return f"{here}.{other} is missing, beside {part}"
        if wrong := _lengths(curve, curves, here):
            return wrong
    return None


def _column(curve: Mapping[str, Any], column: str, where: str) -> str | None:
    """Return what is wrong with one column; a single number stands for a list of one."""
    found = curve[column]
    for position, one in enumerate(found if isinstance(found, list) else [found]):
        here = f"{where}.{column}[{position}]"
        if one is None and isinstance(found, list):
            continue
        if not is_number(one):
            return f"{here} is not a number"
        if column in NOT_BELOW_ZERO and one < 0.0:
            return f"{here} is {one:g}, and {NOT_BELOW_ZERO[column]}"
        if column in ABOVE_ZERO and one <= 0.0:
            return f"{here} is {one:g}, and {ABOVE_ZERO[column]}"
    return None


def _lengths(curve: Mapping[str, Any], curves: Mapping[str, Any], where: str) -> str | None:
    """Return a column that has not as many numbers as its axis has places.

    Where the axis has none, no point of the curve is known, whatever else is there.
    """
    axis = next((curve[a] for a in ("hz", "volts") if curve.get(a) is not None), curves.get("hz"))
    places = len(axis) if isinstance(axis, list) else 1
    for column in COLUMNS:
        found = curve.get(column)
        if found is None:
            continue
        count = len(found) if isinstance(found, list) else 1
        if places and count != places:
            return f"{where}.{column} has {count} of the {places} numbers its axis has"
    return None


def is_number(value: object) -> TypeGuard[float]:
    """Return whether this is a number, no truth value, and not beyond reason."""
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and abs(value) <= LARGEST_NUMBER
    )
