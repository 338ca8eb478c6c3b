"""One curve of a facts document by its name, whatever else the document lacks."""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class NamedCurve:
    """A curve with the 95 % half-width of its magnitude or value; only points that are known.

    ``value`` is complex where the document gives real and imaginary parts, else real;
    ``limit`` is the least the bench could have seen, None where nothing is said; ``bound`` is
    ``above`` or ``below`` where only a bound is known, and then ``value`` is that bound.
    """

    name: str
    unit: str
    hz: tuple[float, ...]
    value: tuple[complex, ...]
    u95: tuple[float | None, ...]
    limit: tuple[float | None, ...]
    complex_valued: bool
    phase_deg: tuple[float | None, ...]
    """Degrees: of the complex values, or as stated beside real ones; None where not known."""
    bound: tuple[str | None, ...]
    limits: tuple[tuple[float, float], ...]
    """Every limit that is stated, with its place on the axis: also where no value is known."""
    axis: str = "hz"
    """What ``hz`` holds: frequencies, or ``volts`` where the curve goes against level."""

    @property
    def magnitude(self) -> tuple[float, ...]:
        """The values as they are where they are real, else their magnitudes."""
        return tuple(abs(v) if self.complex_valued else v.real for v in self.value)


def named_curve(side: Mapping[str, Any], name: str) -> NamedCurve | None:
    """Return one curve of a side of a facts document, or None where no point of it is known.

    A curve with frequencies of its own (``hz``) stands on those, any other on those of the side.
    """
    curves = side.get("curves")
    entry = curves.get(name) if isinstance(curves, Mapping) else None
    if not isinstance(curves, Mapping) or not isinstance(entry, Mapping):
        return None
    axis = next((a for a in ("hz", "volts") if entry.get(a) is not None), None)
    hz = _numbers(curves.get("hz") if axis is None else entry.get(axis))
    complex_valued = "real" in entry
    real = _numbers(entry.get("real" if complex_valued else "value"))
    imag = _numbers(entry.get("imag"))
    u95, limit = _numbers(entry.get("u95")), _numbers(entry.get("limit"))
    phase = _numbers(entry.get("phase_deg"))
    bounds = entry.get("bound")
    points = []
    for i, f in enumerate(hz):
        re, im = _at(real, i), _at(imag, i) if complex_valued else 0.0
        if f is None or f <= 0.0 or re is None or im is None:
            continue
        value = complex(re, im)
        turned = math.degrees(cmath.phase(value)) if complex_valued else _at(phase, i)
        points.append((f, value, _at(u95, i), _at(limit, i), turned, _bound(bounds, i)))
    if not points:
        return None
    points.sort(key=lambda p: p[0])
    unit = entry.get("unit")
    return NamedCurve(
        name=name,
        unit=unit if isinstance(unit, str) else "",
        hz=tuple(p[0] for p in points),
        value=tuple(p[1] for p in points),
        u95=tuple(p[2] for p in points),
        limit=tuple(p[3] for p in points),
        complex_valued=complex_valued,
        phase_deg=tuple(p[4] for p in points),
        bound=tuple(p[5] for p in points),
        limits=tuple(
            sorted(
                (f, one)
                for f, one in zip(hz, limit, strict=False)
                if f is not None and f > 0.0 and one is not None
            )
        ),
        axis=axis or "hz",
    )


def _numbers(found: object) -> list[float | None]:
    """Return a list of numbers; a single number stands for a list of one, the rest for nothing."""
    if isinstance(found, int | float):
        found = [found]
    if not isinstance(found, Sequence) or isinstance(found, str):
        return []
    return [
        float(x)
        if isinstance(x, int | float) and not isinstance(x, bool) and math.isfinite(x)
        else None
        for x in found
    ]


def _at(column: Sequence[float | None], i: int) -> float | None:
    return column[i] if i < len(column) else None


def _bound(found: object, i: int) -> str | None:
    """Return ``above`` or ``below``, None where the value is one."""
    one = found[i] if isinstance(found, list | tuple) and i < len(found) else None
    return one if one in ("above", "below") else None
