"""A session as it is read, and every complaint about one.

The expected words of a message are the project's own: regression only, unless a source is named.
"""

from __future__ import annotations

import hashlib
import math
import struct
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import soundfile

from probe.errors import BadInput
from probe.session.model import Injection, LevelSteps, Load, MeterReading, Session, Sweep
from probe.session.read import read_session, session_sha256

from .conftest import FILES, FRAMES, RATE, SESSION, samples

Bend = Callable[..., Path]


def complaint_of(path: Path | str) -> str:
    with pytest.raises(BadInput) as caught:
        read_session(path)
    message = str(caught.value)
    assert message.isprintable()
    return message


def line_with(text: str, part: str) -> int:
    """The line of ``text`` on which ``part`` begins."""
    return text[: text.index(part)].count("\n") + 1


# --- what is read -----------------------------------------------------------------------------


def test_every_figure_of_a_full_session(folder: Path) -> None:
    session = read_session(folder)
    # All values: as written in the session's text; percent / 100, pF * 1e-12, degrees * pi/180.
    device, bench = session.device, session.bench
    assert (device.maker, device.model, device.serial) == ("Harrowgate", "Tern", "HT-0231")
    assert device.connectors == ("xlr", "rca")
    assert device.stated_polarity == "pin-2-hot"
    assert (device.minimum_load_ohm, device.full_output_volts) == (600.0, 8.0)
    assert (bench.mains_hz, bench.repeatability_db) == (50.0, 0.02)
    assert bench.recorded_on == date(2026, 3, 14)
    assert bench.inputs[1].impedance_ohm == 20000.0
    assert bench.inputs[0].u95_relative == pytest.approx(0.005)
    assert bench.inputs[0].impedance_u95_relative == pytest.approx(0.01)
    assert bench.inputs[0].capacitance_farad == pytest.approx(150e-12)
    assert bench.inputs[0].capacitance_u95_farad == pytest.approx(20e-12)
    assert (bench.outputs[0].volts_full_scale, bench.outputs[0].impedance_ohm) == (4.0, 100.0)
    assert session.meters == (MeterReading("left", ("hot", "ground"), 0.004, 0.0),)
    assert session.sides == ("left",)
    assert session.assumptions == ()
    opened, loaded, injected = session.takes
    assert (opened.name, opened.file, opened.sample_rate) == ("left open", FILES[0], RATE)
    assert opened.frames == FRAMES
    assert opened.phases_rad == pytest.approx((0.0, math.pi / 2, math.radians(31.5)))
    assert (opened.drive_volts, opened.volume, opened.state) == (0.25, "12 o'clock", "play")
    assert (opened.timebase, opened.start_frame) == ("run-1", 480000)
    assert [i.volts_full_scale for i in opened.inputs] == [8.70, 4.35]
    assert [i.volts_full_scale for i in loaded.inputs] == [8.70, 8.80]
    assert loaded.channels == ("cold", "hot")
    assert loaded.loads[0] == Load("hot", "ground", 604.0, pytest.approx(0.001), "R1")
    assert loaded.loads[1].to == "cold"
    silent, sounding = injected.injections
    assert silent == Injection(
        "hot", 10000.0, pytest.approx(0.001), "R4", 0.0, pytest.approx(0.01), (), None
    )
    assert sounding.tones_hz == (71.0, 883.0)
    assert sounding.phases_rad == pytest.approx((0.0, math.radians(10.0)))
    assert sounding.volts_u95_relative == pytest.approx(0.005)


def test_folder_and_file_read_alike(folder: Path) -> None:
    assert read_session(folder) == read_session(str(folder / "session.toml"))


