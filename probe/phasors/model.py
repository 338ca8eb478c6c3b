"""What one take says at each tone: complex amplitudes in volts, with their covariance.

Conventions, for the whole project:

* a phasor is rms: the signal is ``sqrt(2) |v| cos(2 pi f t + angle(v))``
* ``t`` is zero at the first frame of the file and runs on the *player's* clock: tones keep
  their declared frequencies, and a recorder running fast is stretched by ``clock_error``
* frequency is axis 0, channels come after it
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.session.model import Take


@dataclass(frozen=True)
class Remark:
    """Something a reader must be told; ``code`` is from the closed list in docs.

    ``take`` is empty where it is of all takes of a side together.
    """

    code: str
    take: str
    message: str


@dataclass(frozen=True)
class TakePhasors:
    """The tones of one take.

    Attributes
    ----------
    take
        The take itself.
    hz
        Tone frequencies, Hz, shape (F,), ascending: those the device plays and those injected.
    played
        Shape (F,), bool: True where the device plays this tone (``s = 1``).
    injected
        Shape (F, n_injections), bool: True where that injector carries this tone.
    volts
        Shape (F, C), complex, V rms, C = WAV channels. At the first frame of the file.
    noise
        Shape (F, C, C), complex hermitian, V²: covariance ``E[d dᴴ]`` of ``volts`` from the
        recording itself (noise near the tone, hum that cannot be told from it).
        Circularly symmetric: each channel's real and imaginary part has half the variance.
    hum_limited
        Shape (F,), bool: the tone stands on or beside a hum line that dominates its uncertainty.
    clock_error, clock_u
        Relative: recorder rate over nominal rate, as seen from the player, minus one;
        and its standard uncertainty.
    centre_s
        Middle of the steady part, s (player's clock): there the phases are best known; an error
        of the clock turns each phase by ``2 pi f (t - centre_s) * error``.
    steady_s
        First and last instant used, s of the file.
    usable
        False: nothing in this take may be used (clipped, moved, unheard); ``remarks`` says why.
    unheard
        Shape (C,), bool: this channel carries none of the tones above its noise.
    remarks
        What has to be said about the take.
    """

    take: Take
    hz: NDArray[np.float64]
    played: NDArray[np.bool_]
    injected: NDArray[np.bool_]
    volts: NDArray[np.complex128]
    noise: NDArray[np.complex128]
    hum_limited: NDArray[np.bool_]
    clock_error: float
    clock_u: float
    centre_s: float
    steady_s: tuple[float, float]
    usable: bool
    unheard: NDArray[np.bool_]
    remarks: tuple[Remark, ...]
