"""What a typed figure may be: far beyond anything that is built, and short of what is a slip.

A figure outside is refused with the limit it broke, wherever it is typed: data sheets of a device,
destinations, parts. Wide on purpose: what is merely unlikely is asked about elsewhere.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field

MOST_VOLTS = 1000.0
"""V rms; no line output, input or ground difference has more. [practice]"""

OHMS = (1e-3, 1e9)
"""A resistance between contacts: from a milliohm, a good join, to a clean insulator. [practice]"""

AMPERES = (1e-9, 100.0)
"""Between chassis: from what no meter shows to a short circuit of the mains. [practice]"""

FARADS = (1e-12, 1e-3)
"""Between chassis: from what any two boxes have. [practice]"""


def _no_less(least: float) -> AfterValidator:
    """Refuse what is above 0 and still less than anything real, in words of its own."""

    def check(value: float) -> float:
        if value < least:
            raise ValueError(f"must be {least:g} or more")
        return value

    return AfterValidator(check)


Level = Annotated[float, Field(gt=0.0, le=MOST_VOLTS), _no_less(1e-6)]
"""V rms of a signal, or that an input takes: from a microvolt, below any microphone's."""

LevelOrNone = Annotated[float, Field(ge=0.0, le=MOST_VOLTS)]
"""The same of what may carry nothing."""

Noise = Annotated[float, Field(ge=1e-10, le=MOST_VOLTS)]
"""V rms; a hundredth of the thermal noise of 1 ohm in the audio band is 0.2 nV (Nyquist)."""

SourceOhm = Annotated[float, Field(ge=0.0, le=1e7)]
"""Impedance of an output; a pin 3 connected to nothing is megohms at most."""

Ohm = Annotated[float, Field(ge=OHMS[0], le=OHMS[1])]
Milliampere = Annotated[float, Field(ge=AMPERES[0] * 1e3, le=AMPERES[1] * 1e3)]
Nanofarad = Annotated[float, Field(ge=FARADS[0] * 1e9, le=FARADS[1] * 1e9)]
Millivolts = Annotated[float, Field(ge=0.0, le=MOST_VOLTS * 1e3)]

Length = Annotated[float, Field(gt=0.0, le=1000.0), _no_less(0.01)]
"""m of a lead, a centimetre for a plug-in adapter."""

PicofaradPerMetre = Annotated[float, Field(ge=0.0, le=1e5)]
MilliohmPerMetre = Annotated[float, Field(ge=0.0, le=1e6)]
Milliohm = Annotated[float, Field(ge=0.0, le=1e6)]

Rejection = Annotated[float, Field(ge=0.0, le=200.0)]
"""dB; nothing is known of any input beyond 150 dB."""

Price = Annotated[float, Field(ge=0.0, le=1e9)]
