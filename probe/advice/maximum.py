"""How high the device drives an option before it clips.

Levels are solved; maxima are not: what limits a driven pair is each leg's own swing. A stage
that floats and is tied on one leg must swing the whole level on the other one, and clips about
6 dB earlier than the pair; a winding is limited by its flux, which the tie does not change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.advice.quantity import Quantity, from_draws
from probe.advice.solve import Response

Floats = NDArray[np.float64]

LEG_LIMITED_KINDS = ("electronically-floating",)
"""Kinds that move the level from a tied leg to the other one with the swing of that leg."""


FULL_OUTPUT = (
    "the stated full output is taken as the most it gives: no maximum is stated or measured"
)


@dataclass(frozen=True)
class Most:
    """The most an output gives undistorted, V rms, with the ends of its interval.

    ``at_least``: it was still clean there; what it gives at most is not known.
    """

    volts: float
    low: float
    high: float
    at_least: bool = False
    taken_from: str | None = None
    """What was taken for a maximum, where none is stated or measured."""

    @classmethod
    def declared(cls, volts: float) -> Most:
        """Return the stated full output as the most there is."""
        return cls(volts, volts, volts, taken_from=FULL_OUTPUT)

    @classmethod
    def of(cls, fact: Mapping[str, Any] | None) -> Most | None:
        """Return the maximum a fact states, None where there is none."""
        value = None if fact is None else fact.get("value")
        if fact is None or not isinstance(value, int | float) or value <= 0.0:
            return None
        u95 = float(fact.get("u95", 0.0))
        low, high = float(fact.get("low", value - u95)), float(fact.get("high", value + u95))
        return cls(float(value), max(low, 0.0), high, fact.get("bound") == "above")

    def doubted(self, clips: Quantity) -> Quantity:
        """Return where an option clips with the doubt of the maximum added to its own."""
        down = np.hypot(clips.value - clips.low, clips.value * (1.0 - self.low / self.volts))
        up = np.hypot(clips.high - clips.value, clips.value * (self.high / self.volts - 1.0))
        low, high = max(clips.value - float(down), 0.0), clips.value + float(up)
        bounded = replace(clips, low=low, high=high, bound="above" if self.at_least else None)
        return bounded.with_note(self.taken_from)


@dataclass(frozen=True)
class Limits:
    """What the device gives undistorted, V rms; None: not known.

    Attributes
    ----------
    differential, single_ended
        Between pins 2 and 3, and on the RCA centre, both open.
    base
        Shape (N,): the level on which ``differential`` stands, at the measured drive.
    single
        Shape (N,): the open single-ended level at the measured drive.
    kind
        The kind the stage is taken to be.
    alike
        What is known of the pair alone is taken for the single-ended output, too.
    tied
        What a leg gives by itself, where the other one is tied.
    """

    differential: Most | None
    single_ended: Most | None
    base: Floats
    single: Floats
    kind: str
    alike: bool = True
    tied: Most | None = None

    def key(self, output: str) -> tuple[object, ...]:
        """Return what tells one from another at an output (``xlr``, ``rca``)."""
        return self._keys[output]

    @cached_property
    def _keys(self) -> dict[str, tuple[object, ...]]:
        single = self.base if self.single_ended is None else self.single
        held = self.kind in LEG_LIMITED_KINDS
        return {
            "xlr": (self.differential, self.base.tobytes(), held, self.tied),
            "rca": (self._single_most, single.tobytes()),
        }

    @property
    def _single_most(self) -> Most | None:
        return self.single_ended or (self.differential if self.alike else None)

    def at_input(self, response: Response) -> Quantity | None:
        """Return the level at the input when the device begins to clip, V rms."""
        level = np.abs(response.level[:, response.at])
        single = "single-ended" in response.pins
        most = self._single_most if single else self.differential
        if most is None:
            return None
        if self.tied is not None and not single and self._moved(response):
            most = self.tied
        volts = self._single_ended(level) if single else self._pair(response, level, most)
        found = from_draws(volts, "V", float(response.hz[response.at]))
        return None if found is None else most.doubted(found)

    def _pair(self, response: Response, level: Floats, most: Most) -> Floats:
        if not self._moved(response):
            return np.asarray(level * most.volts / self.base)
        leg = np.maximum(np.max([np.abs(response.pins[p]) for p in ("hot", "cold")], 0), 1e-30)
        if most is self.tied:
            return np.asarray(level * most.volts / leg)
        # a leg alone is sure to give half of what the pair gives, and may give no more
        return np.asarray(level * np.minimum(most.volts / self.base, most.volts / 2.0 / leg))

    def _moved(self, response: Response) -> bool:
        """Tell whether a leg swings the whole level by itself."""
        return self.kind in LEG_LIMITED_KINDS and response.leg_held

    def _single_ended(self, level: Floats) -> Floats:
        if self.single_ended is not None:
            return np.asarray(level * self.single_ended.volts / self.single)
        assert self.differential is not None
        return np.asarray(level * self.differential.volts / self.base)
