"""What is said of the ways that are not used, and where none is, in the customer's words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from probe.numbers import interval
from probe.report import words
from probe.report.document import listing
from probe.report.gains import LOUD_HUM_DB
from probe.report.text import clean, printed
from probe.report.used import as_used, needs_pad

MOST_OTHERS = 6
"""Rows of the other ways."""

LEFT_OUT = "left out for want of room; none of them is judged better than these"

LEAST_BAD = ("works", "avoid", "cannot-tell", "never")
"""Verdicts of what is left, the least bad first."""


def only_avoided(options: Sequence[Mapping[str, Any]]) -> bool:
    """Tell whether there is a way that harms nothing, and only has a drawback."""
    return any(o.get("verdict") == "avoid" for o in options) and not any(
        o.get("verdict") == "cannot-tell" for o in options
    )


def why_nothing(advice: Mapping[str, Any], options: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """Return in the customer's words why nothing is recommended, and what would help."""
    if not options:
        return ("No lead fits the sockets of both ends.",)
    by_verdict = {v: [o for o in options if o.get("verdict") == v] for v in LEAST_BAD}
    said = ["None of the ways to connect them can be recommended without reservation."]
    best = next((min(held, key=_loud) for v, held in by_verdict.items() if held and v != "never"),
                None)  # fmt: skip
    if best is not None:
        way = _name(best)
        said.append(f"The least bad: {way}; {_because(best)}.")
    if by_verdict["cannot-tell"]:
        said.append("Have the output measured: that tells which of them is right.")
    boxes = {o.get("destination") for o in options}
    cures = [c for c in listing(advice, "cures")
             if isinstance(c, Mapping) and c.get("destination") in boxes]  # fmt: skip
    said += [f"It would help: {printed(c.get('says'), 160)}." for c in cures[:1]]
    return tuple(said)


def other_ways(
    options: Sequence[Any], chosen: Mapping[str, Any] | None
) -> tuple[tuple[str, str, str], ...]:
    """Return the other ways: name, verdict on the worse side, and what speaks against them."""
    worst: dict[str, Mapping[str, Any]] = {}
    for bare in options:
        if not isinstance(bare, Mapping) or (chosen and bare.get("id") == chosen.get("id")):
            continue
        option = as_used(bare, with_pad=needs_pad(bare))
        held = worst.setdefault(str(option.get("id")), option)
        if _badness(option) > _badness(held):
            worst[str(option.get("id"))] = option
    ways = list(worst.values())
    if len(ways) > MOST_OTHERS:  # what is left out is judged no better than what is shown
        ways = sorted(ways, key=_badness)[: MOST_OTHERS - 1]
    rows = [(_name(o), words.VERDICTS.get(str(o.get("verdict")), ""), _because(o)) for o in ways]
    if len(ways) < len(worst):
        rows.append((f"{len(worst) - len(ways)} more", "", LEFT_OUT))
    return tuple(rows)


def _loud(option: Mapping[str, Any]) -> bool:
    """Tell whether the hum of a way surely disturbs the music."""
    hum = option.get("hum_below_full_output_db")
    ends = interval(hum) if isinstance(hum, Mapping) else None
    return ends is not None and ends[1] < LOUD_HUM_DB


def _badness(option: Mapping[str, Any]) -> int:
    verdict = str(option.get("verdict"))
    return LEAST_BAD.index(verdict) if verdict in LEAST_BAD else -1


def _name(option: Mapping[str, Any]) -> str:
    return words.OPTIONS.get(str(option.get("id"))) or clean(option.get("id"), 60)


def _because(option: Mapping[str, Any]) -> str:
    """Return what speaks against a way, a whole sentence; of one that works, what it lacks."""
    lacks = printed(option.get("passed_by") or "")
    if option.get("verdict") == "works" and lacks:
        return lacks
    return printed(option.get("because") or "") or printed((listing(option, "reasons") or [""])[0])
