"""A box as it is with the other boxes plugged in, as the sheets hand them out together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from probe.numbers import number, without_figures
from probe.report.bounded import figure
from probe.report.document import listing
from probe.report.text import printed
from probe.report.used import BEHIND_PAD, NESTED, WORSE_HIGH, WORSE_LOW, as_used, needs_pad

FIGURES = tuple(dict.fromkeys((*BEHIND_PAD, *WORSE_HIGH, *WORSE_LOW, *NESTED)))
"""What the leads of the other boxes may change."""

HISS, HISS_ALONE = "noise_below_full_output_db", "noise_alone_db"
"""The second where only the first is known: with the leads of the other boxes unplugged."""

FELT_DB = 0.5
"""Level taken by the other leads that is worth a word. [judgement] What counts as reached in the
advice."""

WITH_ALL = "These figures hold with all the boxes plugged in at once, as the sheets have them."

MOST_WORDS = 420
"""Characters of what is to be minded."""


def in_company(
    advice: Mapping[str, Any], sides: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """Return a box's chosen connection, as used, with the figures it has beside the others."""
    return [_with_company(as_used(s, with_pad=needs_pad(s)), _company(advice, s)) for s in sides]


def has_company(advice: Mapping[str, Any], side: Mapping[str, Any]) -> bool:
    """Tell whether a connection was solved together with those of other boxes."""
    return _company(advice, side) is not None


def _company(advice: Mapping[str, Any], side: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """Return the same connection with the other boxes plugged in."""
    best = next((s for s in listing(advice, "sets") if isinstance(s, Mapping)), {})
    key = ("side", "destination", "input", "id")
    found = [o for o in listing(best, "options") if isinstance(o, Mapping)]
    return next((o for o in found if all(o.get(k) == side.get(k) for k in key)), None)


def _with_company(alone: dict[str, Any], found: Mapping[str, Any] | None) -> dict[str, Any]:
    if found is None:
        return alone
    kept = {k: v for k, v in alone.items() if k not in FIGURES}
    if HISS in alone and HISS not in found:
        kept[HISS_ALONE] = alone[HISS]
    return {**kept, **{k: found[k] for k in FIGURES if k in found}}


def to_mind(advice: Mapping[str, Any], sides: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """Return what the other boxes do to the connection of one box, each of it once.

    ``sides``: its chosen connection, left and right. Where it is not settled that it works beside
    the others that stands first, then what is to be minded, then the level they take.
    """
    told: dict[str, str] = {}
    for side in sides:
        found = _company(advice, side)
        if found is None:
            continue
        alone = as_used(side, with_pad=needs_pad(side))
        for text in (*_unsettled(found), *_hazards(alone, found), *_quieter(alone, found)):
            told.setdefault(without_figures(text), text)
    return tuple(told.values())


def _unsettled(found: Mapping[str, Any]) -> list[str]:
    if found.get("verdict") != "cannot-tell":
        return []
    why = printed((listing(found, "reasons") or [""])[0], MOST_WORDS)
    return [f"With all plugged in at once it is not settled whether this one still works: {why}."]


def _hazards(alone: Mapping[str, Any], found: Mapping[str, Any]) -> list[str]:
    known = {h.get("code") for h in listing(alone, "hazards") if isinstance(h, Mapping)}
    return [
        f"With all plugged in at once: {printed(h.get('message'), MOST_WORDS)}"
        f"{_without_them(alone) if h.get('code') == 'hum' else ''}."
        for h in listing(found, "hazards")
        if isinstance(h, Mapping) and h.get("code") not in known
        and found.get("verdict") == "works"
    ]  # fmt: skip


def _without_them(alone: Mapping[str, Any]) -> str:
    """Return the hum with the others unplugged: what is less then comes by their leads."""
    hum = alone.get("hum_below_full_output_db")
    if not isinstance(hum, Mapping) or number(hum) is None:
        return ""
    return f" (with the leads of the others unplugged {figure(hum)})"


def _quieter(alone: Mapping[str, Any], found: Mapping[str, Any]) -> list[str]:
    levels = [number(o.get("level_vs_rca_db") or {}) for o in (alone, found)]
    if levels[0] is None or levels[1] is None or levels[0] - levels[1] < FELT_DB:
        return []
    fall = levels[0] - levels[1]
    return [f"The leads of the other boxes make it {fall:.1f} dB quieter than it is alone."]