def test_defaults_are_assumed_and_said(bend: Bend) -> None:
    folder = bend(
        ("u95_percent = 0.5\nimpedance_ohm = 20000.0", "impedance_ohm = 20000.0"),
        ("impedance_u95_percent = 1.0\n", ""),
        ("capacitance_pf = 150.0\n", ""),
        ("capacitance_u95_pf = 20\n", ""),
        ('ohm = 604.0, u95_percent = 0.1, part = "R1"', "ohm = 604.0"),
        ('u95_percent = 0.1, part = "R2"', 'part = "R2"'),
        ("volts_u95_percent = 0.5, ", ""),
        ('connectors = ["xlr", "rca"]\n', ""),
    )
    session = read_session(folder)
    first, second = session.bench.inputs
    # The formats page: u95_percent 1, impedance 2 %, capacitance 150 pF with 50 pF.
    assert first.u95_relative == pytest.approx(0.01)
    assert first.impedance_u95_relative == pytest.approx(0.02)
    assert first.capacitance_farad == pytest.approx(150e-12)
    assert second.capacitance_u95_farad == pytest.approx(50e-12)
    assert session.takes[1].loads[0].u95_relative == pytest.approx(0.01)
    assert session.takes[1].loads[0].part == "take[1].load[0]"
    assert session.takes[2].injections[1].u95_relative == pytest.approx(0.01)
    assert session.takes[2].injections[1].volts_u95_relative == pytest.approx(0.01)
    assert [a.message for a in session.assumptions] == [
        "the device's connectors are not given: xlr and rca taken",
        "u95_percent of recorder channel 1 is not given: 1 % taken",
        "impedance_u95_percent of recorder channel 1 is not given: 2 % taken",
        "capacitance_pf of recorder channel 1 is not given: 150 pF taken",
        "capacitance_u95_pf of recorder channel 2 is not given: 50 pF taken",
        "u95_percent of resistor take[1].load[0] and R2 is not given: 1 % taken",
        "volts_u95_percent of take[2].inject[1] is not given: 1 % taken, as of the bench's output",
    ]


def test_injected_volts_are_as_certain_as_the_output(bend: Bend) -> None:
    folder = bend(
        ("volts_u95_percent = 0.5, ", ""),
        ("volts_full_scale = 4.0\n", "volts_full_scale = 4.0\nu95_percent = 0.3\n"),
    )
    # The text just written: 0.3 %.
    assert read_session(folder).takes[2].injections[1].volts_u95_relative == pytest.approx(0.003)


def test_resistors_without_a_part_are_not_shared(bend: Bend) -> None:
    folder = bend(
        (', part = "R1"', ""), (', part = "R3"', ""), (', part = "R4"', ""), (', part = "R2"', "")
    )
    takes = read_session(folder).takes
    parts = [r.part for t in takes for r in (*t.loads, *t.injections)]
    # Four resistors in the text, so four parts.
    assert len(set(parts)) == 4


def test_a_part_described_once_is_known_everywhere(bend: Bend) -> None:
    load = 'load = [{ from = "cold", to = "ground", ohm = 604.0, part = "R1" }]\n'
    folder = bend(('state = "play"\n', 'state = "play"\n' + load))
    session = read_session(folder)
    # 0.1 % is declared beside the other use of R1.
    assert session.takes[0].loads[0].u95_relative == pytest.approx(0.001)
    assert session.assumptions == ()


def test_take_without_a_name_is_called_after_its_file(folder: Path, bend: Bend) -> None:
    soundfile.write(folder / "both.wav", samples(4), RATE, subtype="PCM_16")
    inputs = SESSION[SESSION.index("[[bench.input]]") : SESSION.index("[[bench.output]]")]
    bend(
        ('name = "left open"\n', ""),
        ('name = "left injected"\n', ""),
        ('"left-open.wav"', '"both.wav"'),
        ('"left-injected.wav"\nside = "left"', '"both.wav"\nside = "right"'),
        ('channels = ["hot", "cold"]', 'channels = ["hot", "cold", "unused", "unused"]'),
        ('channels = ["hot", "cold"]\n', 'channels = ["unused", "unused", "hot", "cold"]\n'),
        ("volts_full_scale = [8.70, 4.35]\n", ""),
        ("[[bench.output]]", inputs + "[[bench.output]]"),
    )
    session = read_session(folder)
    # Regression only: the file's name, and its side where one file serves two takes.
    assert [t.name for t in session.takes] == ["both.wav", "left loaded", "both.wav (right)"]
    assert session.sides == ("left", "right")


