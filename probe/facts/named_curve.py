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

    ``value`` is complex where the document gives real and imaginary parts, else real; ``limit`` is
    the least the bench could have seen, None where nothing is said; ``bound`` is ``above`` or
    ``below`` where only a bound is known, and then ``value`` is that bound (of a complex curve,
    that of its magnitude).
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
    low: tuple[float | None, ...] = ()
    high: tuple[float | None, ...] = ()
    """Ends of a lopsided interval of the magnitude, None where ``u95`` says it all."""
    real_u95: tuple[float | None, ...] = ()
    imag_u95: tuple[float | None, ...] = ()
    """95 % half-widths of the real and the imaginary part, None where not stated."""
    axis: str = "hz"
    """What ``hz`` holds: frequencies, or ``volts`` where the curve goes against level."""

    def ends(self, i: int) -> tuple[float, float] | None:
        """Return the ends of the interval of a point, None where none is stated."""
        half, value = self.u95[i], self.magnitude[i]
        if half is None:
            return None
        low, high = (c[i] if i < len(c) else None for c in (self.low, self.high))
        return value - half if low is None else low, value + half if high is None else high

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
    columns = {name: _numbers(entry.get(name)) for name in _COLUMNS}
    limit, bounds = columns["limit"], entry.get("bound")
    places: list[tuple[float, int, complex]] = []
    for i, f in enumerate(hz):
        value = _value(columns, i, complex_valued, _bound(bounds, i))
        if f is not None and f > 0.0 and value is not None:
            places.append((f, i, value))
    if not places:
        return None
    places.sort(key=lambda p: p[0])

    def of(name: str) -> tuple[float | None, ...]:
        return tuple(_at(columns[name], i) for _, i, _ in places)

    unit = entry.get("unit")
    bound = tuple(_bound(bounds, i) for _, i, _ in places)
    turned = tuple(
        None if one is not None else math.degrees(cmath.phase(value))
        for one, (_, _, value) in zip(bound, places, strict=True)
    )
    return NamedCurve(
        name=name,
        unit=unit if isinstance(unit, str) else "",
        hz=tuple(f for f, _, _ in places),
        value=tuple(value for _, _, value in places),
        u95=of("u95"),
        limit=of("limit"),
        complex_valued=complex_valued,
        phase_deg=turned if complex_valued else of("phase_deg"),
        bound=bound,
        low=of("low"),
        high=of("high"),
        real_u95=of("real_u95"),
        imag_u95=of("imag_u95"),
        limits=tuple(
            sorted(
                (f, one)
                for f, one in zip(hz, limit, strict=False)
                if f is not None and f > 0.0 and one is not None
            )
        ),
        axis=axis or "hz",
    )


_COLUMNS = (
    "real", "imag", "value", "u95", "low", "high", "real_u95", "imag_u95", "limit", "phase_deg",
)  # fmt: skip


def _value(
    columns: Mapping[str, list[float | None]], i: int, complex_valued: bool, bound: str | None
) -> complex | None:
    """Return the value of a point; of a complex one that is only a bound, the bound."""
    real, imag, value = (_at(columns[n], i) for n in ("real", "imag", "value"))
    if complex_valued and real is None and bound is not None:
        return None if value is None else complex(value)
    if not complex_valued:
        return None if value is None else complex(value)
    return None if real is None or imag is None else complex(real, imag)


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
