"""A facts document as typed values, for programs: what a side is, and every figure with its doubt.

The document itself (plain values, as in the file) stays the thing that is stored and passed on;
this only reads it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from probe.errors import BadInput
from probe.facts.named_curve import NamedCurve, named_curve
from probe.formats.text import nearest, quoted
from probe.numbers import interval, number, write


@dataclass(frozen=True)
class Fact:
    """One figure: value in ``unit``, 95 % interval, and what it rests on.

    ``bound`` says that only a bound is known: the true value lies above or below ``value``.
    ``low`` and ``high`` are None where no interval is stated.
    """

    name: str
    value: float
    unit: str
    low: float | None
    high: float | None
    bound: Literal["above", "below"] | None
    at_hz: float | None
    limit: float | None
    limited_by_bench: bool
    takes: tuple[str, ...]
    text: str
    """As it is written for people, with two digits of its doubt."""

    @property
    def u95(self) -> float | None:
        """Half the width of the 95 % interval."""
        return None if self.low is None or self.high is None else (self.high - self.low) / 2.0


@dataclass(frozen=True)
class SideResult:
    """One side of a device."""

    name: str
    kind: str
    confidence: float | None
    also_possible: Mapping[str, float | None]
    next_take: str | None
    path: str
    polarity: str
    faults: tuple[str, ...]
    possible_faults: tuple[str, ...]
    facts: Mapping[str, Fact]
    _body: Mapping[str, Any]

    def fact(self, name: str) -> Fact:
        """Return one figure.

        Raises
        ------
        BadInput
            These takes do not support it, or there is no such name.
        """
        if name in self.facts:
            return self.facts[name]
        close = nearest(name, self.facts)
        hint = f'did you mean "{close}"?' if close else f"there are {', '.join(self.facts)}"
        raise BadInput(f"{self.name}: no fact {quoted(name)}; {hint}")

    def curve(self, name: str) -> NamedCurve | None:
        """Return one curve, or None where no point of it is known."""
        return named_curve(self._body, name)


@dataclass(frozen=True)
class Results:
    """A whole document: the device, its sides, and the codes of what the analysis warned of."""

    maker: str
    model: str
    serial: str
    sides: Mapping[str, SideResult]
    warnings: tuple[str, ...]


def results(document: Mapping[str, Any]) -> Results:
    """Return a facts document (``probe-facts/1``) as typed values."""
    device = document["device"]
    return Results(
        maker=str(device.get("maker") or ""),
        model=str(device.get("model") or ""),
        serial=str(device.get("serial") or ""),
        sides={name: _side(name, body) for name, body in document["sides"].items()},
        warnings=tuple(str(w.get("code")) for w in document["warnings"]),
    )


def _side(name: str, body: Mapping[str, Any]) -> SideResult:
    stage = body["stage"]
    return SideResult(
        name=name,
        kind=str(stage.get("kind") or "undetermined"),
        confidence=number(stage, "confidence"),
        also_possible={
            str(other["kind"]): number(other, "confidence")
            for other in stage.get("also_possible") or ()
        },
        next_take=stage.get("next_take"),
        path=str(stage.get("path") or "undetermined"),
        polarity=str(stage.get("polarity") or "undetermined"),
        faults=tuple(stage.get("faults") or ()),
        possible_faults=tuple(stage.get("possible_faults") or ()),
        facts=dict(_facts(body["facts"])),
        _body=body,
    )


def _facts(entries: Mapping[str, Any]) -> list[tuple[str, Fact]]:
    found = []
    for name, entry in entries.items():
        value = number(entry) if isinstance(entry, Mapping) else None
        if value is None:
            continue
        low, high = interval(entry) or (None, None)
        found.append(
            (
                name,
                Fact(
                    name=name,
                    value=value,
                    unit=str(entry.get("unit") or ""),
                    low=low,
                    high=high,
                    bound=entry.get("bound"),
                    at_hz=number(entry, "at_hz"),
                    limit=number(entry, "limit"),
                    limited_by_bench=bool(entry.get("limited_by_bench")),
                    takes=tuple(entry.get("takes") or ()),
                    text=write(entry).whole,
                ),
            )
        )
    return found
