"""What the advice takes from a facts document, and nothing else of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from probe.advice.case import Stage, Tried
from probe.advice.completed import FLOATING_KINDS
from probe.advice.destination import MAINS_HZ
from probe.advice.ground import MAINS_VOLTS
from probe.advice.heard import Heard, heard_of
from probe.advice.maximum import Most
from probe.advice.noise import DeviceNoise
from probe.advice.parts import SMALLEST_RECORDER_OHM
from probe.advice.thresholds import (
    ALSO_POSSIBLE_SHARE,
    DIRECT_NEVER_VOLTS,
    FIFTY_HERTZ_BELOW,
    LEAST_MAINS_VOLTS,
)
from probe.advice.volume import VOLUME_CONTROL, Volume, volume_of
from probe.advice.words import PINS, RCA_FAULTS
from probe.formats.kinds import KINDS
from probe.formats.mains import Mains
from probe.formats.text import printable
from probe.line_output import beyond_line, declared, doubts
from probe.numbers import number

Facts = Mapping[str, Any]

EVERY_KIND = KINDS

TERMINALS = ("hot", "cold", "single-ended")

JOINED_COUPLING = 0.8
"""Coupling above which legs hang together: ``R/(R + P)``, ``R`` four times ``P`` (closed form)."""


@dataclass(frozen=True)
class Device:
    """The device, as far as a connection depends on it."""

    name: str
    output: str
    connectors: tuple[str, ...]
    full_output_volts: float | None
    minimum_load_ohm: float | None
    digital_volts: float | None = None
    """Declared level of a digital output, V peak to peak."""
    digital_format: str | None = None
    """Declared channel-status format of a digital output: professional or consumer."""
    typed: bool = False
    """Described by hand from a data sheet: nothing was measured."""
    taken_as: str = ""
    """What the typed figures were taken to mean beyond what they say."""
    unlike_line: tuple[str, ...] = ()
    """What speaks against a line output, in words."""
    beyond_line_volts: float | None = None
    """Its level, where no line output gives so much."""
    output_declared: bool = False
    """Somebody said which kind of output it is."""
    volume: Volume = "unknown"
    """Whether it can be turned up beyond its stated level, as is stated or its kind says."""
    volume_stated: bool = False
    """The first of the two."""
    one_channel: bool = False
    """It has one: said in a description by hand, or measured as ``mono``."""


@dataclass(frozen=True)
class SideFacts:
    """One side: the stage, and what loaded a single-ended level given as recorded (ohm)."""

    name: str
    stage: Stage
    recorder_ohm: float | None
    bounded: tuple[int, ...] = ()
    """Legs (0 hot, 1 cold) of which nothing is taken, because only a bound is known."""
    live_leg: int | None = None
    """The leg (0 hot, 1 cold) a declared level is taken to stand on, because the difference of
    the legs rests on what the other one picks up; None: the difference is the level."""
    beyond: bool = False
    """A leg's impedance is only known to lie above what the recorder can see."""
    taken: frozenset[str] = frozenset()
    """Kinds of the takes that were used."""
    drift_db: float | None = None
    """How far levels drift between takes, where the takes themselves show it."""
    noise: DeviceNoise = field(default=DeviceNoise({}))
    differential_maximum: Most | None = None
    """At 1 % distortion between the legs, as measured."""
    single_ended_maximum: Most | None = None
    tied_maximum: Most | None = None
    """Of pin 2 by itself, with pin 3 joined to pin 1, as stated."""
    single_share: float | None = None
    """Level of the single-ended output over that between the legs, None where not known."""
    heard: Heard | None = None
    """The legs with the recorder on them."""
    floats: bool | None = None
    """Whether the winding of a transformer-coupled output floats, where that is stated."""

    @property
    def exchanged(self) -> bool:
        """The signal of a one-leg stage stands on pin 3."""
        return self.stage.driven_legs == "one-leg" and self.stage.polarity == "pin-3-hot"