def test_sweep_and_level_steps(bend: Bend) -> None:
    folder = bend(
        (
            'signal = "multitone"\ntones_hz = [20.0, 41.0, 997.0]\nphases_deg = [0.0, 90.0, 31.5]',
            'signal = "sweep"\nfrom_hz = 20\nto_hz = 20000\nsweep_s = 5',
        ),
        (
            'signal = "multitone"\ntones_hz = [20.0, 41.0, 997.0]',
            'signal = "level-steps"\ntones_hz = [997.0]\nlevels_volts = [0.1, 0.2]\nstep_s = 0.5',
        ),
    )
    swept, stepped, _ = read_session(folder).takes
    # As written just above.
    assert swept.sweep == Sweep(20.0, 20000.0, 5.0)
    assert stepped.level_steps == LevelSteps((0.1, 0.2), 0.5)
    assert swept.level_steps is None
    assert stepped.sweep is None


@pytest.mark.parametrize("signal", ["floor", "channel-match", "loop-back", "check"])
def test_one_recording_of_the_bench_serves_both_sides(bend: Bend, signal: str) -> None:
    take = '[[take]]\nfile = "left-open.wav"\nside = "{}"\nchannels = ["hot", "cold"]\n'
    tail = SESSION[SESSION.index('[[take]]\nname = "left injected"') :]
    text = "".join(take.format(side) + f'signal = "{signal}"\n' for side in ("left", "right"))
    session = read_session(bend((tail, text)))
    assert session.sides == ("left", "right")


def test_headphone_output_is_no_error_here(bend: Bend) -> None:
    assert read_session(bend(('"line"', '"headphone"'))).device.output == "headphone"


def test_a_link_inside_the_folder_is_followed(folder: Path) -> None:
    (folder / "raw").mkdir()
    (folder / FILES[0]).rename(folder / "raw" / "1.wav")
    (folder / FILES[0]).symlink_to(folder / "raw" / "1.wav")
    assert read_session(folder).takes[0].path == (folder / "raw" / "1.wav").resolve()


def test_a_linked_session_folder_is_followed(folder: Path, tmp_path_factory: object) -> None:
    link = folder.parent / (folder.name + "-link")
    link.symlink_to(folder)
    assert len(read_session(link).takes) == 3


def test_sha256_over_text_and_files_in_order(folder: Path, bend: Bend) -> None:
    session = read_session(folder)
    content = (folder / "session.toml").read_bytes()
    content += b"".join((folder / name).read_bytes() for name in FILES)
    # General reference library: hashlib over the concatenated bytes.
    assert session_sha256(session) == hashlib.sha256(content).hexdigest()
    (folder / FILES[1]).unlink()
    with pytest.raises(BadInput, match=r"left-loaded\.wav: can no longer be read"):
        session_sha256(session)


# --- what is refused --------------------------------------------------------------------------

R1 = '{ from = "hot", to = "ground", ohm = 604.0, u95_percent = 0.1, part = "R1" }'
TONES = "tones_hz = [20.0, 41.0, 997.0]"

