"""The figures the live bench goes by, each with its reason."""

from __future__ import annotations

from probe.decibels import db_to_ratio

INJECTED_VOLTS = 1.4
"""Peak e.m.f. of an injection into a powered device, all tones together: 0.14 mA at 10 kohm."""

INJECTED_AMPERE = 0.14e-3
"""Peak current of an injection if the leg were a short circuit: 1.4 V through 10 kohm."""

INJECTED_VOLTS_OFF = 50e-3
"""Peak e.m.f. into a device that is switched off: more powers its rails through protection diodes,
and what is measured is not the device that is off."""

TIE_VOLTS = 0.3
"""Of a deliberate tie of pin 3 through 10 ohm: rms on a leg, peak of the drive; at most 6 mA (rms)
flow, which every line output stands."""

LOADED_VOLTS = 8.0
"""Rms on a leg with a 604 ohm, 1/4 W resistor on it: 0.11 W, less than half of what it stands."""

ASSUMED_VOLTS_FULL_SCALE = 17.4
"""Peak volts of an output nobody has measured: +24 dBu, as strong as outputs of interfaces get
(common practice, no source). Assuming more than it gives errs towards quiet."""

OVERLOAD = float(db_to_ratio(-0.5))
"""A sample at or above this share of full scale: the converter is at its end, or nearly so."""

RAMP_FROM = float(db_to_ratio(-60.0))
"""Every tone begins at this peak (of full scale): audible in no loudspeaker that was forgotten."""

RAMP_DB_PER_S = 40.0
"""A tone comes up by this: a second and a half to full scale, time to pull a plug."""

FADE_S = 0.02
"""Ordinary fade, raised cosine: its spectrum ends before it is heard as a click."""

STOP_FADE_S = 0.010
"""Fade when something went wrong: half of the 20 ms in which the tone must be gone, so that the
other half is left for the block during which it was noticed."""

SETTLE_S = 0.3
"""Between the end of a ramp and the first sample kept: longer than any card's latency, and than
filters that ring."""

STALLED_S = 4.0
"""No block for this long: the card is gone, whatever it says. Blocks take 0.1 s at the most, and a
sound server waits a second or two for a client that hangs."""

RING_S = 10.0
"""What is kept between the card and the disk: a disk that sleeps wakes within this."""

HEADER_S = 0.5
"""The header of a take being recorded says how long it is, at least this often."""

DIRECT_VOLTS = 0.1
"""Direct voltage at an input during a tone: above it nothing should be connected."""

DIRECT_SHARE = 0.05
"""The same where nobody knows what full scale is in volts: offsets of converters stay below 1 %."""

DIRECT_TIME_S = 0.3
"""Time constant of each of the two averages that find a direct voltage: 20 Hz at full scale leaves
less than 0.1 % of itself."""

RUNAWAY_WINDOW_S = 0.05
"""Length of one look at the level, for a level that runs away."""

RUNAWAY_WINDOWS = 6
"""It grows in all of these looks in turn (0.3 s): longer than the latency of any card, during which
what is heard still follows the ramp."""

RUNAWAY_LATENCY_S = 0.8
"""A rise of what was played may be heard as late as this: no card of ordinary make is slower, and
an overload stops the tone at once all the same."""

RUNAWAY_DB = 1.0
"""By at least this in each look, over what was played; and not ever more slowly, as a device that
unmutes gently does."""

RUNAWAY_LEAST = float(db_to_ratio(-40.0))
"""Below this level (rms, of full scale) nothing is in danger yet."""

PROBING = RAMP_FROM
"""Highest peak (of full scale) played while the input gain is not known to have been taken back:
30 to 50 dB too much gain still leave it below overload."""
