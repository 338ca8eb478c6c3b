"""A commented stage file to start from; every figure in it is the default unless it says so."""

TEMPLATE = """\
# An output stage to be simulated: a circuit, a bench, and the takes to be made of it.
# "probe simulate STAGE.toml FOLDER" writes session.toml and the takes into FOLDER.
# Only format, circuit (or [netlist]) and [device] are needed.
format = "probe-stage/1"
circuit = "core-and-inverter"   # "probe simulate --list" lists them; or write [netlist] below
seed = 1                        # of everything random: noise, dither, delays, draws
sides = ["left"]                # left | right | mono; each side gets every take
phase = "reference"             # reference: one input more records the drive | stream: takes cut
                                # from one running stream | none: an unknown delay in every take
takes = "full"                  # or a list: open, open-exchanged, single-ended, inject-cold,
                                # inject-hot, inject-single-ended, load-cold, load-hot, load-across,
                                # single-ended-loaded, second-open, inject-cold-off,
                                # inject-hot-off, idle, floor, channel-match, check-hot,
                                # check-cold, idle-exchanged, sweep, input-hot, input-cold (one
                                # leg of the input driven), other-side (only the other half plays)
sample_rate = 48000
seconds = 2.0                   # of tone in each take
silence_before_s = 0.0          # before and after it, and the ramps inside it
silence_after_s = 0.0
silence_spread_s = 0.0          # up to so much more before it, another in every take
fade_s = 0.0
volume = ""                     # the device's setting in takes that name none
container = "wav"               # wav | rf64 | flac | smaller (FLAC at its best)
sample = "PCM_24"               # PCM_16 | PCM_24 | PCM_32 | FLOAT | DOUBLE; integers are dithered

[device]                        # as in session.toml; simulated devices have invented names
maker = "Harrowgate"
model = "Tern"
serial = "HT-0000"
connectors = ["xlr", "rca"]

[parts]                         # other values for parts of the circuit, in ohm, farad, henry
R_COLD = 105.0                  # (of an amplifier a number is its gain-bandwidth in Hz)
A_CORE = { gain_bandwidth_hz = 8e6, output_ohm = 60.0, open_loop_gain = 1e6 }
# C_BACK = { open = true }      # takes a part out

# [side.right]                  # where one side is different
# circuit = "cold-capacitor-dried"
# parts = { R_COLD = 100.0 }

# [side_crosstalk]              # what reaches a side while only the other one plays
# db = -90.0
# corner_hz = 1000.0            # flat up to here, rising above; 0: flat throughout

[tolerances]                    # leave the table out for exact parts
seed = 7
# resistor = 1.0                # percent, half-width, by grade of part: resistor, matched,
                                # wiring, capacitor, electrolytic, stray, inductor, amplifier

# [volumes]                     # what the settings named by takes mean, dB; without: all 0 dB
# "12 o'clock" = -12.0

[drive]                         # what the device plays
# tones_hz = [20.5, 997.0]      # default: twelve tones, 20 Hz to 20 kHz
# phases_deg = [0.0, 90.0]      # default: a low crest
# volts = 0.25                  # rms per tone; default: every take's peak 6 dB below full scale
# file_volts_full_scale = 2.0   # the device plays files: volts at its core for 0 dB FS
tell_phases = true              # whether the session says the phases

[injector]                      # what inject-cold and the like use; e.m.f. rms per tone
volts = 0.12
volts_off = 0.004               # into a device without power: 50 mV peak at most
through_ohm = 10000.0
part = "R2"

[loads]                         # parts R1 (legs), R3 (across), R4 (single-ended)
leg_ohm = 604.0
across_ohm = 1210.0
single_ended_ohm = 2210.0

[bench]                         # what the session declares
interface = "simulated bench"
mains_hz = 50.0
# repeatability_db = 0.02

[[bench.input]]                 # one for all channels, or one for each
volts_full_scale = 8.7
u95_percent = 0.5
impedance_ohm = 20000.0
impedance_u95_percent = 1.0
capacitance_pf = 150.0
capacitance_u95_pf = 20.0

[truth]                         # how the bench really is: what the session does not say
draw = false                    # true: recorder errors not given below, the parts' and the
                                # injector's are drawn from what is declared (normal, sd = u95/2)
clock_ppm = 0.0                 # recorder's clock against the player's
drift_db = 0.0                  # level between takes, one standard deviation per take and channel
# crosstalk_db = -100.0         # of every channel into every other
# injector_percent = 0.2        # true e.m.f. over declared
injector_clock = "player"       # or "recorder": the device plays files by itself
# parts_percent = { R1 = 0.05 } # true ohms of the bench's resistors over declared

[[truth.input]]                 # one for all channels, or one for each
# gain_percent = 0.1            # reads so much too high
# impedance_percent = -0.4      # true over declared
# capacitance_pf = 8.0          # true minus declared
noise_nv = 30.0                 # nV per root hertz at the terminal
noise_corner_hz = 0.0           # below it noise grows as 1/f
# hum = [ { hz = 50.0, microvolts = 40.0, phase_deg = 20.0 } ]
# second = 0.0                  # the recorder's own bend: y = v + second v² + third v³, volts peak
# third = 0.0

# [truth.generator]             # only where probe measure --virtual plays: the bend of its outputs
# second = 0.0
# third = 0.0

# [device_noise]                # of the device itself, nV per root hertz with nothing connected
# core_nv = 0.0                 # ahead of all outputs: cold carries it inverted
# hot_nv = 0.0                  # what each terminal adds
# cold_nv = 0.0
# single_ended_nv = 0.0
# corner_hz = 0.0               # below it noise grows as 1/f
# idle_db = 0.0                 # in takes where nothing plays, from idle_after_s on: a mute
# idle_after_s = 0.0
# [[device_noise.hum]]
# hz = 50.0
# hot_microvolts = 3.0
# cold_microvolts = 3.0
# single_ended_microvolts = 2.0
# phase_deg = 0.0
# cold_phase_deg = 180.0

# [nonlinear]                   # y = v + second v² + third v³, then flat at clip_volts; volts peak
# hot = { second = 1e-5, third = 0.0, clip_volts = 12.0 }
# cold = { second = -1e-5 }
# single_ended = { second = 1e-5 }

# [[take]]                      # more takes; everything a take of session.toml may say, and:
# preset = "load-hot"           # start from a preset
# name = "load hot, it moved"
# seconds = 3.0                 # silence_before_s, silence_after_s, fade_s, sample_rate as above
# level_step = { at_s = 1.2, db = -0.5 }
# level_db = [0.03]             # this take's level over nominal, one for all channels or each
# delay_s = -0.25               # when, in the file, the player began
# parts = { R_COLD = 1e7 }      # the stage during this take only

# [[take]]                      # a tone rising in level
# signal = "level-steps"
# channels = ["hot", "cold"]
# tones_hz = [997.0]
# levels_volts = [0.5, 1.0]     # drive of each step, V rms
# step_s = 0.5

# [netlist.terminals]           # instead of circuit: node "0" is pin 1
# hot = "hot"
# cold = "cold"
# single-ended = "rca"
# [netlist.parts]
# IN = { source = "voltage", between = ["in", "0"], hot = 1.0, cold = -1.0 }
# A = { amplifier = "single-pole", plus = "in", minus = "out", out = "out" }
# R_HOT = { ohm = 100.0, between = ["out", "hot"] }
# C_OUT = { farad = 47e-6, between = ["out", "after"], grade = "electrolytic" }
# L_ONE = { henry = 10.0, between = ["a", "0"] }
# T = { coupling = 0.9999, of = ["L_ONE", "L_TWO"] }
# E = { gain = -1.0, plus = "in", minus = "0", between = ["inverted", "0"] }
"""