def device_of(facts: Facts) -> Device:
    """Return the device; connectors that are not stated follow from what was measured."""
    device = facts.get("device", {})
    words = [printable(str(device.get(k, ""))).strip() for k in ("maker", "model")]
    connectors = tuple(device.get("connectors") or _measured_connectors(facts))
    return Device(
        name=" ".join(w for w in words if w) or "the device",
        output=str(device.get("output") or "line"),
        connectors=connectors,
        full_output_volts=_positive(device.get("full_output_volts")),
        minimum_load_ohm=_positive(device.get("minimum_load_ohm")),
        digital_volts=_positive(device.get("digital_volts_peak_to_peak")),
        digital_format=str(device.get("digital_format") or "") or None,
        typed=bool(facts.get("typed")),
        taken_as=str(facts.get("taken_as") or ""),
        unlike_line=doubts(facts),
        beyond_line_volts=beyond_line(facts),
        output_declared=declared(facts),
        volume=volume_of(str(device.get("kind") or ""), device.get(VOLUME_CONTROL)),
        volume_stated=isinstance(device.get(VOLUME_CONTROL), bool),
        one_channel=bool(facts.get("one_channel"))
        if facts.get("typed")
        else set(facts.get("sides", ())) == {"mono"},
    )


def mains_of(facts: Facts) -> float:
    """Return the mains frequency of the place it plays in, Hz; see `playing_at`."""
    return _of_the_place(facts, "mains_hz") or MAINS_HZ


def mains_volts_of(facts: Facts) -> float:
    """Return the mains voltage of the place it plays in, V; see `playing_at`."""
    return _of_the_place(facts, "mains_v") or MAINS_VOLTS


def least_mains_volts_of(facts: Facts) -> float:
    """Return the least that the mains of the place may have, V: what is said, or what is usual."""
    volts, hz = (_of_the_place(facts, key) for key in ("mains_v", "mains_hz"))
    if volts is not None:
        return volts
    return MAINS_VOLTS if hz is not None and hz < FIFTY_HERTZ_BELOW else LEAST_MAINS_VOLTS


def playing_at(facts: Facts, mains: Mains) -> dict[str, Any]:
    """Return the facts of a device that plays on ``mains``, as far as those are said.

    What is not said stays as in the place it was measured in, or as a description by hand has it.
    """
    return {**facts, PLACE: {"mains_hz": mains.hz, "mains_v": mains.volts}}


PLACE = "plays_at"
"""Key of `playing_at`; no facts document has it."""


def _of_the_place(facts: Facts, key: str) -> float | None:
    made = facts.get("made")
    bench = made.get("bench") if isinstance(made, Mapping) else None
    said = (facts.get(PLACE), bench, facts.get("stated"))
    figures = (_positive(one.get(key)) for one in said if isinstance(one, Mapping))
    return next((f for f in figures if f is not None), None)


