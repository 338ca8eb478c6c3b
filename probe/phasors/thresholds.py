"""Every limit of this room, in one place, each with its reason."""

from __future__ import annotations

CLOCK_RANGE = 600e-6
"""Largest recorder rate error looked for: 500 ppm is the worst promised, plus a margin."""

CLOCK_PRIOR = 500e-6
"""Standard deviation of the rate error before a recording is seen: decides only where the tones
say less than that (a short record of low tones), and keeps such an estimate finite."""

CROWDED = 1.001
"""Gain of noise from which lines count as too close for their clock to be judged line by line."""

CLOCK_STEPS = 2
"""Corrections of the clock once the noise is known; it was nearly right before."""

CLOCK_STEPS_CROWDED = 8
"""The same where lines stand close together and the first corrections fall short."""

CLOCK_ENOUGH = 0.02
"""The clock is settled when a correction is below this share of its uncertainty."""

CLOCK_FOREIGN = 5e-6
"""Above this the recorder runs on a clock of its own; one clock for both reads 0."""

BLOCK_SECONDS = 0.011
"""Longest projection block: short enough to see where a tone starts and stops."""

BLOCK_CYCLES = 0.07
"""Most cycles a tone may slip within one block at ``CLOCK_RANGE``: costs 0.8 % of amplitude in
the projection, so 0.8 % in the spread, which the Cramér-Rao margin of 5 % can bear."""

READ_FRAMES = 65536
"""Frames read at a time; a multiple of every block length."""

TABLE_BLOCKS = 2048
"""Blocks kept before pairs are merged: bounds memory and time (11 s at 48 kHz)."""

TABLE_BLOCKS_UNCLOCKED = 16384
"""The same while no tone has been heard, so the clock for merging is not known yet."""

GUESS_ROWS = 1024
"""Rows a clock for merging is taken from: enough for the few rows a merger spans."""

CHUNK_SECONDS = 0.05
"""Resolution of the search for the steady part: one period of 20 Hz."""

CHUNK_PERIODS = 6.0
"""Periods a tone should have in a chunk to judge steadiness by it, if there are such tones."""

JUDGE_ENERGY = 1e-2
"""Share of the strongest tone's energy from which a tone has a say about steadiness."""

CORE_ENERGY = 0.25
"""A chunk belongs to the core of the tone above this share of the usual tone energy (-6 dB)."""

STEADY_GAIN = 0.0116
"""Gain against the model beyond which the level moved: 0.1 dB (also 0.0116 rad)."""

EDGE_GAIN = 1e-3
"""At the ends of the steady part: one 50 ms chunk off by this in 4 s changes a level by 1e-5."""

GAIN_SIGMAS = 5.0
"""Plain noise never shrinks the steady part: exp(-25) per chunk and channel."""

GAIN_BLIND = 0.5
"""A channel whose chunk gain is known no better than this cannot judge steadiness."""

BEARABLE = 3.0
"""So many times what white noise beside a tone makes of a chunk's gain may be blamed on noise:
coloured noise is stronger at the tone than in the rows around it."""

BEARABLE_LEAST = 0.01
"""Scatter of a chunk's gain that is believed in any case: clocks wander, tones breathe."""

BEARABLE_CHUNKS = 4
"""Chunks in a window from which noise beside the tones can be told."""

PLATEAU_CHUNKS = 3
"""So many chunks outside the steady part that agree with each other are a level, not a fade."""

PLATEAU_SWING = 0.25
"""... within this share of their distance from the steady level."""

SILENT_GAIN = 0.1
"""Below this share of the steady level a plateau is not called a level (-20 dB)."""

MIN_SECONDS = 0.2
"""Shortest steady part anything is concluded from."""

MIN_PERIODS = 2.0
"""Fewest periods of a tone in the steady part; below, its image cannot be told from offset."""

CLIP_LEVEL = 10.0 ** (-0.5 / 20.0)
"""Samples above this share of full scale count as clipped: within 0.5 dB of full scale."""

FLAT_RUN = 4
"""Equal extreme samples in a row that make a flat top, beyond what a sine of that kind has."""

FLAT_PLACES = 3
"""Places in the file with such a run: one may be chance."""

HEARD = 12.0
"""``|v|²`` over its variance for a tone to count as heard: noise does that with exp(-12)."""

STRONG_SIGMAS = 30.0
"""A device tone below this many standard deviations on every leg is weak: it adds error, and
a current computed from it would be noise."""

NOISE_BINS = 20
"""Bins of 1/T on each side of a tone from which its noise is estimated."""

NOISE_BAND = 0.35
"""... but never further than this share of the tone's frequency: noise is coloured (1/f noise
averaged over this band is 4 % above its value at the tone)."""

NOISE_MIN_BINS = 8
"""Fewest bins a noise estimate rests on; low tones of short records reach upward for them."""

NOISE_OUTLIER = 10.0
"""A bin above this many medians holds a line, not noise (noise does that once in 1000)."""

MAINS_RANGE = 0.0025
"""Relative range of the mains frequency round its nominal value (0.2 % and a margin)."""

HUM_ALWAYS = 10
"""Mains harmonics always looked at."""

HUM_TOP_HZ = 2500.0
"""Above this, mains harmonics are not looked at."""

HUM_SEEN = 18.0
"""Power over local noise, above the number of channels, for a hum line to be fitted."""

HUM_RESOLUTION = 1.0
"""A tone nearer to a mains harmonic than this over T cannot be told from it."""

HUM_FALL = 1.5
"""Exponent by which hum harmonics fall with their order, at the most (common practice)."""

HUM_NEIGHBOURS = 4
"""Harmonics this many orders away still tell of the one under a tone."""

HUM_FAR_NEIGHBOURS = 9
"""The same for visible harmonics beside a low order, where hum is strong and uneven."""

HUM_LOW_ORDERS = 8
"""Up to this order a hum line under a tone may exceed its neighbours though they show nothing;
their noise is then taken as hum."""

ROUNDING = 3e-8
"""Noise floor relative to a channel's rms: single precision rounding, 24-bit quantisation."""

FLATTENED_TONES = 3
"""Tones whose tops tell; the flattened top of a single tone is a matter of distortion."""

FLATTENED = 0.97
"""A record whose peak is less of what its tones would reach together is flattened: levels are then
off by percents. Noise, hum and fades only make a record's peak larger."""
