"""Every threshold of the stage room, in one place, each with its reason.

Figures marked *simulated* come from class-wide draws of generic circuits (part values, build-out
22 to 680 ohm, amplifier speeds); they are choices about designs, not measurements of devices.
"""

COUPLING_FLOATING = 0.8
"""Coupling above this is a floating stage. Simulated floating designs lie in 0.94 to 1.00."""

COUPLING_FIRM = 0.88
"""... but up to this an electronic one is not stated: legs of ``R`` each with ``P`` from pin to pin
(a 20 dB pad: 600 and 130 ohm) couple by ``R/(R + P)`` = 0.82 (closed form), have hundreds of ohm to
pin 1 and are no pair that floats. At 0.88 the way to pin 1 is four times that between the legs."""

FLOATING_OHM = 150.0
"""Legs that hang together but have less than this to pin 1 do not float: they are joined to each
other. Simulated floating designs: above 180 ohm with 22 ohm build-outs and coupling 0.94."""

JOINED_OHM, JOINED_BELOW_OHM = 10.0, 400.0
"""So are legs with less than the first between them and less than the second to pin 1: a solder
bridge or a bent contact is a few ohm, two build-outs of 680 ohm beside each other are 340 ohm; a
floating design has its build-outs between the legs."""

FLOATING_LEVEL = 0.22
"""Voltage between the legs over that of the single-ended output below which a resistor joining
separate legs is as likely as a floating stage: with coupling above 0.8 it leaves at most 2/9 of
what legs as loud as that output would give (closed form)."""

UNATTENUATED_LEVEL = 0.7
"""A pair at least so loud against the single-ended output stands behind no attenuator of its own:
designs give it once or twice (0 or 6 dB by convention); 3 dB are room for one that does not."""

FIRM_AS_ANY = 0.98
"""Coupling above this is no attenuator's: ``k = R/(R + P)`` leaves ``(1 - k)/(1 + k)`` of the level
(closed form), here a hundredth; 40 dB and more are no line output's. [judgement]"""

LEAST_WINDING_FARAD = 1.0e-10
"""Both ends of a winding together hold no less against pin 1: published line transformers have
hundreds of picofarad from a winding to its screen (of that order, from memory)."""

FLOATING_RATIO_DB = 20.0
"""Legs of a floating stage further apart than this: something holds the lower one near pin 1, and
hides a winding's capacitance. Simulated floating tolerances: up to 17 dB."""

WINDING_JOINED_OHM = 40.0
"""A winding leaves less than this between its legs, and less than ``FLOATING_LEVEL``, where they
are joined: by a resistor R across a winding of Z there is R/(R + Z) of the level and of Z (closed
form), and line windings with their driver stay below 180 ohm. Alone, the level could be that of a
winding that steps down, and the ohms those of a thick one."""

COUPLING_SEPARATE = 0.08
"""Coupling within plus or minus this is separate legs. Simulated: 0 +- 0.0005; the rest is room
for the spread of a quotient measured with 0.05 dB between takes."""

COUPLING_TAPPED = -0.1
"""Coupling below this is a winding tapped to pin 1. Simulated tapped windings: -0.16 to -0.73."""

SILENT_LEG_DB = -30.0
"""A leg this far below the other at 1 kHz carries no signal of its own. Simulated silent legs
lie below -46 dB, driven ones within 24 dB even for the worst floating tolerances."""

TIED_OHM = 3.0
"""A silent leg below this is tied to pin 1. Wiring and contacts are below 0.5 ohm, the smallest
build-out resistor in use is about 10 ohm."""

OPEN_OHM = 3.0e4
"""A silent leg above this is connected to nothing: strays of an open pin are above 1 Mohm at
1 kHz, and a bleeder of 47 k or 100 k only keeps static away. An injector and a 20 kohm recorder
whose figures are good to a percent tell from 60 kohm on."""

BEHIND_CAPACITOR_RAD = -0.8
"""A silent leg that is neither alike nor open and turns further than this is a capacitor: half way
to the quarter turn of a pure one."""

ALIKE_RATIO = 4.0
"""A silent leg within this factor of the driven one counts as impedance-balanced. A healthy one
is within 2 %, a stuck amplifier behind its build-out resistor up to 1.6."""

DEAD_LEG_RATIO = 10.0
"""A leg in phase with the other and this many times its impedance is fed backwards through the
circuit's own network: its amplifier is dead. Simulated: 200."""

TRANSFORMER_ANGLE_RAD = -0.8
"""Angle of the common-mode impedance between 4 and 20 kHz below which a floating stage is a
transformer: its winding capacitance turns it to -1.57, a cross-coupled stage stays near 0."""

GIVES_BACK_RAD = 2.36
"""An angle beyond this either way (three eighths of a turn) is a negative resistance larger than
the reactance beside it: no winding, and an amplifier's only where it would not be stable."""

TRANSFORMER_BAND_HZ = (3.0e3, 2.1e4)
"""Where that angle is looked at."""

