"""Every threshold of the advice, in one place, each with its reason and how sure that is.

Marks: [solved] follows from the network; [published] stands in a cited source; [practice]
common practice, no source; [judgement] ours.
"""

from __future__ import annotations

TIE_NEVER_AMPERE = 0.020
"""Peak current in a tied leg, or into a load: beyond what common operational amplifiers deliver
undistorted.
[judgement]"""

TIE_AVOID_AMPERE = 0.007
"""The same: what a line output gives into 600 ohm at 3 V rms. [judgement]"""

LOST_IN_BAND_DB = 10.0
"""A loss the connection causes anywhere from 20 Hz to 20 kHz that leaves no usable signal.
[judgement] The loss itself is [solved]."""

LOST_LEVEL_DB = 12.0
"""Below the reference link by this much, the signal is lost. Twice the 6 dB that separate the
legs of a driven pair from their difference. [judgement]"""

NO_SIGNAL_DB = 30.0
"""An output so far below the other one of the same device carries no signal of its own: as of a
silent leg. Sound ones lie within some 15 dB (+4 dBu on XLR and -10 dBV on RCA are 12 dB apart).
[judgement]"""

LOSS_AVOID_DB = 1.0
"""Loss at 20 Hz or 20 kHz that a listener may notice on programme. [judgement]"""

SENSE_NEVER_OHM = 1000.0
"""A sense pin above this impedance picks up whatever is near when it is left open. [judgement]"""

SENSE_CHANGE_NEVER_DB = 0.5
"""Level change between open and tied sense pin that shows it was meant to be tied. [judgement]"""

OVERLOAD_NEAR = 0.5
"""Sensitivity over maximum from which an input runs within 6 dB of overload in normal use.
[judgement]"""

AT_LIMIT = 1.06
"""An input that accepts a sheet's level is told to be just at its limit where by the doubt alone no
more than so much of it may come: the 5 % of a level, and what impedances add. [judgement]"""

ASSUMED_MAXIMUM_VOLTS = 10.0
"""Differential V rms of a strong line stage, for everything that protects, where nothing is
declared. [judgement]"""

ASSUMED_SINGLE_ENDED_MAXIMUM_VOLTS = 5.0
"""The same of a device without a balanced output: half, by the convention that one leg is what
the single-ended output gives. [judgement]"""

DIRECT_REFUSE_VOLTS = 2.0
"""Direct voltage above which the output is faulty or a bridged power stage. [practice]"""

GROUND_MOST_SHARE = 130.0 / 230.0
"""Share of the mains voltage between two chassis above which something is at fault: half is what
the capacitors of mains filters give, and a few per cent more of supply and of unlike capacitors
(130 V of 230 V). More is a chassis on the mains. [practice]"""

LEAST_MAINS_VOLTS = 100.0
"""Lowest mains that are usual, V: what is reckoned with where nobody says them. [practice]"""

FIFTY_HERTZ_BELOW = 55.0
"""Mains frequency below which 230 V are usual, Hz; at 60 Hz 100 to 127 V are. [practice]"""

TOUCH_MOST_AMPERE = 3.5e-3
"""Current from chassis to chassis, above `GROUND_FEW_VOLTS`, from which nothing is connected: what
equipment with a protective earth may pass into that earth, and no box into who touches it (IEC
62368-1 and its forerunners, from memory). A box that passes it through a lead has lost its earth,
or its insulation fails; at 10 mA a hand may not let go (from memory)."""

TOUCH_MIND_AMPERE = 0.75e-3
"""The same, from which it is told: 0.25 mA are allowed without a protective earth, 0.75 mA of what
is held in the hand (IEC 60335-1 and 62368-1, from memory)."""

TOUCH_VOLTS = 25.0
"""Below it an alternating voltage is no danger to who touches it with dry hands (IEC 61140 and
60364-4-41, from memory): what it drives through a lead still tells of a fault."""

GROUND_FEW_VOLTS = 5.0
"""More than distant outlets of one sound installation differ by, "up to a few volts" [published,
an installer's column]: from here on it is no matter of hum where a box is earthed. [judgement]"""

