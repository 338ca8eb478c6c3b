"""The last word on every block: what may be played, and what must not have been heard.

`limit_of` says what an output may give for its purpose; `check` refuses what asks for more, before
anything sounds. `Guard.hold` keeps every sample inside the limit whatever happened before it, and
`Guard.watch` looks at what was heard, on the card's thread, so that the fade begins in the block
that answers the one in which something went wrong.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from probe.bench.stream import limits
from probe.bench.stream.card import Block
from probe.bench.stream.sound import InputScale, OutputScale, Part, Purpose
from probe.bench.stream.stop import Reason, Stop
from probe.errors import BadInput

_TOLERANCE = 1e-6
"""Of float32 rounding, relative; above it a sample was truly beyond its limit."""


def limit_of(part: Part, scale: OutputScale) -> float:
    """Return the largest peak an output may give for its purpose, as a share of full scale.

    Raises
    ------
    BadInput
        Something is injected and the resistance it goes through is not said, or too low.
    """
    volts = _limit_volts(part)
    own = min(scale.most, 1.0)
    return own if volts is None else min(own, volts / scale.volts_for_limits)


def _limit_volts(part: Part) -> float | None:
    match part.purpose:
        case Purpose.INJECT:
            ohm = part.through_ohm
            if ohm is None or not ohm > 0.0:
                raise BadInput(
                    f"output {part.output + 1}: injecting needs a resistor, and its ohms said"
                )
            return min(limits.INJECTED_VOLTS, limits.INJECTED_AMPERE * ohm)
        case Purpose.INJECT_OFF:
            return limits.INJECTED_VOLTS_OFF
        case Purpose.PIN_3_TIE:
            return limits.TIE_VOLTS
        case _:
            return None


def full_scale_peak(part: Part, scale: OutputScale) -> float:
    """Return the peak of a part at 0 dB, as a share of full scale.

    Raises
    ------
    BadInput
        The sound is in volts and the output was never measured.
    """
    return part.sound.peak * unit_of(part, scale)


def unit_of(part: Part, scale: OutputScale) -> float:
    """Return the share of full scale that one unit of the part's sound is."""
    if part.sound.unit == "full-scale":
        return 1.0
    if scale.volts_full_scale is None:
        raise BadInput(
            f"output {part.output + 1}: a level in volts was asked, and nobody has measured what "
            "this output gives; calibrate it with a meter, or ask for a share of full scale"
        )
    return 1.0 / scale.volts_full_scale


def check(part: Part, scale: OutputScale, gain: float) -> None:
    """Refuse a part that would go over its limit at ``gain``.

    Raises
    ------
    BadInput
        It would; the line says by how much.
    """
    if not (math.isfinite(gain) and gain >= 0.0):
        raise BadInput(f"output {part.output + 1}: {gain} is no level")
    peak = full_scale_peak(part, scale) * gain
    limit = limit_of(part, scale)
    if peak > limit * (1.0 + _TOLERANCE):
        over = 20.0 * math.log10(peak / limit) if limit > 0.0 else math.inf
        raise BadInput(
            f"output {part.output + 1}: the peak asked for is {over:.1f} dB above the limit of "
            f"{_limit_words(part, scale)}; ask for less"
        )


def _limit_words(part: Part, scale: OutputScale) -> str:
    volts = _limit_volts(part)
    if volts is None or volts / scale.volts_for_limits > scale.most:
        return f"{20.0 * math.log10(max(min(scale.most, 1.0), 1e-9)):.1f} dB FS set for it"
    measured = "" if scale.volts_full_scale else " (the output was never measured)"
    return f"{volts:g} V peak for this purpose{measured}"