BENT = {
    "format word": (
        [("probe-session/1", "probe-session/2")],
        'format is "probe-session/2", "probe-session/1" is what can be read here',
    ),
    "unknown key": (
        [("mains_hz", "main_hz")],
        'bench.main_hz: unknown key; did you mean "mains_hz"?',
    ),
    "unknown table": ([("[[meter]]", "[[meters]]")], 'unknown key; did you mean "meter"?'),
    "no maker": ([('maker = "Harrowgate"\n', "")], "device.maker: is missing; text in quotes"),
    "empty maker": ([('"Harrowgate"', '""')], "device.maker: must not be empty"),
    "serial as number": ([('"HT-0231"', "231")], "device.serial: must be text in quotes, not 231"),
    "output": (
        [('output = "line"', 'output = "lime"')],
        'device.output: must be line, headphone or speaker, not "lime" (did you mean "line"?)',
    ),
    "connector": (
        [('["xlr", "rca"]', '["xlr", "phono"]')],
        'device.connectors[1]: must be xlr, rca, digital-75 or digital-110, not "phono"',
    ),
    "mains": ([("mains_hz = 50", "mains_hz = 400")], "bench.mains_hz: must be 65 or less, not 400"),
    "date": (
        [("recorded_on = 2026-03-14", 'recorded_on = "14 March"')],
        "bench.recorded_on: must be a date such as 2026-03-14",
    ),
    "zero scale": ([("= 8.70", "= 0.0")], "bench.input[0].volts_full_scale: must be 1e-06 or more"),
    "negative impedance": (
        [("impedance_ohm = 20000\n", "impedance_ohm = -20000\n")],
        "bench.input[1].impedance_ohm: must be 0.001 or more, not -20000",
    ),
    "nan capacitance": (
        [("capacitance_pf = 150.0", "capacitance_pf = nan")],
        "bench.input[0].capacitance_pf: must be a finite number, not nan",
    ),
    "percent": (
        [("u95_percent = 0.5", "u95_percent = 100")],
        "bench.input[0].u95_percent: must be below 100, not 100",
    ),
    "side": (
        [('side = "left"\nchannels', 'side = "Left"\nchannels')],
        'take[0].side: must be left, right or mono, not "Left" (did you mean "left"?)',
    ),
    "meter between": (
        [('["hot", "ground"]', '["hot", "hot"]')],
        'meter[0].between: "hot" twice; name two terminals',
    ),
    "meter between one": ([('["hot", "ground"]', '["hot"]')], "meter[0].between"),
    "meter empty": (
        [("volts_dc = 0.004\nvolts_ac = 0.0\n", "")],
        "meter[0]: holds no reading; give volts_dc, volts_ac or both",
    ),
    "names": (
        [('"left loaded"', '"left open"')],
        'take[1].name: "left open" is also the name of take[0]; names must differ',
    ),
    "control character in a name": (
        [('"left loaded"', '"left\\u001b[2J"')],
        "take[1].name: must not hold the character \\x1b",
    ),
    "absolute": (
        [('"left-open.wav"', '"/etc/left-open.wav"')],
        'take[0].file: "/etc/left-open.wav" is an absolute path; name a file inside',
    ),
    "drive letter": ([('"left-open.wav"', '"C:/left-open.wav"')], "is an absolute path"),
    "share": ([('"left-open.wav"', "'\\\\box\\share\\a.wav'")], "is an absolute path"),
    "backslash": ([('"left-open.wav"', "'raw\\a.wav'")], "write / between folders, not \\"),
    "parent": (
        [('"left-open.wav"', '"raw/../../left-open.wav"')],
        "leaves the session folder; copy the file into it",
    ),
    "missing file": (
        [('"left-open.wav"', '"Left_open.WAV"')],
        'take[0].file: there is no file "Left_open.WAV" in the folder; did you mean '
        '"left-open.wav"?',
    ),
    "folder as file": ([('"left-open.wav"', '"."')], 'take[0].file: "." is not a file'),
    "empty file name": ([('"left-open.wav"', '""')], "take[0].file: must not be empty"),
    "long file name": ([('"left-open.wav"', f'"{"x" * 199}/{"y" * 300}"')], "at most 200"),
    "file of another take": (
        [('"left-loaded.wav"', '"left-open.wav"')],
        'take[1].file: channel 1 ("cold") of "left-open.wav" already belongs to take[0]; '
        "name this take's own file",
    ),
    "same file by another spelling": ([('"left-loaded.wav"', '"./left-open.wav"')], "take[0]"),
    "too few channels": (
        [('channels = ["hot", "cold"]', 'channels = ["hot"]'), ("[8.70, 4.35]", "[8.70]")],
        'take[0].channels: lists 1 and "left-open.wav" has 2; name every channel',
    ),
    "too many channels": (
        [
            ('channels = ["hot", "cold"]', 'channels = ["hot", "cold", "reference"]'),
            ("[8.70, 4.35]", "[8.70, 4.35, 1.0]"),
        ],
        'lists 3 and "left-open.wav" has 2',
    ),
    "no channels": (
        [('channels = ["hot", "cold"]', "channels = []")],
        "take[0].channels: must not be empty",
    ),
    "channel word": (
        [('["hot", "cold"]', '["hot", "ring"]')],
        "take[0].channels[1]: must be hot, cold, single-ended, reference, difference or unused",
    ),
    "terminal twice": (
        [('["cold", "hot"]', '["hot", "hot"]')],
        'take[1].channels[1]: "hot" is listed twice in one take',
    ),
    "reference twice": (
        [('["cold", "hot"]', '["reference", "reference"]')],
        '"reference" is listed twice',
    ),
    "difference beside a leg": (
        [('["cold", "hot"]', '["difference", "hot"]')],
        'take[1].channels: "difference" cannot stand with "hot" or "cold" in one take',
    ),
    "all unused": (
        [('["cold", "hot"]', '["unused", "unused"]')],
        "take[1].channels: every channel is unused",
    ),
    "too few inputs": (
        [
            (
                SESSION[SESSION.index("[[bench.input]]") : SESSION.index("[[bench.output]]")],
                "[[bench.input]]\nvolts_full_scale = 8.7\nimpedance_ohm = 20000\n",
            )
        ],
        "take[0].channels: has 2 channels and only 1 [[bench.input]] are described",
    ),
    "signal": (
        [('signal = "tone"', 'signal = "tones"')],
        "take[2].signal: must be multitone, tone, level-steps, sweep, idle, floor, channel-match, "
        'loop-back or check, not "tones" (did you mean "tone"?)',
    ),
    "multitone without tones": (
        [(TONES + "\nphases_deg = [0.0, 90.0, 31.5]\n", "")],
        'take[0].tones_hz: has no tones; signal "multitone" needs the frequencies it plays',
    ),
    "two tones of a tone": (
        [("tones_hz = [997.0]", "tones_hz = [997.0, 1000]")],
        'take[2].tones_hz: has 2 tones, but signal "tone" plays one tone',
    ),
    "idle with tones": (
        [('signal = "tone"', 'signal = "idle"')],
        'take[2].tones_hz: has 1 tone, but signal "idle" plays no tones',
    ),
    "tone twice": ([("[20.0, 41.0,", "[20.0, 20,")], "take[0].tones_hz[1]: 20 Hz is listed twice"),
    "tone of zero": ([("[20.0,", "[0.0,")], "take[0].tones_hz[0]: must be above 0, not 0.0"),
    "tone above half the rate": (
        [("997.0]", "24000.0]")],
        'take[0].tones_hz[2]: 24000 Hz is not below half the sample rate of "left-open.wav" '
        "(48000 Hz); tones must be below 24000 Hz",
    ),
    "injected tone above half the rate": (
        [("883.0]", "30000]")],
        "take[2].inject[1].tones_hz[1]: 30000 Hz is not below half the sample rate",
    ),
    "phases": (
        [("[0.0, 90.0, 31.5]", "[0.0, 90.0]")],
        "take[0].phases_deg: has 2 values and tones_hz has 3; one for each tone",
    ),
    "injected phases": (
        [("phases_deg = [0.0, 10.0]", "phases_deg = [0.0]")],
        "take[2].inject[1].phases_deg: has 1 value and tones_hz has 2",
    ),
    "scale of a take": (
        [("[8.70, 4.35]", "[8.70]")],
        "take[0].volts_full_scale: has 1 value and channels has 2; one for each channel",
    ),
    "two drives": (
        [("drive_volts = 0.25", "drive_volts = 0.25\ndrive_dbfs = -20")],
        "take[0].drive_dbfs: cannot stand beside drive_volts; give one of them",
    ),
    "state": ([('"play"', '"paused"')], "take[0].state: must be play, mute, standby or off"),
    "start without timebase": (
        [('timebase = "run-1"\n', "")],
        "take[0].start_frame: has no meaning without timebase",
    ),
    "negative start": ([("= 480000", "= -1")], "take[0].start_frame: must be 0 or more, not -1"),
    "half a frame": (
        [("= 480000", "= 480000.5")],
        "take[0].start_frame: must be a whole number, not 480000.5",
    ),
    "load to itself": (
        [('from = "hot", to = "ground"', 'from = "ground", to = "ground"')],
        'take[1].load[0].to: goes from "ground" to itself; from and to must differ',
    ),
    "load to nowhere": (
        [('to = "ground"', 'to = "earth"')],
        'take[1].load[0].to: must be hot, cold, single-ended or ground, not "earth"',
    ),
    "load of zero": ([("= 604.0", "= 0")], "take[1].load[0].ohm: must be 0.001 or more, not 0"),
    "load as a table": ([(f"[\n  {R1},", "[\n  [],")], "take[1].load[0]: must be a table"),
    "part in two places": (
        [('part = "R3"', 'part = "R1"')],
        'take[1].load[1].part: "R1" is already in use in this take; one resistor has one place',
    ),
    "part of two values": (
        [('state = "play"\n', f'state = "play"\nload = [{R1.replace("604.0", "606.0")}]\n')],
        'take[1].load[0].ohm: 604 ohm, but part "R1" is 606 ohm in take[0]; one part is one',
    ),
    "part of two uncertainties": (
        [('state = "play"\n', f'state = "play"\nload = [{R1.replace("0.1", "1")}]\n')],
        'take[1].load[0].u95_percent: 0.1 %, but part "R1" has 1 % in take[0]',
    ),
    "two injectors in one leg": (
        [('into = "hot"', 'into = "cold"')],
        'take[2].inject[1].into: a second injector into "cold"; one for each terminal',
    ),
    "injector without tones": (
        [(", tones_hz = [71.0, 883.0], phases_deg = [0.0, 10.0]", "")],
        "take[2].inject[1].tones_hz: has no tones; an injector that is not silent",
    ),
    "injector without volts": (
        [('part = "R4", volts = 0', 'part = "R4"')],
        "take[2].inject[0].volts: is missing; a number is needed",
    ),
    "injector into pin 1": (
        [('into = "hot"', 'into = "ground"')],
        "take[2].inject[0].into: must be hot, cold or single-ended",
    ),
    "injected tone the device plays": (
        [("[71.0, 883.0]", "[71.0, 997.0]")],
        "take[2].inject[1].tones_hz[1]: 997 Hz is also a tone that the device plays",
    ),
    "tone of two injectors": (
        [("volts = 0 }", "volts = 0.1, tones_hz = [883] }")],
        "take[2].inject[1].tones_hz[1]: 883 Hz is also a tone that the injector into hot carries",
    ),
    "floor with a load": (
        [(f'signal = "multitone"\n{TONES}\nload', 'signal = "floor"\nload')],
        'take[1].load: a "floor" take has nothing connected; remove load',
    ),
    "sweep without its keys": (
        [(f'signal = "multitone"\n{TONES}\nload', 'signal = "sweep"\nfrom_hz = 20\nload')],
        'take[1].to_hz: is missing; signal "sweep" needs from_hz, to_hz and sweep_s',
    ),
    "sweep downward": (
        [
            (
                f'signal = "multitone"\n{TONES}\nload',
                'signal = "sweep"\nfrom_hz = 200\nto_hz = 20\nsweep_s = 1\nload',
            )
        ],
        "take[1].from_hz: 200 is not below to_hz = 20",
    ),
    "sweep too high": (
        [
            (
                f'signal = "multitone"\n{TONES}\nload',
                'signal = "sweep"\nfrom_hz = 200\nto_hz = 24000\nsweep_s = 1\nload',
            )
        ],
        "take[1].to_hz: 24000 Hz is not below half the sample rate",
    ),
    "key of another signal": (
        [('signal = "tone"', 'signal = "tone"\nstep_s = 1.0')],
        'take[2].step_s: belongs to signal "level-steps", this take is "tone"',
    ),
    "levels that fall": (
        [
            (
                'signal = "tone"',
                'signal = "level-steps"\nlevels_volts = [0.1, 0.3, 0.2]\nstep_s = 1.0',
            )
        ],
        "take[2].levels_volts[2]: 0.2 is not above the level before it, 0.3; levels must rise",
    ),
    "two starts that overlap": (
        [
            ('name = "left loaded"', 'name = "left loaded"\ntimebase = "run-1"'),
            ("start_frame = 480000", "start_frame = 100"),
        ],
        "take[1].start_frame: 0: the file then overlaps take[0] (frames 100 to 4900)",
    ),
    "no take": (
        [(SESSION[SESSION.index("[[take]]") :], "")],
        "session.toml: no take in it; at least one [[take]] table is needed",
    ),
}


