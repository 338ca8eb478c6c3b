"""Thresholds of the path evidence, each with its reason.

Figures marked *simulated* come from class-wide draws of generic circuits (amplifier speeds 3 to
50 MHz, filter capacitors of 1 to 5 %, attenuators of several kinds, recorders from -92 to -112
dBV of noise). The spreads are choices about designs, not measurements of devices.
"""

COUPLING = 0.02
"""Leg coupling below which the legs count as separate here: a stage that couples its legs makes
their noise alike and turns them against each other by itself."""

COUPLING_DOUBT = 0.08
"""... and the far end of its interval must not reach what the kinds call coupled."""

BAND_HZ = (2.0e3, 18.0e3)
"""Idle noise is compared here: above the hum, below where recorders filter."""

FALSE_ALARM = 1.0e-3
"""Share of uncorrelated pairs that may pass for correlated."""

BASELINE_DRIFT = 0.02
"""Relative doubt of the recorder's own noise power between the floor and the idle take: inputs
warm up. It rules where the recorder is louder than the device."""

LEAST_IDLE_DB = -6.0
"""Device noise this far below the recorder's says nothing: 2 % of one is 8 % of the other."""

SHARED, SHARED_DOUBT = 0.8, 0.1
"""Shared part of the idle noise from which one source ahead of both legs is told, and the
largest standard deviation at which. Simulated: splitters 0.91 to 1.00, 0.20 with a quiet core."""

SEPARATE, SEPARATE_DOUBT = 0.2, 0.05
"""Shared part below which what dominates the noise lies in the legs; sd at which it is told."""

COLD_NOISIER, COLD_NOISIER_SIGMAS = 1.1, 2.58
"""Noise power of cold over hot above which an inverter is added to what is shared; and how many
standard deviations above 1 (one in 200). Simulated: inverter 8 dB quieter than its core 1.16."""

ORDERS_AGREE = 1.6
"""Noise power of a leg in one lead order over the other, 2 dB: recorder channels differ by less."""

HUM_DOMINATES = 1.0
"""Lines (hum, spurs) over noise power within the band above which the take is refused."""

SPUR_RATIO = 8.0
"""A bin this many times the local median is a line: averaged noise stays below."""

RECORDER_H2_DB = -94.0
"""Second harmonic of an ordinary recorder at full scale, dB of the fundamental; falls in
proportion to the level: -100 dB at -6 dB FS, -120 dB behind a pad of 20 dB."""

GENERATOR_H2_DB = -100.0
"""Second harmonic of an ordinary generator: it looks like distortion ahead of the split."""

H2_ABOVE_DB = 10.0
"""A second harmonic must stand this far above what the bench may add."""

KAPPA_ONE, KAPPA_TWO, KAPPA_SURE = 0.3, 3.0, 10.0
"""Even over odd second harmonic: below, it inverts with the leg (arises before the split);
above, it does not (arises in each leg). Above 10 unlike legs are taken for alike ones in under
one case of a hundred (simulated)."""

LAG_LEAST_DEG = 0.3
"""Excess lag of cold at 20 kHz below which nothing is said: filters of 1 % parts make as much."""

LAG_DOUBT_DEG = 0.05
"""Standard deviation of the lag that is left after the leads were exchanged."""

LAG_ONE_DEG, LAG_SOME_DEG = 1.2, 0.6
"""From here the likelihood ratio of an inverter to two filters is 20 or more, and 7."""

LAG_TABLE = (
    (0.3, 1.0),
    (0.6, 2.0),
    (1.2, 7.0),
    (2.0, 20.0),
)
"""Likelihood ratio up to a lag (deg); simulated: 0.12/0.06, 0.17/0.026, 0.13/0.006."""

LAG_LEADS = 0.1
"""... of a cold leg that leads by more than LAG_LEAST_DEG: 0.026/0.26."""

RATIO_CAP = 20.0
"""No single indication weighs more: beyond, the spreads assumed decide and not the measurement."""

LAG_SHAPE_DEG, LAG_SHAPE_SHARE = 0.1, 0.2
"""How far the lag may lie from a straight line through 0: degrees, or this share of it."""

LAG_LEVEL_DB = 0.05
"""How far the level ratio at the top may lie from that of one pole with this lag: 1 % filters."""

LAG_FROM_HZ, LAG_TOP_HZ = 2.0e3, 15.0e3
"""Tones that show the shape begin here; at least one tone must stand above LAG_TOP_HZ."""

SPREAD_DB = 0.02
"""Spread of the leg ratio over volume settings above which each leg has its own attenuator.
Simulated: one attenuator ahead of the legs 0.009 at most; a ladder of 0.1 % 0.018 (median)."""

SPREAD_SIGMAS = 5.0
"""... and this many standard deviations of one ratio; of eight ratios the spread is 2.8 of them."""

RATIO_DOUBT_DB = 0.002
"""Standard deviation of a leg ratio within one take, after the leads were exchanged."""

FEWEST_SETTINGS = 3
"""Volume settings below which a spread says nothing."""

IMPEDANCE_MOVES = 0.1
"""Share of the leg impedance by which the legs may come to differ when the volume is turned."""

INDEPENDENT_DB = -40.0
"""One input leg driven: below this on the other output leg the paths are independent."""

RANK_ONE = 0.05
"""Determinant of the transfer between legs over its largest entry squared, below which both legs
are formed from one difference. Simulated: receiver and splitter 1e-4, fully differential
amplifier 0.002, instrumentation input 0.64."""

ONE_LEG_HZ = (90.0, 20.0e3)
RANK_HZ = (90.0, 5.0e3)
"""Where the one-leg transfer is looked at; the rank only below where inverters begin to lag."""

AGREEING = 100.0
"""Product of the likelihood ratios from which one path is told: two agreeing indications, one of
them as strong as an indication can be."""
