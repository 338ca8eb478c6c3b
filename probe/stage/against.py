"""Whether what injections show of the legs and what loads show of them can both be true."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.numbers import ohms
from probe.phasors.model import Remark, TakePhasors
from probe.stage.fitted import LEGS, Fit, Known
from probe.stage.inject import carry
from probe.stage.network import Complex
from probe.stage.observations import Group
from probe.stage.realise import Excited
from probe.stage.solve import fit, rest_of_known
from probe.stage.solved import Solved, column_volts, entry_doubt, nearest_tone, untouched_legs

Array = NDArray[np.float64]

DISAGREE_SHARE, DISAGREE_OHM = 0.25, 5.0
"""An injection and the loads contradict each other when their impedances differ by more than this
share, and this many ohm."""

STRAINED = 3.0
"""... and where together they come out this many standard deviations from what injections show."""


@dataclass(frozen=True)
class Loads:
    """The legs as solved from loads, for comparison with injections.

    ``group`` and ``excited``: what was solved; ``solved``: the fit; ``phasors``: of all takes.
    """

    group: Group
    excited: Excited
    solved: Fit
    phasors: tuple[TakePhasors, ...]

    def disagreement(
        self, injected: Solved, loads: Complex, into: tuple[int, ...]
    ) -> tuple[Remark, ...]:
        """Say where an injection and the loads give different legs: one of the takes is wrong.

        Compared near 1 kHz where both are well known, at the device's tone.
        """
        group = self.group
        bare = untouched_legs(group, self.excited, ())[0]
        k, m = nearest_tone(group.hz), nearest_tone(injected.hz)
        for leg in into:
            if leg == group.open_leg or leg in bare or self._deaf(leg):
                continue
            name, other = ("hot", "cold")[leg], ("cold", "hot")[leg]
            ours = column_volts(loads, name)[0, k]
            theirs, carried = _at_tone(injected, name, group.hz[k])
            for row, label in ((leg, name), (1 - leg, other)):
                doubts = (
                    entry_doubt(self.solved, label, name)[k],
                    entry_doubt(injected.fit, label, name)[m],
                    carried,
                )
                doubt = float(np.linalg.norm(doubts))
                apart = abs(abs(ours[row]) - abs(theirs[row]))
                size = max(abs(ours[leg]), abs(theirs[leg]))
                limit = max(6.0 * doubt, DISAGREE_SHARE * size, DISAGREE_OHM)
                if np.isfinite(doubt) and apart > limit:
                    return (self._injection_contradicts(leg, ours[row], theirs[row]),)
        return ()

    def _deaf(self, leg: int) -> bool:
        """Return True where no take hears the injection into a leg on that leg."""
        name = ("hot", "cold")[leg]
        heard = [
            not p.unheard[p.take.channels.index(name)]
            for p in self.phasors
            if name in p.take.channels and any(i.into == name for i in p.take.injections)
        ]
        return not any(heard)

    def _injection_contradicts(self, leg: int, ours: complex, theirs: complex) -> Remark:
        name = ("hot", "cold")[leg]
        take = next(
            p.take.name
            for p in self.phasors
            if any(i.into == name and i.volts > 0.0 for i in p.take.injections)
        )
        if not any(p.take.loads for p in self.phasors):
            message = (
                f"the injection into {name} and the other takes contradict each other "
                f"({ohms(abs(theirs))} against {ohms(abs(ours))}): the level moved between takes, "
                "the volts declared for the injection or volts_full_scale of an input are wrong, "
                "or leads were exchanged. Check these, then repeat it and the open take"
            )
            return Remark("contradicting-take", take, message)
        message = (
            f"the injection into {name} and the loads contradict each other ({ohms(abs(theirs))} "
            f"against {ohms(abs(ours))}): the volts declared for the injection or "
            "volts_full_scale of an input are wrong, or one of them was not plugged as declared, "
            "or leads were exchanged. Check the typed figures first, then repeat both"
        )
        return Remark("contradicting-take", take, message)

    def strained(self, known: tuple[Known, ...], level: float) -> bool:
        """Return True where the loads pull what only injections show out of its doubt.

        A resistor across the legs shows neither by itself, but not any two.

        Parameters
        ----------
        known
            Entries that only injections show, at the device's tones.
        level
            Repeatability between takes, relative.
        """
        if not known:
            return False
        share = DISAGREE_SHARE / STRAINED
        loose = tuple(replace(one, sigma=_looser(one, share)) for one in known)
        joint = fit(self.group, LEGS, level=level, excited=self.excited, known=loose)
        off = np.abs(rest_of_known(LEGS, loose, joint.theta)).max(axis=(0, 2))
        return bool(np.median(off) > STRAINED)


def _looser(one: Known, share: float) -> Array:
    """Return the doubt of known entries, widened by a share of the largest of each column."""
    size = np.abs(one.volts[0]).max(axis=-1)[:, None]
    return np.asarray(np.hypot(one.sigma, share * size))


def _at_tone(injected: Solved, name: str, hz: float) -> tuple[Complex, float]:
    """Return a leg's injected column at a tone of the device, and the doubt of carrying it there.

    Where no law carries it, as it is at the nearest injected tone, as doubtful as a capacitor's.
    """
    volts = column_volts(injected.theta[:1], name)
    there, doubt = carry(injected.hz, volts, np.array([hz]))
    if np.isfinite(doubt[0]):
        return there[0, 0], float(doubt[0])
    m = int(np.argmin(np.abs(np.log(injected.hz / hz))))
    octaves = abs(float(np.log(injected.hz[m] / hz)))
    return volts[0, m], octaves * float(np.abs(volts[0, m]).max())