@pytest.mark.parametrize("name", BENT)
def test_refused(bend: Bend, name: str) -> None:
    pairs, expected = BENT[name]
    assert expected in complaint_of(bend(*pairs))


def test_the_line_is_that_of_the_key(bend: Bend) -> None:
    folder = bend(("883.0]", "30000]"))
    text = (folder / "session.toml").read_text()
    # Found in the text itself.
    assert f"session.toml line {line_with(text, '30000')}: take[2]" in complaint_of(folder)


def test_missing_folder_and_session(tmp_path: Path) -> None:
    assert "there is no such folder or file" in complaint_of(tmp_path / "none")
    assert "this folder holds no session.toml" in complaint_of(tmp_path)
    (tmp_path / "facts.json").write_text("{}", "utf-8")
    assert "give the facts.json in it" in complaint_of(tmp_path)
    # What the system says of these two differs between versions of Python.
    for odd in ("a\x00b", "x" * 500):
        assert "there is no such" in (said := complaint_of(odd)) or "cannot be read" in said


def test_two_rates_on_one_timebase(folder: Path, bend: Bend) -> None:
    bend(('name = "left loaded"', 'name = "left loaded"\ntimebase = "run-1"'))
    soundfile.write(folder / FILES[1], samples(), 96000)
    assert '"run-1" runs at 48000 Hz in take[0] and at 96000 Hz here' in complaint_of(folder)