class Guard:
    """Holds the limits of one stream and watches its inputs."""

    def __init__(self, rate: float, inputs: Sequence[InputScale]) -> None:
        self._rate = rate
        self._ceilings = np.array([min(i.ceiling, limits.OVERLOAD) for i in inputs])
        self._loud = np.array([i.ceiling < limits.OVERLOAD for i in inputs])
        self._direct_most = np.array([_direct_share(i) for i in inputs])
        self._direct = np.zeros((2, len(inputs)))
        self._runaway = _Runaway(rate, len(inputs))

    def set_ceilings(self, ceilings: Sequence[float]) -> None:
        """Let each input hear at most this share of full scale from now on."""
        asked = np.asarray(ceilings, dtype=np.float64)
        self._loud = asked < limits.OVERLOAD
        self._ceilings = np.minimum(asked, limits.OVERLOAD)

    @property
    def direct(self) -> NDArray[np.float64]:
        """Direct voltage of each input as averaged now, shares of full scale."""
        return np.array(self._direct[1])

    def hold(self, play: Block, most: NDArray[np.float64]) -> bool:
        """Keep every sample of ``play`` within ``most``, in place; return whether it was already.

        What is no number becomes silence.
        """
        held = True
        for output in range(play.shape[1]):
            column = play[:, output]
            low, high = float(np.min(column)), float(np.max(column))
            limit = float(most[output])
            if not (math.isfinite(low) and math.isfinite(high)):
                np.nan_to_num(column, copy=False, nan=0.0, posinf=0.0, neginf=0.0)
                held = False
            elif max(high, -low) > limit * (1.0 + _TOLERANCE):
                held = False
            np.clip(column, -limit, limit, out=column)
        return held

    def watch(
        self, heard: Block, gains: NDArray[np.float64], sounding: bool, frame: int
    ) -> Stop | None:
        """Look at one block of the inputs; return why the tone must stop, or None.

        Parameters
        ----------
        heard
            Shape (frames, inputs), full scale 1.0.
        gains
            Of what was being played on each output, 0 to 1 and above.
        sounding
            Whether anything is played; if not, direct voltages are followed and nothing else.
        frame
            Of the stream, at the start of the block.
        """
        self._follow_direct(heard)
        if not sounding:
            self._runaway.forget()
            return None
        return (
            self._too_much(heard, frame)
            or self._direct_voltage(frame)
            or self._runaway.look(heard, gains, frame)
        )

    def _too_much(self, heard: Block, frame: int) -> Stop | None:
        peaks = np.maximum(np.max(heard, axis=0), -np.min(heard, axis=0))
        # "not below" also holds where a sample is no number
        over = np.flatnonzero(~(peaks < self._ceilings))
        if over.size == 0:
            return None
        first = int(over[0])
        if self._loud[first] and peaks[first] < limits.OVERLOAD:
            return Stop(
                Reason.TOO_LOUD,
                f"input {first + 1} heard more than this step allows; the tone was faded out",
                first,
                frame,
            )
        return Stop(
            Reason.OVERLOAD,
            f"input {first + 1} was overloaded: turn its gain or the volume down; "
            "the tone was faded out",
            first,
            frame,
        )

    def _follow_direct(self, heard: Block) -> None:
        count = heard.shape[0]
        share = -math.expm1(-count / (limits.DIRECT_TIME_S * self._rate))
        mean = np.nan_to_num(np.mean(heard, axis=0, dtype=np.float64))
        self._direct[0] += share * (mean - self._direct[0])
        self._direct[1] += share * (self._direct[0] - self._direct[1])

    def _direct_voltage(self, frame: int) -> Stop | None:
        over = np.flatnonzero(np.abs(self._direct[1]) > self._direct_most)
        if over.size == 0:
            return None
        first = int(over[0])
        return Stop(
            Reason.DIRECT_VOLTAGE,
            f"input {first + 1} shows a direct voltage: disconnect it and meter the output; "
            "the tone was faded out",
            first,
            frame,
        )


def _direct_share(scale: InputScale) -> float:
    if scale.volts_full_scale is None:
        return limits.DIRECT_SHARE
    # A converter's own offset must not pass for a direct voltage on a coarse scale.
    return max(limits.DIRECT_VOLTS / scale.volts_full_scale, 0.01)


class _Runaway:
    """Finds a level that grows by itself: over what was played, look after look, unabated.

    What is played on several outputs makes what is heard grow at most by as much as the one among
    them that grows most; that much is no surprise, however late the card lets it be heard.
    """

    def __init__(self, rate: float, inputs: int) -> None:
        self._window = max(1, round(limits.RUNAWAY_WINDOW_S * rate))
        self._inputs = inputs
        self._last = np.zeros(inputs)
        self._growth = np.zeros((limits.RUNAWAY_WINDOWS, inputs))
        self._rises = np.zeros(round(limits.RUNAWAY_LATENCY_S / limits.RUNAWAY_WINDOW_S))
        self.forget()

    def forget(self) -> None:
        """Begin anew."""
        self._looks = 0
        self._frames = 0
        self._power = np.zeros(self._inputs)
        self._loudest = 0.0
        self._risen_db = 0.0
        self._rises[:] = 0.0
        self._gains: NDArray[np.float64] | None = None

    def look(self, heard: Block, gains: NDArray[np.float64], frame: int) -> Stop | None:
        """Take one block; return a stop when the last looks all grew."""
        gain = float(np.max(gains))
        if gain < 0.5 * self._loudest:
            self.forget()  # that tone ended; what comes up now is another one, from its beginning
        self._expect(gains)
        self._power += np.einsum("ij,ij->j", heard, heard, dtype=np.float64)
        self._frames += heard.shape[0]
        self._loudest = max(self._loudest, gain)
        if self._frames < self._window:
            return None
        level = np.sqrt(self._power / self._frames)
        self._rises = np.roll(self._rises, -1)
        self._rises[-1], self._risen_db = self._risen_db, 0.0
        grown = 20.0 * np.log10(np.maximum(level, 1e-12)) - self._last
        self._last = self._last + grown
        self._growth = np.roll(self._growth, -1, axis=0)
        self._growth[-1] = grown - np.max(self._rises)
        self._looks += 1
        self._frames = 0
        self._power[:] = 0.0
        if self._looks <= limits.RUNAWAY_WINDOWS:
            return None
        return self._judge(level, frame)

    def _expect(self, gains: NDArray[np.float64]) -> None:
        """Count what the outputs rose by since the block before."""
        earlier, self._gains = self._gains, np.array(gains)
        if earlier is None:
            return
        playing = (earlier > 0.0) & (gains > earlier)
        if np.any(playing):
            self._risen_db += float(np.max(20.0 * np.log10(gains[playing] / earlier[playing])))

    def _judge(self, level: NDArray[np.float64], frame: int) -> Stop | None:
        growth = self._growth
        half = limits.RUNAWAY_WINDOWS // 2
        unabated = growth[half:].sum(axis=0) >= 0.9 * growth[:half].sum(axis=0)
        grown = np.all(growth >= limits.RUNAWAY_DB, axis=0)
        found = np.flatnonzero(grown & unabated & (level >= limits.RUNAWAY_LEAST))
        if found.size == 0:
            return None
        first = int(found[0])
        return Stop(
            Reason.RUNAWAY,
            f"the level at input {first + 1} grew by itself: an output is fed back to an input, "
            "look for monitoring in the interface's mixer; the tone was faded out",
            first,
            frame,
        )
