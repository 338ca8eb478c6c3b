"""Which single take would settle most: each one tried on every stage that is still possible.

For every kind still possible a handful of stages is made that agree with what was recorded (open
voltages exactly, a leg's impedance where it is known). Every take is worked out forwards on all of
them. Two kinds are told apart by a take where no stage of the one gives voltages within the
recorder's repeatability of any stage of the other. The take that tells most pairs apart is named;
among equals the one that draws least current from the device comes first.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from probe.stage.identify import Identified
from probe.stage.kind import FLOATING, Evidence, Verdict
from probe.stage.limits import CROSSTALK, REPEATABILITY_DB
from probe.stage.network import Complex, admittance
from probe.stage.quantities import nearest, open_take

Array = NDArray[np.float64]

TAKES = (
    "inject-cold",
    "inject-hot",
    "load-cold",
    "load-hot",
    "load-across",
    "single-ended",
    "second-open",
    "inject-cold-off",
)
"""Every take that can be named, gentlest first."""

LOAD_OHM, ACROSS_OHM, INJECT_OHM, INJECT_VOLTS = 604.0, 1210.0, 1.0e4, 0.3
TELLS = 6.0
"""Standard deviations that tell two stages apart."""

TONES_HZ = (1.0e3, 1.0e4)
NOISE_VOLTS = 5.0e-6

BUILD_OUT = (30.0, 100.0, 470.0)

RECORDER_OHM = 2.0e4
"""Input of a recorder that nothing is known of yet."""


@dataclass(frozen=True)
class Next:
    """The take to make next and why; ``take`` is None where nothing is open."""

    take: str | None
    reason: str | None


@dataclass(frozen=True)
class _Known:
    """What every possible stage must agree with, at a few tones: (K, 2) and (K, 2, 2)."""

    hz: Array
    volts: Complex
    y: Complex


def next_take(
    identified: Identified,
    evidence: Evidence,
    verdict: Verdict,
    available: Collection[str] = TAKES,
) -> Next:
    """Name the take that separates most of what is still possible, of those that can be made."""
    if verdict.kind != "undetermined":
        return Next(None, None)
    known = _known(identified)
    if known is None and identified.clipped:
        return Next("second-open", _lower(identified.clipped))
    if known is None:
        return Next("second-open", "no take hears both legs open while the device plays")
    kinds = [p.kind for p in verdict.also_possible]
    doubt = evidence.inputs
    by_pair = doubt is not None and bool(doubt.pair[0]) and set(kinds) <= set(FLOATING)
    if by_pair and doubt is not None and not doubt.alone:
        return Next(None, "a take that hears one leg alone tells the pair from the inputs")
    if by_pair or verdict.by_inputs:
        return Next(None, "no take tells a leg from the recorder's own input: measure that input")
    if verdict.alike:
        return Next(None, "no take tells more: what is still possible is the same at the terminals")
    if verdict.unlike and evidence.hot is not None and evidence.cold is not None:
        return Next(None, "no take tells more: both legs were measured, and fit no kind")
    legs = _leg(evidence, "hot"), _leg(evidence, "cold")
    if set(kinds) <= set(FLOATING) and evidence.common_mode_angle is not None:
        return Next(None, "no take tells more: what holds a leg near pin 1 hides a winding")
    stages = {k: _stages(k, known, *legs) for k in kinds}
    made = _made(identified)
    scores = {t: _separated(t, stages, known) for t in TAKES[:5] if t in available}
    fresh = {t: s for t, s in scores.items() if t not in made} or scores
    if verdict.missing:
        leg = verdict.missing
        for take in (f"inject-{leg}", f"load-{leg}"):
            if take in fresh and take not in made:
                return Next(take, f"the kind hangs on the {leg} leg's impedance, not measured yet")
    best = max(fresh, key=lambda t: (len(fresh[t]), -TAKES.index(t)), default=None)
    if best is None or not fresh[best]:
        return Next("second-open", "repeating the open take narrows what the levels allow")
    told = sorted({kind for pair in fresh[best] for kind in pair})
    total = len(list(combinations(kinds, 2)))
    reason = (
        f"it tells apart {len(fresh[best])} of {total} pairs of what is still possible "
        f"({', '.join(told)})"
    )
    return Next(best, f"made again, its figures checked: {reason}" if best in made else reason)


def _lower(clipped: tuple[str, ...]) -> str:
    """Say that takes are wanted again, gentler."""
    names = f'"{clipped[0]}"' if len(clipped) == 1 else f"{len(clipped)} takes with both legs"
    return (
        f"{names} clip: play half as loud or less (or turn the recorder's input down where that "
        "is what clips) and take them again, an open one first"
    )


def told_apart(
    takes: Collection[str], kinds: Sequence[str], legs_volts: tuple[complex, complex]
) -> set[tuple[str, str]]:
    """Return the pairs of kinds that takes would tell apart on a stage not measured yet.

    Parameters
    ----------
    takes
        Words of `TAKES`; others tell nothing here.
    kinds
        Those that would all look alike in the open take.
    legs_volts
        What the open take shows on hot and cold.
    """
    hz = np.array(TONES_HZ)
    volts = np.tile(np.array(legs_volts, dtype=np.complex128), (len(hz), 1))
    y = np.tile(np.eye(2, dtype=np.complex128) / RECORDER_OHM, (len(hz), 1, 1))
    known = _Known(hz, volts, y)
    stages = {k: _stages(k, known, BUILD_OUT, BUILD_OUT) for k in kinds}
    found: set[tuple[str, str]] = set()
    for take in takes:
        if take in TAKES[:5]:
            found |= set(_separated(take, stages, known))
    return found


def _known(identified: Identified) -> _Known | None:
    t = open_take(identified)
    if t is None or identified.group is None:
        return None
    observed = identified.group.takes[t]
    hz = identified.group.hz[observed.tones]
    rows = sorted({nearest(hz, target) for target in TONES_HZ})
    y = admittance(observed.elements, hz[rows])[:, :2, :2]
    return _Known(hz[rows], observed.volts[rows, :2], y)


def _made(identified: Identified) -> set[str]:
    made = set()
    for p in identified.takes:
        for load in p.take.loads:
            ends = {load.from_, load.to}
            if ends == {"hot", "cold"}:
                made.add("load-across")
            elif "ground" in ends:
                made.add("load-" + (ends - {"ground"}).pop())
        made |= {f"inject-{i.into}" for i in p.take.injections if i.volts > 0.0}
    return made


def _leg(evidence: Evidence, leg: str) -> tuple[complex, ...]:
    column = evidence.hot if leg == "hot" else evidence.cold
    return BUILD_OUT if column is None else (column.own.value,)


def _stages(
    kind: str, known: _Known, hots: tuple[complex, ...], colds: tuple[complex, ...]
) -> list[Complex]:
    """Impedance matrices (K, 2, 2) of stages of a kind, leg coordinates."""
    hz, ones = known.hz, np.ones(len(known.hz), dtype=np.complex128)
    swap = abs(known.volts[0, 1]) > abs(known.volts[0, 0])
    if swap:
        hots, colds = colds, hots
    made = []
    if kind == "differential":
        made = [_matrix(a * ones, b * ones) for a, b in product(hots, colds)]
    elif kind == "electronically-floating":
        made = [_floating(50.0, m * ones) for m in (600.0, 4e3, 2e4)]
    elif kind == "transformer-coupled":
        made = [_floating(90.0, _capacitor(hz, c)) for c in (2e-10, 6e-10, 5e-9)]
        made.append(_matrix(32.0 * ones, 32.0 * ones, -12.0 * ones, -12.0 * ones))
    elif kind == "ground-sensing":
        made = [_matrix(a * ones, b * ones, b * ones) for a, b in product(hots, colds)]
    elif kind == "impedance-balanced":
        made = [_matrix(a * ones, a * ones) for a in (colds if len(colds) == 1 else hots)]
    elif kind == "unbalanced":
        made = [_matrix(a * ones, 0.05 * ones) for a in hots]
    elif kind == "pin-3-unconnected":
        made = [_matrix(a * ones, _capacitor(hz, 8e-11)) for a in hots]
    elif kind == "faulty":
        made = [_matrix(a * ones, b * ones) for a, b in product(hots, (*colds, 2e4))]
    if swap:
        made = [z[:, ::-1, ::-1] for z in made]
    return made


def _capacitor(hz: Array, farad: float) -> Complex:
    return np.asarray(1.0 / (2j * np.pi * hz * farad), dtype=np.complex128)


def _matrix(
    hot: Complex | Array,
    cold: Complex | Array,
    into_hot: Complex | Array | float = 0.0,
    into_cold: Complex | Array | float = 0.0,
) -> Complex:
    z = np.zeros((len(hot), 2, 2), dtype=np.complex128)
    z[:, 0, 0], z[:, 1, 1], z[:, 0, 1], z[:, 1, 0] = hot, cold, into_hot, into_cold
    return z


def _floating(difference: float, mean: Complex | Array) -> Complex:
    quarter = difference / 4.0
    return _matrix(mean + quarter, mean + quarter, mean - quarter, mean - quarter)


def _voltages(take: str, z: Complex, known: _Known) -> Complex:
    """Leg voltages of a take on a stage that agrees with the open take, shape (K, 2)."""
    eye = np.eye(2)
    played = 0.0 if take.startswith("inject") else 1.0
    voc = np.einsum("kij,kj->ki", eye + z @ known.y, known.volts)
    extra = np.zeros((2, 2))
    current = np.zeros(2)
    if take == "load-hot":
        extra[0, 0] = 1.0 / LOAD_OHM
    elif take == "load-cold":
        extra[1, 1] = 1.0 / LOAD_OHM
    elif take == "load-across":
        extra = np.array([[1.0, -1.0], [-1.0, 1.0]]) / ACROSS_OHM
    else:
        leg = 0 if take == "inject-hot" else 1
        extra[leg, leg] = 1.0 / INJECT_OHM
        current[leg] = INJECT_VOLTS / INJECT_OHM
    drive = played * voc + z @ current
    return np.asarray(np.linalg.solve(eye + z @ (known.y + extra), drive[..., None])[..., 0])


def _separated(take: str, stages: dict[str, list[Complex]], known: _Known) -> list[tuple[str, str]]:
    """Pairs of kinds that a take tells apart."""
    seen = {kind: [_voltages(take, z, known) for z in made] for kind, made in stages.items()}
    pairs = []
    for one, other in combinations(seen, 2):
        if not seen[one] or not seen[other]:
            continue
        least = min(_distance(a, b, take) for a in seen[one] for b in seen[other])
        if least > TELLS:
            pairs.append((one, other))
    return pairs


def _distance(a: Complex, b: Complex, take: str) -> float:
    """Return the standard deviations between two outcomes; injected phases are not known."""
    if take.startswith("inject"):
        turn = np.sum(a * np.conj(b), axis=1)
        b = b * (turn / np.maximum(np.abs(turn), 1e-300))[:, None]
    level = np.log(10.0) / 20.0 * REPEATABILITY_DB
    size = np.maximum(np.abs(a), np.abs(b))
    sigma = np.hypot(level * size, NOISE_VOLTS) + CROSSTALK * size.max(axis=1, keepdims=True)
    return float(np.sqrt(np.sum((np.abs(a - b) / sigma) ** 2)))