def _positive(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and value > 0 else None


def _measured_connectors(facts: Facts) -> tuple[str, ...]:
    names = {name for side in facts.get("sides", {}).values() for name in side.get("facts", {})}
    found = []
    if names & {"hot_level", "cold_level", "hot_recorded", "cold_recorded", "differential_level"}:
        found.append("xlr")
    if "single_ended_level" in names:
        found.append("rca")
    return tuple(found)


def side_of(facts: Facts, name: str) -> SideFacts:
    """Return what is known of one side of the device."""
    side = facts["sides"][name]
    stage, values = side.get("stage", {}), side.get("facts", {})
    kind = str(stage.get("kind", "undetermined"))
    possible = _possible(kind, stage.get("also_possible", ()))
    direct = _direct_volts(values)
    return SideFacts(
        name=name,
        stage=Stage(
            kind=kind,
            possible=possible,
            driven_legs=str(stage.get("driven_legs", "")),
            polarity=str(stage.get("polarity", "undetermined")),
            faults=tuple(stage.get("faults", ())),
            next_take=stage.get("next_take"),
            direct_volts=direct,
            refused=_tried(stage.get("refused", ())),
            driven=_tried(stage.get("driven", ())),
            drawn=_drawn(stage.get("drawn")),
            clipped=_clipped(facts, name),
            rca_doubted=bool(set(stage.get("possible_faults", ())) & set(RCA_FAULTS)),
            joined=_joined(values),
        ),
        recorder_ohm=_recorder_ohm(facts, values.get("single_ended_level", {})),
        bounded=_bounded(values, possible),
        live_leg=_live_leg(stage, values),
        beyond=bool(_above(values)),
        taken=_taken(name, side.get("takes")),
        drift_db=_drift(side.get("conditions")),
        noise=DeviceNoise.of(values),
        differential_maximum=Most.of(values.get("differential_maximum")),
        single_ended_maximum=Most.of(values.get("single_ended_maximum")),
        tied_maximum=Most.of(values.get("tied_maximum")),
        single_share=_single_share(facts, values),
        heard=heard_of(side.get("curves"), _input_ohm(facts)),
        floats=stage.get("floating_winding"),
    )


def _single_share(facts: Facts, values: Mapping[str, Any]) -> float | None:
    """Return the single-ended level over that between the legs, measured or typed."""
    stated = facts.get("stated")
    if isinstance(stated, Mapping):
        single, pair = (_positive(stated.get(k)) for k in ("single_ended_level_v", PAIR_KEY))
        legs = (_positive(stated.get(k)) or 0.0 for k in ("hot_level_v", "cold_level_v"))
        pair = pair or sum(legs)
    else:
        single = _value(values, "single_ended_level")
        pair = number(values.get("differential_level", {}))
    return single / pair if single and pair else None


def _value(values: Mapping[str, Any], name: str) -> float | None:
    """Return a figure that is known, not one of which only a bound is."""
    entry = values.get(name, {})
    return None if "bound" in entry else number(entry)


PAIR_KEY = "differential_level_v"

TAKEN_DRIFT_DB = 0.0201
"""Drift between takes that is taken where the takes show no more, 0.02 dB, as it is rounded."""


def _drift(said: object) -> float | None:
    """Return the drift that the takes show: enough of them, or one that is seen by itself."""
    db = number(said, "repeatability_db") if isinstance(said, Mapping) else None
    if db is None or not isinstance(said, Mapping):
        return None
    return db if said.get("repeatability_from_residuals") or db > TAKEN_DRIFT_DB else None


def _tried(said: object) -> tuple[Tried, ...]:
    """Return the loads that were tried."""
    found = []
    for one in said if isinstance(said, list | tuple) else ():
        ohm = _positive(one.get("ohm")) if isinstance(one, Mapping) else None
        if ohm is None:
            continue
        ends = [t for t in TERMINALS if t in (one.get("from"), one.get("to"))]
        between = len(ends) == 2
        where = "between the legs" if between else f"on {PINS[ends[0]]}" if ends else ""
        connector = "rca" if ends == ["single-ended"] else "xlr"
        found.append(Tried(connector, between, where, ohm, printable(str(one.get("seen", "")))))
    return tuple(found)


def _drawn(said: object) -> dict[str, float]:
    """Return the currents that were drawn while it was measured, by output."""
    held = said.items() if isinstance(said, Mapping) else ()
    return {str(output): a for output, ampere in held if (a := _positive(ampere)) is not None}


def _clipped(facts: Facts, side: str) -> frozenset[str]:
    """Return the outputs that were seen clipping with nothing but the recorder on them.

    Where the maximum of one was measured, that is known better.
    """
    values = facts["sides"][side].get("facts", {})
    found = set()
    for warning in facts.get("warnings") or ():
        if warning.get("code") != "output-clips" or warning.get("side", side) != side:
            continue
        take = str(warning.get("take") or "").removeprefix(side).strip().replace(" ", "-")
        if take and not take.startswith("load"):
            found.add("rca" if "single-ended" in take else "xlr")
    known = {"rca": "single_ended_maximum", "xlr": "differential_maximum"}
    return frozenset(output for output in found if known[output] not in values)


def _taken(side: str, takes: object) -> frozenset[str]:
    """Return the takes that were used by their kind: ``second-open`` of "left second open"."""
    held = [t for t in takes if isinstance(t, Mapping)] if isinstance(takes, list | tuple) else []
    names = [str(t.get("take")) for t in held if t.get("used", True)]
    return frozenset(n.removeprefix(side).strip().replace(" ", "-") for n in names)


def with_suspicion(sides: list[SideFacts]) -> list[SideFacts]:
    """Mark every side where any terminal of the device carries direct voltage."""
    held = (v for side in sides for v in side.stage.direct_volts.values())
    if not any(abs(v) > DIRECT_NEVER_VOLTS for v in held):
        return sides
    return [replace(s, stage=replace(s.stage, direct_elsewhere=True)) for s in sides]


def _possible(kind: str, also: object) -> tuple[str, ...]:
    """Return the kinds to evaluate: the stated one, and what the draws leave open."""
    others = [
        str(other["kind"])
        for other in (also if isinstance(also, list | tuple) else ())
        if other.get("confidence") is None or other["confidence"] > ALSO_POSSIBLE_SHARE
    ]
    kinds = [k for k in (kind, *others) if k != "undetermined"]
    return tuple(dict.fromkeys(kinds)) or EVERY_KIND


def _bounded(values: Mapping[str, Any], possible: tuple[str, ...]) -> tuple[int, ...]:
    """Return the legs of which only a bound is known.

    Not of what may be a floating pair: there the legs by themselves are beyond the recorder
    while the differential impedance, which carries the signal, is known.
    """
    pair = values.get("differential_impedance")
    floating = any(kind in FLOATING_KINDS for kind in possible)
    if floating or (pair is not None and "bound" not in pair):
        return ()
    return _above(values)


def _live_leg(stage: Mapping[str, Any], values: Mapping[str, Any]) -> int | None:
    """Return the only leg with a level of its own where the difference is not to be trusted."""
    pair = values.get("differential_level", {})
    if not ("bound" in pair or pair.get("limited_by_bench")):
        return None
    faults = stage.get("faults", ())
    if "cold-leg-dead" in faults:
        return 0
    if "hot-leg-dead" in faults:
        return 1
    if stage.get("driven_legs") == "one-leg":
        return 1 if stage.get("polarity") == "pin-3-hot" else 0
    doubtful = [
        any(
            "bound" in fact or fact.get("limited_by_bench")
            for fact in (values.get(f"{leg}_level", {}), values.get(f"{leg}_impedance", {}))
        )
        for leg in ("hot", "cold")
    ]
    return doubtful.index(False) if doubtful.count(False) == 1 else None


def _joined(values: Mapping[str, Any]) -> bool:
    """Return whether the legs were measured to hang together, both ways where both are known.

    Separate legs then stand behind a resistor from pin to pin, and behind others at least four
    times as large: pin 3 joined to pin 1 shorts no amplifier, and pin 2 takes over its level.
    """
    names = ("coupling_cold_into_hot", "coupling_hot_into_cold")
    known = [float(values[n]["value"]) for n in names if "value" in values.get(n, {})]
    return bool(known) and min(known) > JOINED_COUPLING


def _above(values: Mapping[str, Any]) -> tuple[int, ...]:
    return tuple(
        leg
        for leg, name in enumerate(("hot", "cold"))
        if values.get(f"{name}_impedance", {}).get("bound") == "above"
    )


def _direct_volts(values: Mapping[str, Any]) -> dict[str, float]:
    found = {}
    for terminal in TERMINALS:
        fact = values.get(f"{terminal.replace('-', '_')}_direct_voltage")
        if fact is not None and "value" in fact:
            found[terminal] = float(fact["value"])
    return found


def _recorder_ohm(facts: Facts, level: Mapping[str, Any]) -> float | None:
    """Return what may have loaded a level given as recorded; None for an open-circuit one."""
    return _input_ohm(facts) if level.get("limited_by_bench") else None


def _input_ohm(facts: Facts) -> float:
    """Return the impedance of the recorder's inputs, the smallest of them."""
    bench = facts.get("made", {}).get("bench", {})
    inputs = bench.get("input") or bench.get("inputs") or ()
    ohms = [_positive(i.get("impedance_ohm")) for i in inputs if isinstance(i, Mapping)]
    return min((o for o in ohms if o is not None), default=SMALLEST_RECORDER_OHM)
