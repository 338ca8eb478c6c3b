"""The commented destination file that `probe advise --template` prints."""

TEMPLATE = """\
# What the lead goes to. Keep what is known, take out the rest.
format = "probe-destination/1"
name = "monoblock, RCA only"

[[input]]                         # one table per input socket
connector = "rca"                 # rca | xlr | digital-75 | digital-110
receiver = "single-ended"         # single-ended | balanced
impedance_ohm = 47000.0
role = "amplifier"                # amplifier | subwoofer | other
# box = "amplifier"               # inputs of one box are alternatives; left out: the role
# sensitivity_v = 1.5             # V rms for full output; of an xlr: pin 2 minus pin 3
# maximum_v = 6.0                 # V rms it accepts
# speaker_sensitivity_db = 88.0   # of the loudspeaker on it, 2.83 V at 1 m

# Another input, balanced:
# [[input]]
# connector = "xlr"
# receiver = "balanced"
# circuit = "unknown"             # difference-amplifier | buffered | transformer | unknown
# pin_3 = "input"                 # input | ground | open: what the box does with pin 3 inside
# both_legs_required = false      # true: its two halves each need a leg of their own
# impedance_ohm = 20000.0
# impedance_is = "each-leg"       # each-leg (to ground) | between-legs; required on an xlr
# impedance_mismatch_percent = 1.0
# rejection_db = 60.0             # published common-mode rejection of the input by itself
# maximum_per_leg_v = 6.0

[cable]
length_m = 1.0
capacitance_pf_per_m = 100.0      # each conductor to the shield
shield_milliohm_per_m = 30.0
contact_milliohm = 20.0           # shell contacts, both ends together
                                  # [input.cable] under an input: a lead of its own

# [ground]                        # or [input.ground] where leads go to different boxes
# difference_mv = 20.0            # AC volts between the chassis when no lead joins them
# source_ohm = 100.0              # what drives it; or source_nf for double-insulated equipment
#     or a preset in plain words, such as "same-strip": probe advise --grounds lists them;
#     or with across_mv (or current_ma) and through_ohm, a meter's second reading: docs/advice.md

# [operating]
# level_v = 4.0                   # the most that is ever played: V rms between pins 2 and 3

[need]
wanted_gain_db = 0.0              # against the RCA link
# attenuation_db = 10.0           # resistors in the plug at the destination, 1 to 60 dB

# [parts]
# transformer = "alder"           # of the library, or a probe-transformer/1 file beside this one
"""
"""A commented destination file that reads as it stands."""
