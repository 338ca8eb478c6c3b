"""An option of the advice as it is used: behind its attenuator, where that is fitted."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from probe.numbers import interval, number, without_figures, worst_told
from probe.report.document import listing

BEHIND_PAD = (
    "level",
    "level_vs_rca_db",
    "loudness_vs_rca_db",
    "full_output_margin_db",
    "hum_below_full_output_db",
    "buzz_below_full_output_db",
    "noise_below_full_output_db",
    "headroom_db",
    "hazards",
)
"""Figures that an attenuator changes; those of the bare option are not shown beside it."""


NESTED = {"connection_loss_db": ("at_20_hz", "at_20_khz"), "loss_db": ("at_20_hz", "at_20_khz"),
          "bandwidth_hz": ("low", "high")}  # fmt: skip
"""Figures within a table; of a loss the one further from none, of a band the narrower end."""


JUDGED = ("verdict", "because", "reasons")
"""What is said of an option; of the chosen one, its choice."""


def needs_pad(option: Mapping[str, Any]) -> bool:
    """Tell whether the attenuator is in the plug, rather than an offer."""
    pad = option.get("attenuator")
    return isinstance(pad, Mapping) and pad.get("fitted") is True


def is_digital(option: Mapping[str, Any]) -> bool:
    """Tell whether a way is a digital link."""
    return str(option.get("id")).startswith("digital")


def pad_named(option: Mapping[str, Any]) -> str:
    """Return what the attenuator of an option is called; one without a shunt is resistors alone."""
    pad = option.get("attenuator")
    designs = listing(pad, "designs") if isinstance(pad, Mapping) else []
    first = designs[0] if designs and isinstance(designs[0], Mapping) else {}
    if "series_ohm" not in first or "shunt_ohm" in first:
        return "an attenuator"
    return "two series resistors" if first.get("in_each_leg") else "a series resistor"


def eased(option: Mapping[str, Any]) -> bool:
    """Tell whether a way that is not to be used as it is works with resistors in its plug."""
    pad = option.get("attenuator")
    if not isinstance(pad, Mapping) or pad.get("fitted") or option.get("verdict") in WORKING:
        return False
    return pad.get("verdict") in WORKING


WORKING = ("use", "works")
"""Verdicts of what can be used."""


def as_used(option: Mapping[str, Any], *, with_pad: bool) -> dict[str, Any]:
    """Return the option with the figures it has behind its attenuator, where it needs one."""
    if not with_pad:
        return dict(option)
    pad = option["attenuator"]
    figures = (*BEHIND_PAD, *NESTED)
    kept = {k: v for k, v in option.items() if k not in figures}
    behind = figures if option.get("verdict") == "use" else (*figures, *JUDGED)
    return {**kept, **{k: pad[k] for k in behind if k in pad}}


WORSE_HIGH = ("tie_current", "hum", "noise", "ground_current")
"""Figures of which the larger one is the worse; of the others here the smaller."""

WORSE_LOW = (*(k for k in BEHIND_PAD if k != "hazards"), "clips_at")


def worse_side(sides: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return one connection of several sides: of each figure the worse one, hazards of all."""
    found = dict(sides[0])
    for name in (*WORSE_HIGH, *WORSE_LOW):
        _keep(found, name, [s.get(name) for s in sides], _badness("", name))
    for table, names in NESTED.items():
        inner = dict(found.get(table) or {})
        for name in names:
            held = [(s.get(table) or {}).get(name) for s in sides]
            _keep(inner, name, held, _badness(table, name))
        found[table] = inner
    return {**found, "hazards": _hazards(sides)}


def _hazards(sides: Sequence[Mapping[str, Any]]) -> list[object]:
    """Return the hazards of all sides; of some that differ in figures alone the worse one."""
    alike: dict[str, dict[str, object]] = {}
    for h in (h for s in sides for h in listing(s, "hazards")):
        message = str(h.get("message") if isinstance(h, Mapping) else h)
        code = h.get("code") if isinstance(h, Mapping) else ""
        alike.setdefault(f"{code} {without_figures(message)}", {}).setdefault(message, h)
    return [told[worst_told(told)] for told in alike.values()]


def _badness(table: str, name: str) -> Callable[[float], float]:
    """Return what is smallest for the worst figure."""
    if table in ("loss_db", "connection_loss_db"):
        return lambda v: -abs(v)
    higher = name in WORSE_HIGH or (table == "bandwidth_hz" and name == "low")
    return (lambda v: -v) if higher else (lambda v: v)


def _keep(
    into: dict[str, Any], name: str, held: Sequence[object], badness: Callable[[float], float]
) -> None:
    """Put the worst of what is known into ``into``; nothing where one side lacks it."""
    entries = [e if isinstance(e, Mapping) else None for e in held]
    known = [
        (min(badness(end) for end in interval(e) or (v, v)), e)
        for e in entries
        if e is not None and (v := number(e)) is not None
    ]
    if not known:
        return
    if len(known) < len(held):
        into.pop(name, None)
        return
    into[name] = min(known, key=lambda pair: pair[0])[1]
