"""Faults with what usually causes them, how sure that is, and what a workshop looks at first.

What is *found* is what the facts state (in at least 95 of 100 equally likely readings of the
takes); causes are experience of the trade, common practice without a source, the likeliest first.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from probe.compare.conditions import apart, circumstances
from probe.compare.difference import Difference, difference
from probe.numbers import number, write, write_signed
from probe.verify.judged import Fault

GONE_DB = 30.0
"""A side this far below the other carries no signal of its own: what is left leaks across."""

LOW_DB = 2.0
"""Sides further apart than this: no volume control tracks so badly (common practice)."""

PART_PERCENT = 20.0
"""Like impedances of two sides further apart: beyond any tolerance of resistors in use."""

LEAKY_VOLTS = 0.1
"""More direct voltage than a sound coupling capacitor or a servo leaves (docs/bench.md)."""


@dataclass(frozen=True)
class Cause:
    """What usually stands behind a fault, and where to look first."""

    causes: tuple[str, ...]
    look_first: str


CAUSES = {
    "hot-leg-dead": Cause(
        ("broken joint, lead or socket contact of pin 2", "dead driver of the hot leg",
         "open build-out resistor or relay contact"),
        "socket and joints of pin 2, then the hot driver's output against its input",
    ),
    "cold-leg-dead": Cause(
        ("dead cold driver or inverter", "broken joint, lead or socket contact of pin 3",
         "open build-out resistor or relay contact"),
        "the cold driver's supply pins and output, then socket and joints of pin 3",
    ),
    "legs-in-phase": Cause(
        ("dead inverter: its resistors pass the hot signal on",
         "a repair that fed both drivers from one point"),
        "the inverter of the cold leg: supply, output, feedback resistor",
    ),
    "legs-unequal": Cause(
        ("a resistor of the inverter drifted or of a wrong value", "one leg loaded by a fault",
         "a driver that limits"),
        "the two resistors round the inverter, against each other",
    ),
    "leg-impedances-unequal": Cause(
        ("wrong repair part: a build-out resistor of another value", "corroded relay or socket",
         "a build-out resistor gone high"),
        "the build-out resistors of both legs with an ohmmeter, device off",
    ),
    "coupling-capacitor-hot": Cause(
        ("dried coupling capacitor of the hot leg", "a replacement of too small a value",
         "a cracked joint at it"),
        "capacitance and series resistance of the hot leg's coupling capacitor, then its "
        "neighbours of the same age",
    ),
    "coupling-capacitor-cold": Cause(
        ("dried coupling capacitor of the cold leg", "a replacement of too small a value",
         "a cracked joint at it"),
        "capacitance and series resistance of the cold leg's coupling capacitor, then its "
        "neighbours of the same age",
    ),
    "pins-swapped": Cause(
        ("exchanged leads at the bench", "pins 2 and 3 exchanged at the socket in a repair",
         "another pin convention than the maker states"),
        "the bench's own leads, then the socket's wiring against the other side's",
    ),
    "single-ended-dead": Cause(
        ("its lead not plugged in at the bench, or on another channel", "output muted, or turned "
         "down by a control or menu of its own", "dead driver, mute relay or broken joint"),
        "the bench's own lead and channel and the mute, and take it again; then socket and mute "
        "relay",
    ),
    "channel-gone": Cause(
        ("dead supply rail or muted relay of that side", "dead driver", "broken internal lead"),
        "whether that side's single-ended output plays; then rails and mute relay",
    ),
    "channel-low": Cause(
        ("a volume control or switch contact gone bad", "a wrong or drifted gain resistor",
         "a stage that limits"),
        "the same at another volume setting: if the difference moves, the control",
    ),
    "part-unlike-its-twin": Cause(
        ("wrong repair part: a build-out resistor of another value",
         "a build-out resistor gone high", "a later version on one side"),
        "the build-out resistors of both sides with an ohmmeter, device off",
    ),
    "direct-voltage": Cause(
        ("leaky coupling capacitor", "an offset servo or output stage at fault",
         "phantom power fed from the other end"),
        "the bench for phantom power first, then the coupling capacitor of that leg",
    ),
}  # fmt: skip
"""By fault code; the codes of the facts and those found here by comparing sides."""

TITLES = {
    "channel-gone": "One channel gone",
    "channel-low": "One channel low",
    "part-unlike-its-twin": "A part unlike its twin on the other side",
    "direct-voltage": "Direct voltage on an output",
}

NOT_SEEN = (
    "what comes and goes: contacts, joints and relays that worked during the takes",
    "how long parts that measure well today will last, valves and capacitors above all",
    "electrical safety: insulation, protective earth, mains side; only a licensed test tells",
    "inputs, functions, remote control and settings that no take used",
    "how it behaves hot, or after hours",
    "what was done inside, and how well",
)
"""What no take at the output terminals can show."""


def found_faults(facts: Mapping[str, Any]) -> tuple[Fault, ...]:
    """Return the faults of all sides, those found first."""
    rows = [row for side in facts["sides"] for row in _of_side(facts, side)]
    rows += list(_between(facts))
    return tuple(sorted(rows, key=lambda row: row.certainty != "found"))


NEEDS = {
    "coupling-capacitor-hot": ("hot_impedance",),
    "coupling-capacitor-cold": ("cold_impedance",),
    "leg-impedances-unequal": ("hot_impedance", "cold_impedance"),
    "part-unlike-its-twin": ("hot_impedance", "cold_impedance"),
    "channel-gone": ("differential_level",),
    "channel-low": ("differential_level",),
    "single-ended-dead": ("single_ended_level",),
}
"""Facts without which a fault could not have been seen; the others need the kind alone."""


def since(
    before: Iterable[Fault], now: Iterable[Fault], facts: Mapping[str, Any]
) -> tuple[Fault, ...]:
    """Return the faults of an earlier look, each with what became of it (`Fault.now`).

    Parameters
    ----------
    before, now
        Faults of the earlier and of the later look.
    facts
        Facts of the later look: a fault that they could not have shown is not gone.
    """
    seen = {(fault.code, fault.side): fault.certainty for fault in now}
    return tuple(
        replace(f, now=seen.get((f.code, f.side)) or ("gone" if _shown(f, facts) else "not-shown"))
        for f in before
    )


def _shown(fault: Fault, facts: Mapping[str, Any]) -> bool:
    """Return True where the takes could have shown a fault."""
    body = facts["sides"].get(fault.side) or {}
    stage, known = body.get("stage") or {}, body.get("facts") or {}
    if fault.code == "direct-voltage":
        return any(name.endswith("_direct_voltage") for name in known)
    if fault.code == "pins-swapped":
        return stage.get("polarity") in ("pin-2-hot", "pin-3-hot")
    if stage.get("kind") in (None, "undetermined"):
        return False
    entries = [known.get(name) for name in NEEDS.get(fault.code, ())]
    return all(number(e) is not None and not (e or {}).get("bound") for e in entries)


def _of_side(facts: Mapping[str, Any], side: str) -> Iterable[Fault]:
    body = facts["sides"][side]
    stage = body.get("stage") or {}
    told = {
        str(t.get("fault")): str(t.get("message") or "")
        for t in stage.get("possible_faults_told_by") or ()
        if isinstance(t, Mapping)
    }
    for code in stage.get("faults") or ():
        yield _row(str(code), side, "found", "in at least 95 of 100 readings of the takes")
    for code in stage.get("possible_faults") or ():
        sure = told.get(str(code)) or "a healthy stage may look the same at its terminals"
        yield _row(str(code), side, "possible", sure)
    for terminal in ("hot", "cold", "single_ended"):
        entry = (body.get("facts") or {}).get(f"{terminal}_direct_voltage")
        volts = number(entry)
        if entry is not None and volts is not None and abs(volts) > LEAKY_VOLTS:
            what = f"{terminal.replace('_', '-')}: {write(entry).whole} metered"
            yield _row("direct-voltage", side, "found", what)


def _between(facts: Mapping[str, Any]) -> Iterable[Fault]:
    """Compare the sides of a pair: what one has and its twin has not."""
    if not {"left", "right"} <= set(facts["sides"]):
        return
    level = _against(facts, "differential_level")
    if level is not None and level.larger and level.value is not None:
        low = "right" if level.value < 0.0 else "left"
        size = abs(level.value)
        told = f"{write_signed(-size, 'dB', 0.1, 1)} against the other side"
        if size > GONE_DB:
            yield _row("channel-gone", low, "found", told)
        elif size > LOW_DB:
            yield _row("channel-low", low, "found", told)
    for leg in ("hot", "cold"):
        twin = _against(facts, f"{leg}_impedance")
        if twin is None or not twin.larger or twin.value is None:
            continue
        odd = _odd_one(facts, leg)
        explained = f"coupling-capacitor-{leg}"
        if abs(twin.value) > PART_PERCENT and not _has(facts, explained):
            told = f"{leg} leg: {twin.value:+.0f} % right against left".replace("-", "−")
            yield _row("part-unlike-its-twin", odd, "found", told)


def _against(facts: Mapping[str, Any], name: str) -> Difference | None:
    sides = [facts["sides"][s] for s in ("left", "right")]
    left, right = ((s.get("facts") or {}).get(name) for s in sides)
    if not isinstance(left, Mapping) or not isinstance(right, Mapping):
        return None
    here = (circumstances(facts, sides[0], left), circumstances(facts, sides[1], right))
    unit = str(left.get("unit", ""))
    return None if apart(name, unit, *here) else difference(name, left, right)


def _odd_one(facts: Mapping[str, Any], leg: str) -> str:
    """Return the side whose two legs are unlike each other, where one is and the other is not."""
    other = "cold" if leg == "hot" else "hot"
    unlike = {}
    for side in ("left", "right"):
        found = facts["sides"][side].get("facts") or {}
        a, b = number(found.get(f"{leg}_impedance")), number(found.get(f"{other}_impedance"))
        unlike[side] = 0.0 if not a or not b else abs(math.log(a / b))
    return max(unlike, key=lambda s: unlike[s])


def _has(facts: Mapping[str, Any], code: str) -> bool:
    stages = [side.get("stage") or {} for side in facts["sides"].values()]
    return any(code in (s.get("faults") or ()) for s in stages)


def _row(code: str, side: str, certainty: str, how_sure: str) -> Fault:
    cause = CAUSES.get(code, Cause((), "the stage of that leg"))
    return Fault(code, TITLES.get(code), side, certainty, how_sure, cause.causes, cause.look_first)
