"""The narrowest intervals the takes of a session allow: linearised, from the forward model alone.

At one tone the recorded voltages are a function of the stage (open-circuit voltages and impedance
matrix), of the bench's own errors and of the levels of every take. Its Jacobian, by finite
differences at the true values, with the declared uncertainties as priors and none for the stage,
gives the covariance that no unbiased linear analysis of that tone can beat; the gradient of a
fact turns it into that fact's standard deviation. Delays are taken as known, so where they have
to be found the figure is a little smaller than what can be reached.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from probe.simulate.network import noise_variance
from probe.simulate.spec import TakeSpec

from .drawn import ASSUMED_CROSSTALK, Drawn
from .judged import _IMPEDANCES, _LEVELS, _RATIOS, Judged, TrueFacts

Real = NDArray[np.float64]

TO_MODAL = np.array([[1.0, -1.0, 0.0], [0.5, 0.5, 0.0], [0.0, 0.0, 1.0]])
FROM_MODAL = np.linalg.inv(TO_MODAL)
ORDER = {"hot": 0, "cold": 1, "single-ended": 2}

PHASE_RAD = 1.0e-4
"""What a phase repeats to from take to take, per leg (the analysis reckons with the same). A drift
of levels alone would leave phases exact, and impedances would follow from a thousandth of a degree
that the recorder's capacitance turns them: no bench is that good."""

OPEN_VOLTS = 1.0e3
"""Prior of an open-circuit voltage: as good as none."""

OPEN_OHM = 1.0e8
"""Prior of an impedance: as good as none."""

SUPPORTED = 0.5
"""Facts whose best u95 exceeds this share of their value are bounds at best: not compared."""


