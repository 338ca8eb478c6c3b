"""What the page lists with the choice of a box: resistors, a transformer, parts of the shelf."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from probe.numbers import number
from probe.report.before import hangs_on_volume
from probe.report.bounded import figure
from probe.report.document import listing
from probe.report.step import in_words
from probe.report.text import LIST_LIMIT, clean, printed
from probe.report.used import is_digital, needs_pad


def parts_of(advice: Mapping[str, Any], option: Mapping[str, Any] | None) -> tuple[str, ...]:
    """Return what belongs into the lead of a box, or would help it; ``option``: what is used."""
    if option is None:
        return ()
    return tuple(filter(None, (_pad(advice, option), _transformer(option))))


def _pad(advice: Mapping[str, Any], option: Mapping[str, Any]) -> str:
    """Return the resistors in the plug; nothing where a look decides, which names them."""
    pad = option.get("attenuator")
    fitted = needs_pad(option)
    if not isinstance(pad, Mapping) or not pad.get("says"):
        return ""
    if fitted and hangs_on_volume(advice, option.get("destination")):
        return ""
    if is_digital(option):  # which names its decibels itself
        return f"It needs an attenuator: {printed(pad['says'])}"
    off = pad.get("attenuation")
    taken = f"{figure(off)} " if isinstance(off, Mapping) and number(off) is not None else ""
    why = printed(pad.get("why"))
    return (
        f"{_must(option, fitted=fitted)}{taken}in the plug at the "
        f"destination: {printed(pad['says'])}{_ends(pad)}{f'; {why}' if why else ''}"
    )


def _must(option: Mapping[str, Any], *, fitted: bool) -> str:
    if fitted:
        return "It needs "
    if any(isinstance(h, Mapping) and h.get("turn_down_db") for h in listing(option, "hazards")):
        return "Or, so that it cannot be turned up too far: "
    return "An attenuator would help: "


def _ends(pad: Mapping[str, Any]) -> str:
    """Return between what its resistors keep it, of the first design, where that is known."""
    first = next((d for d in listing(pad, "designs") if isinstance(d, Mapping)), {})
    ends = [number(first, k) for k in ("least_db", "most_db")]
    if not first.get("series") or "low" in (pad.get("attenuation") or {}) or None in ends:
        return ""
    told = dict.fromkeys(f"{end:.1f}" for end in ends)
    return f" ({clean(first['series'], 20)}: {' to '.join(told)} dB)"


def _transformer(option: Mapping[str, Any]) -> str:
    part = option.get("transformer")
    asked = printed(part.get("to_ask_for")) if isinstance(part, Mapping) else ""
    return f"The transformer: {asked}" if asked else ""


def shelf_of(advice: Mapping[str, Any], box: str) -> tuple[str, ...]:
    """Return what is taken from the shelf for ``box``, as the screen lists it."""
    held = (b for b in listing(advice, "shelf") if isinstance(b, Mapping))
    return tuple(line for b in held if b.get("destination") == box for line in _lines(b))


def shelf_of_all(advice: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what boxes share of the shelf, and what all of it comes to."""
    shared = tuple(
        f"Sharing the {clean(b['shares'], 20).upper()} output: {'; '.join(_lines(b))}"
        for b in listing(advice, "shelf")
        if isinstance(b, Mapping) and b.get("shares")
    )
    # what has to be ordered stands with each box already
    return (*shared, *(f"All in all: {_line(t)}" for t in listing(advice, "shelf_total")[:1]))


def _lines(basket: Mapping[str, Any]) -> Sequence[str]:
    other = basket.get("instead")
    more = [other.get("says")] if isinstance(other, Mapping) else []
    return [_line(told) for told in (*listing(basket, "says"), *more) if told]


def _line(told: object) -> str:
    return in_words(printed(told, LIST_LIMIT))