def test_different_rates_are_fine_without_a_common_timebase(folder: Path) -> None:
    soundfile.write(folder / FILES[1], samples(), 96000)
    # As just written.
    assert [t.sample_rate for t in read_session(folder).takes] == [48000, 96000, 48000]


def test_one_file_cannot_start_twice(folder: Path, bend: Bend) -> None:
    bend(
        ('["hot", "cold"]', '["hot", "unused"]'),
        ('"left-loaded.wav"', '"left-open.wav"\ntimebase = "run-1"'),
        ('["cold", "hot"]', '["unused", "single-ended"]'),
    )
    assert "0, but the same file starts at 480000 in take[0]" in complaint_of(folder)


@pytest.mark.parametrize("absolute", [True, False])
def test_a_link_out_of_the_folder_is_refused(
    folder: Path, tmp_path_factory: pytest.TempPathFactory, absolute: bool
) -> None:
    outside = tmp_path_factory.mktemp("outside")
    (folder / FILES[0]).rename(outside / "x.wav")
    target = outside / "x.wav" if absolute else Path("..") / outside.name / "x.wav"
    (folder / FILES[0]).symlink_to(target)
    assert "leads out of the session folder by a symbolic link" in complaint_of(folder)


def test_a_linked_subfolder_is_refused(
    folder: Path, tmp_path_factory: pytest.TempPathFactory, bend: Bend
) -> None:
    outside = tmp_path_factory.mktemp("outside")
    soundfile.write(outside / "x.wav", samples(), RATE)
    (folder / "raw").symlink_to(outside)
    bend(('"left-open.wav"', '"raw/x.wav"'))
    assert "leads out of the session folder by a symbolic link" in complaint_of(folder)