class _Tone:
    """One tone of a session as a function of standardised real unknowns."""

    def __init__(self, drawn: Drawn, hz: float) -> None:
        stage = drawn.stage
        self.drawn, self.hz = drawn, hz
        known = TrueFacts(drawn)
        found = known.at(hz)
        self.played = any(hz in t.tones_hz for t in stage.takes if t.plays)
        voc = np.nan_to_num(found.voc[0]) * known.drive * float(self.played)
        self.voc = TO_MODAL @ voc
        self.z = TO_MODAL @ np.nan_to_num(found.z[0]) @ TO_MODAL.T
        self.takes = [t for t in stage.takes if t.state == "play" and self._carries(t)]
        self.names: list[str] = []
        self.size: list[float] = []
        self._list_unknowns()

    def _carries(self, take: TakeSpec) -> bool:
        if self.played:
            return take.plays and self.hz in take.tones_hz
        return any(self.hz in i.tones_hz for i in take.injections)

    def _add(self, name: str, size: float) -> None:
        if name not in self.names:
            self.names.append(name)
            self.size.append(size)

    def _list_unknowns(self) -> None:
        if self.played:
            for k in range(3):
                self._add(f"voc {k} re", OPEN_VOLTS)
                self._add(f"voc {k} im", OPEN_VOLTS)
        # what currents of the legs do to the single-ended output is nothing to the analysis
        # unless a take shows it; the reverse is free
        for row, column in ((0, 0), (0, 1), (1, 0), (1, 1), (0, 2), (1, 2), (2, 2)):
            self._add(f"z {row}{column} re", OPEN_OHM)
            self._add(f"z {row}{column} im", OPEN_OHM)
        level = self.drawn.drift_db * math.log(10.0) / 20.0
        spread = ASSUMED_CROSSTALK * math.sqrt(1.0 + (self.hz / 1e4) ** 2) / math.sqrt(2.0)
        for t, take in enumerate(self.takes):
            for c, _ in self._heard(take):
                inlet = take.inputs[c]
                self._add(f"gain {c}", inlet.u95_relative / 2)
                self._add(f"ohm {c}", inlet.impedance_u95_relative / 2)
                self._add(f"farad {c}", inlet.capacitance_u95_farad / 2)
                self._add(f"level {t} {c}", level)
                self._add(f"phase {t} {c}", PHASE_RAD)
                for other, _ in self._heard(take):
                    if other != c:
                        self._add(f"cross {c}{other} re", spread)
                        self._add(f"cross {c}{other} im", spread)
            for load in take.loads:
                self._add(f"part {load.part}", load.u95_relative / 2)
            for injection in take.injections:
                self._add(f"part {injection.part}", injection.u95_relative / 2)
                if not self.played:
                    self._add("volts", injection.volts_u95_relative / 2)
                    self._add(f"turn {t}", math.pi)

    @staticmethod
    def _heard(take: TakeSpec) -> list[tuple[int, int]]:
        return [(c, ORDER[n]) for c, n in enumerate(take.channels) if n in ORDER]

    def stage_of(self, x: Real) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Open-circuit voltages and impedances of the terminals for unknowns ``x``."""
        value = dict(zip(self.names, x * self.size, strict=True))
        voc, z = self.voc.copy(), self.z.copy()
        for name, v in value.items():
            words = name.split()
            unit = 1j if words[-1] == "im" else 1.0
            if words[0] == "voc":
                voc[int(words[1])] += unit * v
            elif words[0] == "z":
                z[int(words[1][0]), int(words[1][1])] += unit * v
        return voc, z

    def legs_of(self, x: Real) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """The same at hot, cold and single-ended."""
        voc, z = self.stage_of(x)
        return FROM_MODAL @ voc, FROM_MODAL @ z @ FROM_MODAL.T

    def seen(self, x: Real) -> Real:
        """Everything recorded at this tone, whitened by its noise, real and imaginary."""
        value = dict(zip(self.names, x * self.size, strict=True))
        true = self.drawn.stage.true
        voc, z = self.stage_of(x)
        out: list[float] = []
        for t, take in enumerate(self.takes):
            heard = self._heard(take)
            y = np.zeros((3, 3), dtype=np.complex128)
            j = np.zeros(3, dtype=np.complex128)
            for c, p in heard:
                ohm = true.inputs[c].ohm * (1.0 + value[f"ohm {c}"])
                farad = true.inputs[c].farad + value[f"farad {c}"]
                y[p, p] += 1.0 / ohm + 2j * math.pi * self.hz * farad
            for load in take.loads:
                a = np.zeros(3)
                for end, sign in ((load.from_, 1.0), (load.to, -1.0)):
                    if end in ORDER:
                        a[ORDER[end]] += sign
                ohm = load.ohm * true.parts[load.part] * (1.0 + value[f"part {load.part}"])
                y += np.outer(a, a) / ohm
            for injection in take.injections:
                p = ORDER[injection.into]
                error = 1.0 + value[f"part {injection.part}"]
                ohm = injection.through_ohm * true.parts[injection.part] * error
                y[p, p] += 1.0 / ohm
                if not self.played:
                    emf = injection.volts * true.injector * (1.0 + value["volts"])
                    j[p] += emf / ohm * np.exp(1j * value[f"turn {t}"])
            modal_y = FROM_MODAL.T @ y @ FROM_MODAL
            drive = voc + z @ (FROM_MODAL.T @ j)
            volts = FROM_MODAL @ np.linalg.solve(np.eye(3) + z @ modal_y, drive)
            sigma = np.sqrt(noise_variance(self.drawn.stage, take, [self.hz])[0] / 2.0)
            for c, p in heard:
                one = volts[p]
                for other, q in heard:
                    if other != c:
                        one = one + volts[q] * complex(
                            value[f"cross {c}{other} re"], value[f"cross {c}{other} im"]
                        )
                moved = value[f"level {t} {c}"] + 1j * value[f"phase {t} {c}"]
                one = one * (1.0 + value[f"gain {c}"] + moved)
                out += [one.real / sigma[c], one.imag / sigma[c]]
        return np.array(out)

    def spread(self) -> Callable[[Callable[[Real], float]], float]:
        """Return a function that gives the standard deviation of a fact."""
        count = len(self.names)
        step = np.array([self._step(n) for n in self.names])
        jacobian = np.stack([self._slope(self.seen, k, step[k]) for k in range(count)], axis=1)
        _, s, vh = np.linalg.svd(jacobian, full_matrices=True)
        strength = np.zeros(count)
        strength[: len(s)] = s
        share = 1.0 / np.sqrt(1.0 + strength**2)

        def of(fact: Callable[[Real], float]) -> float:
            slope = np.array([self._slope(fact, k, step[k]) for k in range(count)])
            return float(np.linalg.norm((vh @ slope) * share))

        return of

    def _step(self, name: str) -> float:
        """A step of a standardised unknown that is small for the model and large for rounding."""
        words = name.split()
        if words[0] == "voc":
            return 1e-5 * max(float(np.abs(self.voc).max()), 1e-6) / OPEN_VOLTS
        if words[0] == "z":
            own = abs(self.z[int(words[1][0]), int(words[1][1])])
            return 1e-4 * max(float(own), 1.0) / OPEN_OHM
        return 1e-3 if words[0] == "turn" else 1e-2

    def _slope(self, of: Callable[[Real], object], k: int, step: float) -> NDArray[np.float64]:
        x = np.zeros(len(self.names))
        x[k] = step
        ahead = np.asarray(of(x), dtype=np.float64)
        x[k] = -step
        return np.asarray((ahead - np.asarray(of(x), dtype=np.float64)) / (2.0 * step))


def _facts(tone: _Tone) -> dict[str, Callable[[Real], float]]:
    """Every fact as a function of the unknowns."""

    def make(of: Callable[..., object]) -> Callable[[Real], float]:
        return lambda x: float(of(*tone.legs_of(x)))  # type: ignore[arg-type]

    made = {n: make(lambda v, z, f=f: abs(f(v, z))) for n, f in _LEVELS.items()}
    made |= {n: make(lambda v, z, f=f: abs(f(z))) for n, f in _IMPEDANCES.items()}
    made |= {n: make(lambda v, z, f=f: _decibels(*f(v, z))) for n, f in _RATIOS.items()}
    made["coupling_cold_into_hot"] = make(lambda v, z: (z[0, 1] / z[1, 1]).real)
    made["coupling_hot_into_cold"] = make(lambda v, z: (z[1, 0] / z[0, 0]).real)
    made["pin_3_tie_current"] = make(lambda v, z: abs(v[1] / z[1, 1] / (v[0] - v[1])))
    made["leg_phase"] = make(lambda v, z: math.degrees(np.angle(-v[1] / v[0])))
    return made


def _decibels(top: complex, bottom: complex) -> float:
    return 20.0 * math.log10(max(abs(top), 1e-300) / max(abs(bottom), 1e-300))


ROOM = {"coupling": 0.3, "phase": 10.0, "decibels": 3.0}
"""What ``SUPPORTED`` is for facts that are no magnitudes: 1, degrees, dB."""


def _room(name: str, true: float) -> float:
    """The widest best interval with which a fact still counts as supported."""
    if name.startswith("coupling"):
        return ROOM["coupling"]
    if name == "leg_phase":
        return ROOM["phase"]
    return ROOM["decibels"] if name in _RATIOS else SUPPORTED * abs(true)


def optimum_of(drawn: Drawn, judged: list[Judged]) -> dict[str, float]:
    """Return stated u95 over the best one, by fact, where the takes support the fact."""
    ratios = {}
    for hz in sorted({f.at_hz for f in judged}):
        tone = _Tone(drawn, hz)
        made = _facts(tone)
        here = [f for f in judged if f.at_hz == hz and f.form == "interval" and f.name in made]
        if not here or not tone.takes:
            continue
        spread = tone.spread()
        for fact in here:
            best = 1.96 * spread(made[fact.name])
            if 0.0 < best < _room(fact.name, fact.true):
                ratios[fact.name] = (fact.high - fact.low) / 2.0 / best
    return ratios


def supported(drawn: Drawn, names: list[str]) -> list[str]:
    """Return those of the facts that the device's tone nearest 1 kHz supports as values."""
    tones = [f for t in drawn.stage.takes if t.plays for f in t.tones_hz]
    if not names or not tones:
        return []
    hz = min(tones, key=lambda f: abs(f - 1000.0))
    tone, known = _Tone(drawn, hz), TrueFacts(drawn)
    made, spread = _facts(tone), tone.spread()
    return [
        name
        for name in names
        if name not in made or 1.96 * spread(made[name]) < _room(name, known.value(name, hz) or 0.0)
    ]
