"""Every limit of this room, in one place, each with its reason."""

from __future__ import annotations

CLOCK_RANGE = 600e-6
"""Largest clock error looked for: 500 ppm is the worst that is promised, plus a margin."""

SPEEDS = (44100 / 48000, 48000 / 44100, 0.5, 2.0, 88200 / 96000, 32000 / 48000, 1.5)
"""Wrong speeds looked for: a file taken for one of another usual rate."""

LEAST_S = 2.5
"""Shorter recordings hold too few looks to tell noise from what moves."""

LOOK_S = 0.1
"""Of one look at the tones: neighbours 40 Hz away do not touch."""

LEAST_HZ = 400.0
"""Tones below are not followed in time: hum stands beside them within a look."""

HEARD = 30.0
"""Rms of the tones over what stands beside them in their own bins, from which they are heard."""

FOUND_TONES = 5
"""So many of the tones followed must stand out, or nothing was heard; five of seven leave room for
a cut band."""

CUT_DB, DULL_DB = -20.0, -6.0
"""Top tone against the one below it. A converter that holds its samples loses 3 dB at 19.5 kHz of
44.1 kHz, a slow filter as much again; 20 dB are no filter that was made for music."""

DRIFT_DB = 0.1
"""Range of the level over a take, means of half a second: thirty times what a line output does."""

DRIFT_SIGMAS = 7.0
"""The same over its own noise."""

TWO_LEVELS_DB = 0.15
"""Difference of two files' levels against what was written: digital volume is exact, an analogue
stage compresses less than this anywhere below its clipping."""

JUMP_RAD = 0.25
"""Turn of the median tone between looks that share no sample, beyond the clock's: 20 us at 2 kHz,
one sample."""

GAP = 0.5
"""Share of the usual level below which a look is a hole."""

NEAR_HZ, NEAR_SHARE = (20.0, 90.0), 0.05
"""Noise beside a tone is taken from the first to the second distance, or to this share of the tone
where that is wider: inside a band of hearing, outside the foot of a tone that drifts a little."""

SHAPED_RATIO = 8.0
"""Noise beside a tone over that half way to its neighbours: 9 dB. Noise of circuits rises or falls
smoothly over an octave, so near the tone it is the geometric mean of both."""

SHAPED_LEAST = 10.0 ** (-80.0 / 10.0)
"""Noise in the band beside a tone, over the tone, below which nobody codes: 80 dB down."""

SHAPED_TONES, SHAPED_LOW_TONES, SHAPED_LOW_HZ = 4, 2, 3000.0
"""Of seven tones, and of those that are low: an unsteady clock makes feet too, but as the
frequency rises, and not below 3 kHz."""

IMAGE_RATIO = 60.0
"""Power of a predicted line over the noise around it; by chance once in 1e4 lines and less."""

IMAGE_LEAST = 10.0 ** (-95.0 / 10.0)
"""Power of a line over that of a tone, below which it is no image anybody need mind, and hum may
have made it with a tone."""

IMAGE_LINES, IMAGE_SHARE = 4, 0.25
"""So many of the predicted lines, and this share of them."""

CLEAR_HZ = 4.0
"""A predicted line this near to a tone, hum or a product of distortion tells nothing."""

POLARITY_HZ = 40.0
"""Tones below are left out: coupling turns their phase."""

POLARITY_RATIO = 1.06
"""Best match of one polarity over the best of the other: with the bench's own tones the wrong one
reaches 0.86 of the right one at some delay of ten seconds."""

POLARITY_MATCH = 0.93
"""Share of full agreement below which phases are not those of the file."""
