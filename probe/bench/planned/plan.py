"""Which take comes next, for the kit at hand and what is known so far, and when it is enough.

Order: open; one tone; silence; the single-ended output; the interface itself; then what settles
most of what is open, injections before loads; what a wanted fact still lacks; and the open take
once more at the end. A tone that is wanted at a level, open circuit, waits for the takes that show
what the recorder takes of it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from probe.bench.planned.able import FIRST, LAST, Known, Setting, able, refused
from probe.bench.planned.steps import INJECTING, LOADING, MAXIMA, OF_BENCH, SILENT, Step
from probe.numbers import number, write_number
from probe.session.model import Device

Ranker = Callable[[Collection[str]], tuple[str | None, str | None]]
"""Names, of some takes, the one that settles most of what is still possible, and why."""

COUPLED = 0.9
"""Coupling above which the difference between the legs needs a take of its own: from injections it
is then a small difference of large numbers."""

GOOD_ENOUGH = 0.2
"""An impedance between coupled legs known worse than this (u95 over value) is not settled."""

WANTED = (
    ("gain_difference", ("single-ended",), "the gain difference is not known"),
    ("cold_impedance", ("inject-cold", "load-cold"), "the impedance of pin 3 is not known"),
    ("hot_impedance", ("inject-hot", "load-hot"), "the impedance of pin 2 is not known"),
    (
        "coupling_cold_into_hot",
        ("inject-cold", "load-cold"),
        "whether pin 2 follows pin 3 is not known",
    ),
    (
        "coupling_hot_into_cold",
        ("inject-hot", "load-hot"),
        "whether pin 3 follows pin 2 is not known",
    ),
    ("differential_impedance", ("load-across",), "the impedance between the legs is not known"),
    (
        "single_ended_impedance",
        ("inject-single-ended", "single-ended-loaded"),
        "the impedance of the single-ended output is not known",
    ),
)
"""Facts that are asked for, the takes that show each, and why a take is made for it."""

EARLY = (
    ("tone", "distortion; everything stays plugged as it is", FIRST),
    ("idle", "hum and noise, while nothing plays", FIRST),
    ("single-ended", "gain difference and polarity", FIRST),
    (
        "single-ended-tone",
        "distortion of the single-ended output; everything stays plugged as it is",
        "single-ended",
    ),
    ("floor", "how much of the noise is the interface's own", "idle"),
    ("loop-back", "how much of the distortion is the interface's own", "tone"),
)
"""Takes that are made whatever the device is, why, and the take each belongs to."""

AT_LEVEL = {
    "single-ended-tone": {"inject-single-ended", "single-ended-loaded"},
    "tone": {*INJECTING, *LOADING} - {"single-ended-loaded"},
}
"""Takes of one tone that may be wanted at a level open circuit, and the takes that show what the
recorder's inputs take of that level."""

NOT_FOR = {
    "unbalanced": {"coupling_cold_into_hot", "coupling_hot_into_cold", "differential_impedance"},
    "pin-3-unconnected": {
        *("coupling_cold_into_hot", "coupling_hot_into_cold"),
        *("differential_impedance", "cold_impedance"),
    },
    "impedance-balanced": {"coupling_cold_into_hot", "differential_impedance"},
}
"""Facts that a kind does not have, or that no take shows of it."""

NOT_WITHOUT_RCA = ("gain_difference", "single_ended_impedance")
"""Facts that a device without a single-ended output does not have."""


MAXIMUM_OPEN = {
    "differential_maximum": "the maximum between the legs",
    "single_ended_maximum": "the maximum of the single-ended output",
}
"""Facts that a driven maximum shows, in words."""


@dataclass(frozen=True)
class SoFar:
    """One side at one volume.

    Attributes
    ----------
    made
        Words of the takes that are good.
    given_up
        Words of takes that were tried and passed over.
    body
        The side's part of the facts document; empty where nothing was analysed yet.
    """

    made: tuple[str, ...] = ()
    given_up: frozenset[str] = frozenset()
    body: Mapping[str, Any] = field(default_factory=dict)

    @property
    def decided(self) -> bool:
        """Whether the kind is known."""
        kind = self.body.get("stage", {}).get("kind", "undetermined")
        return bool(kind != "undetermined")


