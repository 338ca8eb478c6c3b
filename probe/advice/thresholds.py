"""Every threshold of the advice, in one place, each with its reason and how sure that is.

Marks: [solved] follows from the network; [published] stands in a cited source; [practice]
common practice, no source; [judgement] ours.
"""

from __future__ import annotations

TIE_NEVER_AMPERE = 0.020
"""Peak current in a tied leg: beyond what common operational amplifiers deliver undistorted.
[judgement]"""

TIE_AVOID_AMPERE = 0.007
"""Peak current in a tied leg: what a line output gives into 600 ohm at 3 V rms. [judgement]"""

LOST_IN_BAND_DB = 10.0
"""A loss the connection causes anywhere from 20 Hz to 20 kHz that leaves no usable signal.
[judgement] The loss itself is [solved]."""

LOST_LEVEL_DB = 12.0
"""Below the reference link by this much, the signal is lost. Twice the 6 dB that separate the
legs of a driven pair from their difference. [judgement]"""

LOSS_AVOID_DB = 1.0
"""Loss at 20 Hz or 20 kHz that a listener may notice on programme. [judgement]"""

SENSE_NEVER_OHM = 1000.0
"""A sense pin above this impedance picks up whatever is near when it is left open. [judgement]"""

SENSE_CHANGE_NEVER_DB = 0.5
"""Level change between open and tied sense pin that shows it was meant to be tied. [judgement]"""

OVERLOAD_NEAR = 0.5
"""Sensitivity over maximum from which an input runs within 6 dB of overload in normal use.
[judgement]"""

ASSUMED_MAXIMUM_VOLTS = 10.0
"""Differential V rms of a strong line stage, for everything that protects, where nothing is
declared. [judgement]"""

ASSUMED_SINGLE_ENDED_MAXIMUM_VOLTS = 5.0
"""The same of a device without a balanced output: half, by the convention that one leg is what
the single-ended output gives. [judgement]"""

DIRECT_REFUSE_VOLTS = 2.0
"""Direct voltage above which the output is faulty or a bridged power stage. [practice]"""

DIRECT_NEVER_VOLTS = 0.1
"""Direct voltage that saturates transformers and is passed on by a direct-coupled input.
[practice]"""

LONG_RUN_METRES = 3.0
"""Longest unbalanced lead. [published] 10 feet, in a maker's data sheet of a line converter."""

GAIN_REACHED_DB = 0.5
"""Closeness at which a wanted gain counts as reached. [judgement]"""

TIE_BREAK_DB = 1.0
"""Differences of response below this are none. [judgement]"""

ALSO_POSSIBLE_SHARE = 0.05
"""Share of the draws from which another kind is evaluated beside the stated one: the
unfavourable end of a 95 % statement. [solved]"""