def test_a_link_to_itself_is_refused(folder: Path) -> None:
    (folder / FILES[0]).unlink()
    (folder / FILES[0]).symlink_to(folder / FILES[0])
    assert "take[0].file" in complaint_of(folder)


# --- audio files ------------------------------------------------------------------------------


def rewrite(folder: Path, change: Callable[[bytearray], bytes]) -> Path:
    path = folder / FILES[0]
    path.write_bytes(change(bytearray(path.read_bytes())))
    return folder


def data_length_at(raw: bytes) -> int:
    return raw.index(b"data") + 4


def with_length(length: int) -> Callable[[bytearray], bytes]:
    def change(raw: bytearray) -> bytes:
        struct.pack_into("<I", raw, data_length_at(raw), length)
        return raw

    return change


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (lambda raw: b"", "is empty: 0 bytes"),
        (lambda raw: b"hello, this is text", "is not an audio file that can be read"),
        (lambda raw: b"RIFF", "is not an audio file that can be read"),
        (lambda raw: raw[:20], "has a damaged header: its format is too short"),
        (lambda raw: raw[:36], "is cut short: its header ends before any sample"),
        (lambda raw: raw[:-600], "promises 4800 samples a channel and 4700 are there"),
        (lambda raw: raw[: data_length_at(raw) + 4], "promises 4800 samples a channel and 0 are"),
        (with_length(0), "was never finished: the recorder stopped before writing the length"),
        (with_length(0xFFFFFFFF), "was never finished"),
        (
            lambda raw: with_length(0)(raw)[: data_length_at(raw) + 4],
            "is empty: it holds no samples",
        ),
        (with_length(6 * 100), "holds only 100 samples a channel, at least 2048 are needed"),
    ],
)
def test_damaged_wav(folder: Path, change: Callable[[bytearray], bytes], expected: str) -> None:
    message = complaint_of(rewrite(folder, change))
    assert "take[0].file: " in message
    assert '"left-open.wav"' in message
    assert expected in message