@dataclass(frozen=True)
class Done:
    """Nothing more to do here, and why; ``open_`` lists what stays unknown."""

    why: str
    open_: tuple[str, ...] = ()


def next_step(
    setting: Setting, known: Known, so_far: SoFar, ranked: Ranker, *, everything: bool = False
) -> Step | Done:
    """Return the next take, or that it is enough.

    Parameters
    ----------
    setting, known
        Device, kit and side; what loads are chosen by.
    so_far
        Takes made and facts found.
    ranked
        Names the take that settles most, of those it is given.
    everything
        Make every take the kit can, whether it is needed or not.
    """
    steps = able(setting, known)
    spent = {*so_far.made, *so_far.given_up}
    fresh = {take: step for take, step in steps.items() if take not in spent}
    if FIRST in fresh:
        return _with(fresh[FIRST], "everything else is compared with it")
    for take, why, after in EARLY:
        if take in fresh and after in so_far.made and not _waits(take, fresh, setting, so_far.made):
            return _with(fresh[take], why)
    found = _telling(fresh, so_far, ranked) or _missing(fresh, so_far)
    found = found or _at_level(fresh, setting, so_far)
    if found is None and everything:
        found = _rest(fresh, so_far)
    found = found or _maximum(fresh, so_far)
    if found is not None:
        return _gentler(found, fresh)
    if LAST in fresh and FIRST in so_far.made and len(so_far.made) > 1:
        return _with(fresh[LAST], "it alone shows whether the level moved meanwhile")
    return _done(setting, known, so_far)


def _waits(take: str, fresh: Collection[str], setting: Setting, made: Collection[str]) -> bool:
    """Whether an early take comes later: where a tone is wanted at a level open circuit.

    The tone waits where a take can show what the recorder takes of that level; the interface itself
    is heard last, as loud as the tones were by then.
    """
    if take == "loop-back":
        return bool(setting.levels) and LAST in fresh
    return take in setting.levels and bool(AT_LEVEL[take] & {*fresh, *made})


def _at_level(fresh: Mapping[str, Step], setting: Setting, so_far: SoFar) -> Step | None:
    """Return a tone wanted at a level that waited: that level is now known as well as it can be."""
    for take in AT_LEVEL:
        alike = FIRST if take == "tone" else "single-ended"
        if take in fresh and take in setting.levels and alike in so_far.made:
            return _with(fresh[take], "distortion at the level asked for")
    return None


def _gentler(found: Step, fresh: Mapping[str, Step]) -> Step:
    """Return an injection that is still to be had instead of a load where nobody has been."""
    if found.take not in LOADING:
        return found
    alone = found.take == "single-ended-loaded"
    gentle = {"inject-single-ended"} if alone else INJECTING
    for take, step in fresh.items():
        if take in gentle and step.plugged.state == "play":
            return _with(step, "an injection shows how low a load may be")
    return found


def _with(step: Step, reason: str) -> Step:
    return replace(step, reason=reason)


def _gentle(fresh: Mapping[str, Step]) -> dict[str, Step]:
    """Return what may come now: injections into a playing device as long as there are any."""
    injecting = {t: s for t, s in fresh.items() if t in INJECTING and s.plugged.state == "play"}
    return injecting or {t: s for t, s in fresh.items() if t in LOADING}


def _telling(fresh: Mapping[str, Step], so_far: SoFar, ranked: Ranker) -> Step | None:
    """Return the take that tells most of the kinds still possible apart."""
    if so_far.decided:
        return None
    options = _gentle(fresh)
    while options:
        take, reason = ranked(tuple(options))
        if take in options:
            return _with(options[take], reason or "")
        fresh = {t: s for t, s in fresh.items() if t not in options}
        options = _gentle(fresh)
    return None


def _missing(fresh: Mapping[str, Step], so_far: SoFar) -> Step | None:
    facts = so_far.body.get("facts", {})
    kind = so_far.body.get("stage", {}).get("kind", "undetermined")
    for fact, takes, why in WANTED:
        if fact in NOT_FOR.get(kind, ()) or not _lacks(fact, facts):
            continue
        for take in takes:
            if take in fresh:
                return _with(fresh[take], why)
    return None