GROUND_LEAKAGE_AMPERE = 10e-3
"""Current between earths that is more than the leakage of two boxes on a plug, 3.5 mA each into
their protective conductors (IEC 60950-1 and its successor, from memory), and a few more."""

SHIELD_MOST_AMPERE = 1.0
"""Current from chassis to chassis, through the shield of a lead, from which nothing is joined. What
boxes leak into their protective earths is milliamperes each (above); amperes are a neutral that is
joined to earth, or a fault, and what is metered today may be many times as much with the next load
that is switched on. A shield is no protective conductor: plugs spark, contacts and thin braids get
warm. [judgement]"""

SHIELD_MIND_AMPERE = 0.3
"""The same, from which it is told: three times what distant outlets usually drive (0.1 V behind
1 ohm), and the leakage of eighty boxes. [judgement]"""

DIRECT_NEVER_VOLTS = 0.1
"""Direct voltage that saturates transformers and is passed on by a direct-coupled input.
[practice]"""

LEAST_LINE_INPUT_OHM = 600.0
"""Smallest impedance of a line input that anybody builds: the old matched lines. Below it a figure
is asked about again. [practice]"""

LEAST_LINE_INPUT_VOLTS = 0.020
"""Level for full output below which an input is one for a record player's pickup or a microphone:
those want 0.1 to 10 mV, line inputs 100 mV and more; this lies between. An output that
gives less at full output is a pickup or a microphone likewise. [practice]"""

MOST_LINE_OUTPUT_VOLTS = {"pair": 25.0, "one": 15.0}
"""Full output between pins 2 and 3, and of one pin or an RCA centre, above which a figure is asked
about again: +28 dBu is the most of studio equipment (19.5 V), 2 to 5 V are usual at home; more is
what a loudspeaker output gives. [practice]"""

USUAL_LINE_INPUT_VOLTS = 0.100
"""Level for full output below which hardly a line input is built: between it and the refusal an
input is asked about again. [practice]"""

MOST_LINE_INPUT_VOLTS = 12.5
"""Level for full output above which an input is asked about again: +24 dBu, 12.3 V, is the most
that studio inputs are made for, 0.5 to 3 V are usual at home. [practice]"""

NEAR_FULL_DB = 10.0
"""Below full output: so near to it an amplifier that nothing turns down is loud at once, at a tenth
of its power. [judgement]"""

LONG_RUN_METRES = 3.0
"""Longest unbalanced lead. [published] 10 feet, in a maker's data sheet of a line converter."""

HUM_GOOD_DB = 90.0
"""Hum below full output from which nobody hears it. A loudspeaker of 88 dB at 1 m for 2.83 V
gives about 105 dB with 100 W at 1 m; 90 dB less is 15 dB SPL, below a quiet room at night, and
the ear is duller by 40 dB and more at 50 Hz. [judgement]"""

HUM_AVOID_DB = 75.0
"""Hum below full output under which it is heard in a quiet room: 30 dB SPL at 1 m by the same
arithmetic, with harmonics to which the ear is less dull. [judgement]"""

HUM_TRY_DB = 60.0
"""From here on a hum by the typical figures of a situation, which nobody read, is heard for what it
is before a part is bought against it: such figures are not sure to 15 dB. [judgement]"""

HUM_LOUD_DB = 55.0
"""Hum below full output under which it is loud: 50 dB SPL at 1 m by the same arithmetic, the level
of quiet speech. [judgement]"""

NOISE_GOOD_DB = 95.0
"""Noise, A-weighted, below full output from which nobody hears it: 10 dB SPL(A) at 1 m by the
same arithmetic. [judgement]"""

SPEAKER_DB = 88.0
"""Loudspeaker sensitivity (dB at 1 m for 2.83 V) for which hum and noise limits are meant; a more
sensitive one by so much makes them stricter. [judgement]"""

ASSUMED_SENSITIVITY_VOLTS = 1.0
"""V rms for full output of an input that does not say: most power amplifiers lie between 0.5 and
2 V. [practice]"""