ELECTRONIC_OHM, WINDING_OHM = 6.0e3, 3.0e4
"""A capacitance at the top of the band is a winding's only where little else leads to pin 1. Below
its corner a cross-coupled stage shows 0.5 to 4.4 kohm (simulated), whatever capacitors against
radio hang on its pins; a winding hundreds of kilohm, or two bleeders of 100 kohm beside each
other. What lies between the two limits may be either."""

HELD_LOW_OHM, RISES = 1.0e3, 2.0
"""Legs with less than the first to pin 1 at their lowest tone and this many times as much at
1 kHz are joined by an inductance (a common-mode choke): floating stages stay level or fall."""

COUPLING_MOST = 1.5
"""Coupling above this is a leg that lifts the other higher than itself: no pair that floats does,
beyond the spread of a quotient; a stage whose legs share one current does."""

LEGS_UNEQUAL_DB = 0.5
"""Separate driven legs further apart than this are a fault. 1 % parts give up to 0.16 dB."""

IMPEDANCES_UNEQUAL = 0.1
"""Relative difference of separate legs' impedances that is a fault; 1 % parts give 2 %."""

IMPEDANCES_UNEQUAL_OHM = 3.0
"""... and the difference in ohm it must exceed as well, so that two 1 ohm legs are left alone."""

DRIED_CAPACITOR_RATIO = 2.0
"""At the lowest tones a leg this many times the impedance of the other, and capacitive, has lost
its coupling capacitor. Healthy capacitors are alike within their 20 % tolerance."""

DRIED_CAPACITOR_ANGLE_RAD = -0.5
"""... where the angle of its impedance is below this."""

ALONE_HEALTHY_HZ, ALONE_LOST_HZ = 2.5, 20.0
"""Where one leg alone has a capacitor there is no partner to compare with: what counts is its
corner with ``ALONE_LOAD_OHM``. Below the first (6.4 uF) it costs 0.07 dB at 20 Hz (closed form) and
is as healthy as any; from the second on it cuts into the band; between, its data sheet tells."""

ALONE_LOAD_OHM = 1.0e4
"""The usual least input a line output is to feed without loss. Common practice, no source."""

PARTNER_ANGLE_RAD = -0.05
"""A leg turned further than this at the bottom of the band has a capacitor, too: 1000 uF in series
with 100 ohm turn by 0.08 rad at 20 Hz (closed form)."""

DRIED_CAPACITOR_BELOW_HZ = 130.0
"""Coupling capacitors show at the bottom of the band only."""

IN_PHASE_RAD = 1.0
"""Legs within this angle of each other are in phase; healthy ones are within 0.6 rad of opposite
phase even at the top of the band."""

POLARITY_RAD = 1.05
"""Polarity is told when the angle against the single-ended output is within this (60 degrees) of
0 or of 180 degrees."""

EXCITATION_SIGMAS = 30.0
"""A current counts as excitation only when the voltage that causes it stands this many standard
deviations above its noise: noise over 604 ohm looks like a current."""

HEARD_SIGMAS = 10.0
"""A take hears the device when a terminal stands this far above its noise at most tones played."""

CROSSTALK = 1.0e-4
"""Standard deviation of the undeclared crosstalk between recorder channels (-80 dB, a modest
interface): what a silent leg seems to carry below that is not evidence."""

REPEATABILITY_DB = 0.02
"""Level between takes, one standard deviation per take and leg, where none is declared."""

REPEATABILITY_FLOOR_DB = 0.0002
"""The least that is believed from residuals: tenths of a thousandth of a decibel are never
repeatable at a bench."""

SPARE_TAKES = 3
"""Takes beyond the necessary ones from which the repeatability is taken from the residuals."""

CONTRADICTION = 6.0
"""Residual repeatability this many times the stated one means that a take contradicts the rest."""

ALIGN_PRIOR_S = 3.0e-7
"""Standard uncertainty of a delay found from phases alone: loads turn the phase of a healthy
stage at 20 kHz by up to some hundredths of a radian."""

POOR_REPEATABILITY = 3.0
"""... and this many times deserves a word,"""

POOR_BY_CHANCE = 1.0e-4
"""where level errors as large as stated would show so much less often than this: with one spare row
they reach 3 times in one session of four hundred, with three almost never."""

DECIDED_SHARE = 0.9
"""A kind is stated when at least this share of the draws lands in it."""

MENTIONED_SHARE = 0.001
"""Kinds with a smaller share of the draws are not mentioned."""

SOURCE_IMPEDANCE_LIMIT_OHM = 2.2e3
"""Largest source impedance of a line output (IEC 61938, read second-hand): how much a recorder
may have loaded an output whose impedance was not measured."""

SUPPORT_RELATIVE = 0.9
"""An impedance whose 95 % half-width exceeds this share of it is given as a bound, not a value."""

SUPPORT_OHM = 20.0
"""... unless the half-width is below this: a few ohm are known to be a few ohm."""

COUPLING_SUPPORT = 0.3
"""A coupling whose 95 % half-width exceeds this says nothing: absent."""

DIVISOR_OHM = 1.0
"""A coupling is a quotient; below this divisor (ohm) it is noise over noise and absent."""