@pytest.mark.parametrize("rate", [8000, 44099, 384001])
def test_rates_outside_the_range(folder: Path, rate: int) -> None:
    soundfile.write(folder / FILES[0], samples(), rate)
    expected = f"has a sample rate of {rate} Hz; 44100 to 384000 Hz can be used"
    assert expected in complaint_of(folder)


@pytest.mark.parametrize("subtype", ["ULAW", "ALAW", "IMA_ADPCM"])
def test_lossy_samples(folder: Path, subtype: str) -> None:
    soundfile.write(folder / FILES[0], samples(), RATE, subtype=subtype)
    assert "which is not exact; record PCM or float WAV, or FLAC" in complaint_of(folder)


@pytest.mark.parametrize("kind", ["FLAC", "RF64"])
def test_truncated_flac_and_rf64(folder: Path, kind: str) -> None:
    path = folder / FILES[0]
    soundfile.write(path, samples(2, 48000), RATE, format=kind, subtype="PCM_24")
    path.write_bytes(path.read_bytes()[:-5000])
    assert "is cut short" in complaint_of(folder)


def test_a_wav_that_outgrew_its_header(folder: Path) -> None:
    path = folder / FILES[0]
    with path.open("r+b") as file:
        # A file with a hole in it: 4 GiB and a little, of which the disk holds next to nothing.
        file.truncate(path.stat().st_size + 2**32)
    assert "is longer than a WAV header can say (4 GB)" in complaint_of(folder)


def test_rf64_beyond_4_gb(folder: Path) -> None:
    path = folder / FILES[0]
    frames = 2**32 // 6 + 1000
    soundfile.write(path, samples(), RATE, format="RF64", subtype="PCM_24")
    raw = bytearray(path.read_bytes())
    # EBU Tech 3306: ds64 holds the sizes of the file, of the data and the sample count.
    struct.pack_into("<QQQ", raw, raw.index(b"ds64") + 8, 2**32 + 9000, frames * 6, frames)
    start = raw.index(b"data") + 8
    path.write_bytes(raw[:start])
    with path.open("r+b") as file:
        file.truncate(start + frames * 6)
    # As just written into the header.
    assert read_session(folder).takes[0].frames == frames


def test_rf64_never_finished(folder: Path) -> None:
    path = folder / FILES[0]
    soundfile.write(path, samples(), RATE, format="RF64", subtype="PCM_24")
    raw = bytearray(path.read_bytes())
    struct.pack_into("<Q", raw, raw.index(b"ds64") + 16, 0)
    path.write_bytes(raw)
    assert "was never finished" in complaint_of(folder)


def test_a_session_is_what_it_says(folder: Path) -> None:
    session = read_session(folder)
    assert isinstance(session, Session)
    assert np.isfinite([i.impedance_ohm for i in session.bench.inputs]).all()


# --- which half of the device plays -----------------------------------------------------------


def test_a_take_says_which_side_plays(bend: Bend) -> None:
    said = ('driven_input_leg = "both"', 'driven_side = "right"')
    first, second = read_session(bend(said)).takes[:2]
    # as written: a take of the left while only the right plays is one of crosstalk
    assert (first.driven_side, first.crosstalk) == ("right", True)
    assert (second.driven_side, second.crosstalk) == ("both", False)


def test_a_mono_device_has_no_driven_side(bend: Bend) -> None:
    told = complaint_of(
        bend(
            ('side = "left"\nchannels', 'side = "mono"\nchannels'),
            ('driven_input_leg = "both"', 'driven_side = "left"'),
        )
    )
    assert "driven_side" in told
    assert "mono" in told