ASSUMED_REJECTION_DB = 60.0
"""Common-mode rejection by itself of a balanced input that does not say: resistors of 0.1 % round
one amplifier guarantee 54 dB and usually give more; of 1 %, 34 dB. [practice]"""

NO_TRANSFORMER_DB = 60.0
"""Published rejection below which a balanced input is no transformer: an input transformer passes
mains hum by a few ten picofarads alone and rejects 85 dB of it and more. [practice]"""

EXCESS_DB = 20.0
"""Level over what gives full output, from which an input gets far more than it needs: a tenth of
the volts does, and a volume control of the usual law then works in its lowest part only.
[practice]"""

SPARE_DB = 10.0
"""Level over full output that quiet recordings want, and an attenuator leaves. [practice]"""

VOLUME_MAKES_UP_DB = 6.5
"""Below the reference link by so much, a turn of the volume control is taken to make it up where
nobody knows how much the device can give: one leg instead of two is 6.02 dB, and half a decibel
counts as reached. [judgement]"""

GAIN_REACHED_DB = 0.5
"""Closeness at which a wanted gain counts as reached. [judgement]"""

TIE_BREAK_DB = 1.0
"""Differences of hum, noise or response below this are none. [judgement]"""

ALSO_POSSIBLE_SHARE = 0.05
"""Share of the draws from which another kind is evaluated beside the stated one: the
unfavourable end of a 95 % statement. [solved]"""

REFUSED_TIMES = 2.0
"""An input of no more than this many times a load that was refused loads the output as hard: with
twice the ohms half the current flows, 6 dB from where it gave way (common practice, no source)."""

STEP_DOWN_PRIMARY_OHM, STEP_DOWN_HENRY = 250.0, 80.0
"""Primary winding of a bridging transformer for line levels, ohm and H: its resistance is little
beside the 10 kohm it is made for, and 80 H are 10 kohm at 20 Hz. [practice]"""

ORDINARY_COUPLING_FARAD = 10e-6
"""Coupling capacitor of an RCA output of which nothing is stated, F: enough for the usual load of
10 kohm (1.6 Hz), and an ordinary part. [practice]"""

VALVE_OHM, VALVE_COUPLING_FARAD = 1000.0, 2.2e-6
"""An RCA output of more ohms is rarely anything but a valve stage, whose coupling capacitor stands
high voltage and commonly is of such a size, F: enough for the usual load of 10 kohm. [practice]"""

VALVES, MOST_VALVE_OHM = frozenset({"valve", "valves", "tube", "tubes"}), 10e3
"""Words of kinds with valves, and what their outputs have at most, ohm: one without a follower is
taken from a plate, behind its resistor and the valve in parallel. [practice]"""

FAR_BELOW_LEAST_LOAD = 2.0
"""An input that loads so many times as hard as the maker of the device allows is avoided: twice the
current, 6 dB beyond what the maker stands for. [judgement]"""

DRIVEN_TIMES = 1.1
"""A load that was driven shows that an input is driven, if it is no more than so many times the
input: the next resistor of a usual row (E24) is as near as that. [judgement]"""

DIGITAL_TRIED = 2.0
"""A plain digital lead of at most so many times what its standard promises is tried first; of more
nobody says anything, and it would have to be bought to be tried. [judgement]"""

NOISE_HEARD_DB = 75.0
"""A-weighted noise below full output that is heard in a quiet room, by the arithmetic of hum: of
105 dB at 1 m less 75 there are 30 dB SPL(A) left. [judgement]"""

MOST_BOXES = 8
"""Boxes on one device at once: splitters and fan-outs have up to eight. [practice] Every one of
them is solved in the company of all others."""

MOST_INPUTS = 24
"""Sockets that are looked at in one question: three a box. [judgement]"""

TOO_LONG, SPARE_METRES = 2.0, 1.0
"""A lead of the shelf that is longer than so many times what is needed, and so much more, is taken
only where no other is in stock: it lies coiled up. [judgement]"""
