"""Polarity, faults, and what the terminals cannot tell from a healthy stage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.session.model import Device
from probe.stage import limits
from probe.stage.identify import Identified
from probe.stage.kind import Verdict
from probe.stage.network import Complex
from probe.stage.observations import Observed
from probe.stage.output_silent import (
    AGAIN,
    hears_single_ended,
    listens,
    silent_legs,
    silent_output,
    stands_out,
)
from probe.stage.quantities import (
    column,
    impedance_known,
    leg_z,
    level_known,
    nearest,
    open_take,
    reading,
)

Array = NDArray[np.float64]

FAULTS = (
    "hot-leg-dead",
    "cold-leg-dead",
    "legs-in-phase",
    "legs-unequal",
    "leg-impedances-unequal",
    "coupling-capacitor-hot",
    "coupling-capacitor-cold",
    "pins-swapped",
    "single-ended-dead",
)

SURE = 0.95
"""Share of draws that makes a fault; a twentieth or more makes it possible."""


DIFFERENCE_LEAST = 0.1
"""Legs in phase leave no difference whose sign could be told."""

AGREEING_TONES = 6
AGREEING_SHARE = 0.75
AGREEING_RAD = 0.3
"""Tones, the share of them, and how closely they must agree on a polarity found across takes
without a common phase reference: by chance one delay in 10⁸ does that."""


@dataclass(frozen=True)
class Told:
    """A possible fault and what would tell it from a healthy stage."""

    fault: str
    message: str


@dataclass(frozen=True)
class Faults:
    """Faults found, faults possible, and what would tell."""

    found: tuple[str, ...]
    possible: tuple[Told, ...]

    @property
    def named(self) -> tuple[str, ...]:
        """Codes of those found and of those possible."""
        return (*self.found, *(told.fault for told in self.possible))


@dataclass(frozen=True)
class Polarity:
    """``pin-2-hot``, ``pin-3-hot`` or ``undetermined``, and what it was judged against."""

    value: str
    against: str


def polarity(identified: Identified) -> Polarity:
    """Which pin is hot: against the single-ended output, or else against the recorded drive."""
    if identified.group is None:
        return Polarity("undetermined", "the device never played")
    told = _across_takes(identified)
    if told is not None and told.value != "undetermined":
        return told
    for observed in identified.group.takes:
        told = _against_single_ended(identified, observed)
        if told is not None and told.value != "undetermined":
            return told
    t = open_take(identified)
    if t is not None and identified.phase_known:
        k = nearest(identified.group.hz)
        volts = identified.group.takes[t].volts[_row(identified.group.takes[t], k)]
        value = _side(np.angle(volts[0] - volts[1]))
        against = "the drive alone: it may be the device that inverts"
        return Polarity(value, against)
    heard = [o for o in identified.group.takes if listens(o)]
    if heard and not any(hears_single_ended(o) for o in heard):
        against = f"the single-ended output carries none of the tones: {AGAIN}"
        return Polarity("undetermined", against)
    return Polarity("undetermined", "no take hears the single-ended output or the drive")


def _row(observed: Observed, k: int) -> int:
    return int(np.argmin(np.abs(observed.tones - k)))


def _side(angle: float) -> str:
    if abs(angle) < limits.POLARITY_RAD:
        return "pin-2-hot"
    return "pin-3-hot" if abs(angle) > np.pi - limits.POLARITY_RAD else "undetermined"


def _against_single_ended(identified: Identified, observed: Observed) -> Polarity | None:
    """Compare a leg that carries signal with the single-ended output of the same take."""
    assert identified.group is not None
    if not observed.recorded[2] or observed.phasors.take.loads:
        return None
    hz = identified.group.hz[observed.tones]
    k = nearest(hz)
    single = observed.volts[k, 2]
    if not stands_out(observed, 2)[k]:
        return None
    for terminal, turn in ((0, 0.0), (1, np.pi)):
        leg = observed.volts[k, terminal]
        if not observed.recorded[terminal] or abs(leg) < 0.03 * abs(single):
            continue
        if not stands_out(observed, terminal)[k]:
            continue
        angle = np.angle(leg / single * np.exp(1j * turn))
        return Polarity(_side(float(angle)), "the single-ended output")
    return None


def _across_takes(identified: Identified) -> Polarity | None:
    """Return the difference of the legs in one take against the single-ended output in another.

    On one phase reference the angle near 1 kHz decides. Takes that share no leg with signal have
    been aligned by a delay alone, which cannot imitate a reversal over a wide band: then nearly
    all tones must say the same.
    """
    group = identified.group
    assert group is not None
    t = open_take(identified)
    others = [o for o in group.takes if o.recorded[2] and not o.phasors.take.loads]
    if t is None or not others:
        return None
    base, other = group.takes[t], others[0]
    heard = np.intersect1d(
        base.tones[stands_out(base, 0) | stands_out(base, 1)], other.tones[stands_out(other, 2)]
    )
    tones = np.intersect1d(base.tones, other.tones)
    if len(tones) == 0 or tones[nearest(group.hz[tones])] not in heard:
        return None  # of noise the angle near 1 kHz is chance
    tones = heard
    legs = base.volts[np.searchsorted(base.tones, tones)]
    single = other.volts[np.searchsorted(other.tones, tones), 2]
    apart = np.abs(legs[:, 0] - legs[:, 1])
    if np.median(apart / np.abs(legs).max(axis=1)) < DIFFERENCE_LEAST:
        return None
    angles = np.angle((legs[:, 0] - legs[:, 1]) / single)
    k = nearest(group.hz[tones])
    value = _side(float(angles[k]))
    if identified.phase_known or other.phasors.take.timebase is not None:
        return Polarity(value, "the single-ended output")
    centre = 0.0 if value == "pin-2-hot" else np.pi
    same = np.mean(np.abs(np.angle(np.exp(1j * (angles - centre)))) < AGREEING_RAD)
    if len(tones) < AGREEING_TONES or same < AGREEING_SHARE:
        return None
    return Polarity(value, "the single-ended output")


def find_faults(identified: Identified, verdict: Verdict, told: Polarity, device: Device) -> Faults:
    """Every fault the takes show, and every one they cannot exclude."""
    found: list[str] = []
    possible: list[Told] = []
    if verdict.hot_dead or verdict.dead_leg == "hot":
        found.append("hot-leg-dead")
    if verdict.dead_leg == "cold":
        found.append("cold-leg-dead")
    if verdict.in_phase and not verdict.dead_leg:
        found.append("legs-in-phase")
    capacitor, sure = dried_capacitor(identified)
    if sure:
        found.append(f"coupling-capacitor-{capacitor}")
    elif capacitor:
        possible.append(Told(f"coupling-capacitor-{capacitor}", _small_alone(capacitor)))
    _judge(found, possible, "legs-unequal", _legs_unequal(identified, verdict))
    unequal = None if capacitor or verdict.dead_leg else _impedances_unequal(identified, verdict)
    _judge(found, possible, "leg-impedances-unequal", unequal)
    if not verdict.in_phase:
        _swapped(found, possible, told, device)
    _indistinguishable(possible, verdict, told)
    if identified.group is not None:
        _outputs(found, possible, identified.group.takes, verdict)
    return Faults(tuple(found), tuple(possible))


def _outputs(
    found: list[str], possible: list[Told], takes: Sequence[Observed], verdict: Verdict
) -> None:
    """Name an output that carries nothing where the other one of the side does."""
    output = silent_output(takes)
    if output is not None and output.sure:
        found.append("single-ended-dead")
    elif output is not None:
        possible.append(Told("single-ended-dead", output.message))
    for leg, silent in silent_legs(takes).items() if verdict.driven_legs == "none" else ():
        if silent.sure:
            found.append(f"{leg}-leg-dead")
        else:
            possible.append(Told(f"{leg}-leg-dead", silent.message))


def _judge(found: list[str], possible: list[Told], fault: str, share: float | None) -> None:
    if share is None:
        return
    if share >= SURE:
        found.append(fault)
    elif share > 1.0 - SURE:
        message = f"{100 * share:.0f} % of what the takes allow; more takes would decide"
        possible.append(Told(fault, message))


def _legs_unequal(identified: Identified, verdict: Verdict) -> float | None:
    """Share of draws in which separate driven legs differ by more than the limit.

    Open circuit where the takes support both levels, else as recorded.
    """
    if verdict.kind != "differential" or identified.legs is None or verdict.ratio is None:
        return None
    k = nearest(identified.legs.hz)
    hot, cold = (reading(identified.legs, leg, "open", k) for leg in ("hot", "cold"))
    largest = max(hot.size, cold.size)
    ratio = verdict.ratio
    if level_known(hot, largest) and level_known(cold, largest):
        ratio = cold.draws / hot.draws
    return float(np.mean(np.abs(20.0 * np.log10(np.abs(ratio[1:]))) > limits.LEGS_UNEQUAL_DB))


def _impedances_unequal(identified: Identified, verdict: Verdict) -> float | None:
    if verdict.kind not in ("differential", "impedance-balanced"):
        return None
    hot, cold = column(identified, "hot"), column(identified, "cold")
    if hot is None or cold is None:
        return None
    a, b = np.abs(hot.own.draws[1:]), np.abs(cold.own.draws[1:])
    apart = np.abs(a - b)
    far = (apart > limits.IMPEDANCES_UNEQUAL * np.minimum(a, b)) & (
        apart > limits.IMPEDANCES_UNEQUAL_OHM
    )
    return float(np.mean(far))


def dried_capacitor(identified: Identified) -> tuple[str, bool]:
    """Return the leg whose coupling capacitor has dried out, "" where none shows it, and how sure.

    Judged only at low tones at which both legs are supported: against the other leg's capacitor,
    or where that has none by what it costs.
    """
    solved = identified.legs
    if solved is None:
        return "", False
    for k in np.flatnonzero(solved.hz < limits.DRIED_CAPACITOR_BELOW_HZ):
        legs = [reading(solved, leg, leg, int(k)) for leg in ("hot", "cold")]
        if not all(impedance_known(one) and one.sigma < 0.3 * one.size for one in legs):
            continue
        z: Complex = leg_z(solved.theta[1:, k])
        own = np.stack([z[:, 0, 0], z[:, 1, 1]], axis=1)
        couple = np.abs(z[:, 0, 1] / z[:, 1, 1])
        if np.median(couple) > 0.5 or np.abs(own).max() > limits.OPEN_OHM * 10:
            continue
        for leg, other in ((0, 1), (1, 0)):
            dried = (np.abs(own[:, leg]) > limits.DRIED_CAPACITOR_RATIO * np.abs(own[:, other])) & (
                np.angle(own[:, leg]) < limits.DRIED_CAPACITOR_ANGLE_RAD
            )
            if np.mean(dried) < SURE or _flat(solved.theta[0], leg):
                continue
            paired = np.mean(np.angle(own[:, other]) < limits.PARTNER_ANGLE_RAD) >= SURE
            corner = -own[:, leg].imag * solved.hz[k] / limits.ALONE_LOAD_OHM
            if paired or np.mean(corner > limits.ALONE_HEALTHY_HZ) > 1.0 - SURE:
                lost = np.mean(corner > limits.ALONE_LOST_HZ) >= SURE
                return ("hot", "cold")[leg], bool(paired or lost)
    return "", False


def _small_alone(leg: str) -> str:
    return (
        f"the {leg} leg alone has a capacitor, and its corner with 10 kohm is above "
        f"{limits.ALONE_HEALTHY_HZ} Hz: meant so, or dried out. The other side of the stereo pair "
        "or the circuit diagram tells"
    )


def _flat(theta: Complex, leg: int) -> bool:
    """Return True where the leg is as capacitive at the top: then it is no coupling part."""
    own = np.abs(leg_z(theta)[:, leg, leg])
    other = np.abs(leg_z(theta)[:, 1 - leg, 1 - leg])
    return bool(own[-1] > 10.0 * other[-1])


def _swapped(found: list[str], possible: list[Told], told: Polarity, device: Device) -> None:
    if told.value != "pin-3-hot" or device.stated_polarity != "pin-2-hot":
        return
    if told.against == "the single-ended output":
        found.append("pins-swapped")
        return
    message = (
        "judged against the drive alone, so the device may invert; first suspect exchanged leads, "
        "then record the single-ended output together with pin 2"
    )
    possible.append(Told("pins-swapped", message))


def _indistinguishable(possible: list[Told], verdict: Verdict, told: Polarity) -> None:
    """Faults that look like a healthy stage at the terminals, and what can tell them apart."""
    silent = verdict.silent
    if verdict.kind == "impedance-balanced":
        message = (
            f"a live {silent} amplifier stuck at zero looks the same: inject into pin 3 with the "
            "device switched off (a passive leg keeps its impedance), compare the other side of "
            "the stereo pair, or read the data sheet"
        )
        possible.append(Told(f"{silent}-leg-dead", message))
    if verdict.kind == "pin-3-unconnected":
        message = (
            f"a broken connection inside the {silent} leg looks the same as one that was never "
            "wired: compare the other side of the stereo pair or the data sheet"
        )
        possible.append(Told(f"{silent}-leg-dead", message))
    if verdict.kind == "unbalanced":
        message = (
            f"a stuck {silent} amplifier without a build-out resistor looks the same, and so does "
            f"a lead of the {silent} leg that is not plugged in: check that first (an ohmmeter at "
            f"the socket, device off: below 1 ohm to pin 1 it is tied); then the data sheet or the "
            "other side of the stereo pair tells"
        )
        possible.append(Told(f"{silent}-leg-dead", message))
    if silent == "hot" and not verdict.hot_dead and told.against != "the single-ended output":
        message = (
            "signal on pin 3 only: first suspect exchanged leads; a dead hot leg looks the same "
            "until the single-ended output is recorded together with pin 3"
        )
        if all(p.fault != "hot-leg-dead" for p in possible):
            possible.append(Told("hot-leg-dead", message))


__all__ = ["FAULTS", "Faults", "Polarity", "Told", "find_faults", "polarity"]
