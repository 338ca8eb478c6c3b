"""Lines of a figure from the curves of a facts document."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from probe.facts.named_curve import NamedCurve, named_curve
from probe.figures.plot import Trace
from probe.numbers import ratio_db

Side = Mapping[str, Any]


def magnitudes(side: Side, name: str, label: str, scale: float = 1.0) -> Trace | None:
    """Return the magnitude of a curve for a logarithmic axis, None where nothing is known."""
    curve = named_curve(side, name)
    if curve is None or not any(curve.magnitude):
        return None
    y = tuple(scale * m for m in curve.magnitude)
    ends = [curve.ends(i) for i in range(len(y))]
    # A band that reaches zero ends at a hundredth of the value: a logarithmic axis has no zero.
    low = tuple(
        None if e is None else max(scale * e[0], v / 100.0) for v, e in zip(y, ends, strict=True)
    )
    high = tuple(None if e is None else scale * e[1] for e in ends)
    limit = tuple((x, scale * one) for x, one in curve.limits)
    return Trace(label, curve.hz, y, low, high, limit, curve.bound)


def decibels(side: Side, name: str, label: str) -> Trace | None:
    """Return a curve that is in decibels already, or the magnitude of a complex one in them."""
    curve = named_curve(side, name)
    if curve is None:
        return None
    if not curve.complex_valued:
        return _plain(curve, label)
    kept = [i for i, m in enumerate(curve.magnitude) if m > 0.0]
    if not kept:
        return None
    value = [curve.magnitude[i] for i in kept]
    ends = [curve.ends(i) for i in kept]
    return Trace(
        label,
        tuple(curve.hz[i] for i in kept),
        tuple(map(ratio_db, value)),
        tuple(
            None if e is None else ratio_db(max(e[0], v / 100.0))
            for v, e in zip(value, ends, strict=True)
        ),
        tuple(None if e is None else ratio_db(e[1]) for e in ends),
        bound=tuple(curve.bound[i] for i in kept),
    )


def _plain(curve: NamedCurve, label: str) -> Trace:
    value = tuple(v.real for v in curve.value)
    ends = [curve.ends(i) for i in range(len(value))]
    return Trace(
        label,
        curve.hz,
        value,
        tuple(None if e is None else e[0] for e in ends),
        tuple(None if e is None else e[1] for e in ends),
        curve.limits,
        curve.bound,
    )


def phases(curve: NamedCurve | None, label: str) -> Trace | None:
    """Return the phase of a curve without jumps of a whole turn."""
    known = (
        []
        if curve is None
        else [(hz, p) for hz, p in zip(curve.hz, curve.phase_deg, strict=True) if p is not None]
    )
    if not known:
        return None
    turned = [known[0][1]]
    for _, degrees in known[1:]:
        turned.append(degrees - 360.0 * round((degrees - turned[-1]) / 360.0))
    return Trace(label, tuple(hz for hz, _ in known), tuple(turned))


def found(traces: Iterable[Trace | None]) -> tuple[Trace, ...]:
    """Return the lines that are there."""
    return tuple(t for t in traces if t is not None)
