"""From what is asked of the outputs to what the player plays, refused where it must not be."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from probe.bench.stream import guard, limits
from probe.bench.stream.player import Voice
from probe.bench.stream.slips import tones_of
from probe.bench.stream.sound import OutputScale, Part
from probe.errors import BadInput


def gain_of(level_db: float) -> float:
    """Return the voltage ratio of a level over a sound's own.

    Raises
    ------
    BadInput
        It is no number, or not a finite one.
    """
    gain = 10.0 ** (level_db / 20.0)
    if not np.isfinite(gain):
        raise BadInput(f"{level_db} dB is no level")
    return float(gain)


def voices_of(
    parts: Sequence[Part], outputs: Sequence[OutputScale], gain: float, rate: float
) -> list[Voice]:
    """Return the voices of these parts, samples in shares of full scale.

    Raises
    ------
    BadInput
        A part would go over its limit at ``gain``, or its output is not there or asked twice.
    """
    seen: set[int] = set()
    voices = []
    for part in parts:
        if not 0 <= part.output < len(outputs) or part.output in seen:
            raise BadInput(
                f"output {part.output + 1}: asked twice, or not there; the stream has "
                f"{len(outputs)}"
            )
        seen.add(part.output)
        voices.append(_voice(part, outputs[part.output], gain, rate))
    return voices


def tones_played(parts: Sequence[Part], rate: float) -> tuple[float, ...]:
    """Return the tones of all loops, Hz."""
    loops = [part.sound.samples for part in parts if part.sound.loop]
    return tuple(hz for samples in loops for hz in tones_of(samples, rate))


def check_taken_back(
    raised: str | None, parts: Sequence[Part], outputs: Sequence[OutputScale], gain: float
) -> None:
    """Refuse a tone while a gain that was raised is not known to have been taken back.

    Raises
    ------
    BadInput
        ``raised`` says what it was, and a part is louder than a probing tone.
    """
    if raised is None:
        return
    peaks = [guard.full_scale_peak(p, outputs[p.output]) * gain for p in parts]
    if max(peaks, default=0.0) > limits.PROBING * 1.001:
        raise BadInput(
            f"{raised} was raised for the take of noise: take it back and let it be checked "
            "before any tone above -60 dB FS"
        )


def _voice(part: Part, scale: OutputScale, gain: float, rate: float) -> Voice:
    guard.check(part, scale, gain)
    samples = part.sound.samples * guard.unit_of(part, scale)
    if not part.sound.loop:
        samples = _edges_faded(samples, round(limits.STOP_FADE_S * rate))
    peak = guard.full_scale_peak(part, scale)
    return Voice(part.output, samples, part.sound.loop, guard.limit_of(part, scale), peak)


def _edges_faded(samples: NDArray[np.float64], frames: int) -> NDArray[np.float64]:
    """Return a copy that begins and ends in a raised cosine."""
    out = np.array(samples)
    count = min(frames, out.size // 2)
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(1, count + 1) / (count + 1))
    out[:count] *= ramp
    out[out.size - count :] *= ramp[::-1]
    return out