def _lacks(fact: str, facts: Mapping[str, Any]) -> bool:
    entry = facts.get(fact)
    if fact != "differential_impedance" or not _coupled(facts):
        return entry is None
    value, doubt = number(entry), number(entry, "u95")
    return value is None or doubt is None or doubt > GOOD_ENOUGH * abs(value)


def _coupled(facts: Mapping[str, Any]) -> bool:
    found = [number(facts.get(f"coupling_{w}")) for w in ("cold_into_hot", "hot_into_cold")]
    return any(value is not None and value > COUPLED for value in found)


def _rest(fresh: Mapping[str, Step], so_far: SoFar) -> Step | None:
    """Return what is left of everything: the device is switched off last."""
    for take, step in fresh.items():
        if take not in (LAST, *SILENT, *OF_BENCH, *MAXIMA) and step.plugged.state == "play":
            return _with(step, "everything was asked for")
    rising = _maximum(fresh, so_far)
    if rising is not None:
        return rising
    if LAST in fresh:
        return _with(fresh[LAST], "before the device is switched off")
    for step in (s for t, s in fresh.items() if t not in SILENT | OF_BENCH):
        return _with(step, "whether pin 3 is held by a resistor or by an amplifier")
    return None


def _maximum(fresh: Mapping[str, Step], so_far: SoFar) -> Step | None:
    """Return a take that drives an output until it clips: a stress, after all gentler ones."""
    for take, alike in ((MAXIMA[0], FIRST), (MAXIMA[1], "single-ended")):
        if take in fresh and alike in so_far.made:
            return _with(fresh[take], "its maximum was asked for")
    return None


def still_open(body: Mapping[str, Any], device: Device) -> list[str]:
    """Return the wanted facts of a device that a side's facts do not settle, in words."""
    facts = body.get("facts", {})
    kind = body.get("stage", {}).get("kind", "undetermined")
    without = {*NOT_FOR.get(kind, ()), *(() if "rca" in device.connectors else NOT_WITHOUT_RCA)}
    return [
        why.removesuffix(" is not known")
        for fact, _, why in WANTED
        if fact not in without and _lacks(fact, facts)
    ]


def _done(setting: Setting, known: Known, so_far: SoFar) -> Done:
    open_ = still_open(so_far.body, setting.device)
    if setting.maximum:
        open_ += _open_maxima(setting, so_far)
    if open_:
        open_ += [one.told for one in refused(setting, known)]
    if not so_far.decided:
        return Done("the kit has no take left that would tell the kind", tuple(open_))
    if open_:
        more = ", or a take that was refused or passed over" if so_far.given_up else ""
        why = f"the kind is settled; what stays open needs more than this kit{more}"
        return Done(why, tuple(open_))
    return Done("everything asked for is settled")


def _open_maxima(setting: Setting, so_far: SoFar) -> list[str]:
    """Return the maxima that were asked for and are not known, or as a bound only."""
    found = []
    for fact, what in MAXIMUM_OPEN.items():
        entry = so_far.body.get("facts", {}).get(fact)
        if fact == "single_ended_maximum" and "rca" not in setting.device.connectors:
            continue
        if entry is None:
            found.append(what)
        elif "bound" in entry:
            found.append(f"{what}: {entry['bound']} {write_number(entry['value'], 'V')}")
    return found


def known_of(body: Mapping[str, Any], heard: Mapping[str, float]) -> Known:
    """Return what loads are chosen by, from a side's facts and the volts heard on its legs.

    Parameters
    ----------
    body
        The side's part of the facts document.
    heard
        Rms volts of all tones together, by channel.
    """
    facts = body.get("facts", {})

    def ohm(name: str) -> float | None:
        entry = facts.get(name)
        return None if entry is None or entry.get("bound") == "below" else number(entry)

    return Known(
        hot_ohm=ohm("hot_impedance"),
        cold_ohm=ohm("cold_impedance"),
        across_ohm=ohm("differential_impedance"),
        single_ended_ohm=ohm("single_ended_impedance"),
        hot_volts=heard.get("hot", 0.0),
        cold_volts=heard.get("cold", 0.0),
    )
