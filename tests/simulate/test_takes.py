"""What stands at the recorder, and what the files hold of it."""

import math

import numpy as np
import pytest
import scipy.signal
import soundfile

from probe.session.read import read_session
from probe.simulate import library
from probe.simulate.build import stage_of
from probe.simulate.describe import session_of
from probe.simulate.network import as_read, noise_variance, recorded, truth
from probe.simulate.sound import cosine, quantised, samples, volts
from probe.simulate.write import simulate

EXACT = {"noise_nv": 0.0}


def stage(circuit="core-and-inverter", **more):
    device = {"maker": "Harrowgate", "model": "Tern"}
    truth_table = {"input": [EXACT], **more.pop("truth", {})}
    return stage_of({"circuit": circuit, "device": device, "truth": truth_table, **more})


def fitted(signal, hz, rate):
    """Least-squares rms phasors of known tones at the first frame, shape (F, C)."""
    turns = np.outer(np.arange(signal.shape[0]) / rate, 2 * np.pi * np.asarray(hz))
    columns = np.sqrt(2) * np.hstack([np.cos(turns), -np.sin(turns)])
    found = np.linalg.lstsq(columns, signal, rcond=None)[0]
    return found[: len(hz)] + 1j * found[len(hz) :]


@pytest.mark.parametrize("circuit", library.names())
def test_every_take_is_the_matrix_equation_of_its_stage(circuit):
    # closed form: V = (1 + Z Y)^-1 (Voc + Z J), Z and Voc of the unloaded circuit
    made = stage(circuit, phase="none", truth={"draw": True}, seed=5)
    for take in made.takes:
        found = recorded(made, take)
        alone = truth(made, found.hz, "left")
        y = np.zeros((found.hz.size, 3, 3), dtype=complex)
        j = np.zeros((found.hz.size, 3), dtype=complex)
        order = {"hot": 0, "cold": 1, "single-ended": 2}
        for k, channel in enumerate(take.channels):
            i, own = order[channel], made.true.inputs[k]
            y[:, i, i] += 1 / own.ohm + 2j * np.pi * found.hz * own.farad
        for load in take.loads:
            g = 1 / (load.ohm * made.true.parts[load.part])
            ends = [order[e] for e in (load.from_, load.to) if e != "ground"]
            for a in ends:
                for b in ends:
                    y[:, a, b] += g if a == b else -g
        for injection in take.injections:
            i, ohm = order[injection.into], injection.through_ohm * made.true.parts[injection.part]
            y[:, i, i] += 1 / ohm
            for tone, phase in zip(injection.tones_hz, injection.phases_rad, strict=True):
                emf = injection.volts * made.true.injector * np.exp(1j * phase)
                j[found.hz == tone, i] += emf / ohm
        drive = np.zeros(found.hz.size, dtype=complex)
        for tone, phase in zip(take.tones_hz, take.phases_rad, strict=True):
            drive[found.hz == tone] = take.drive_volts * np.exp(1j * phase)
        right = alone.voc * drive[:, None] + (alone.z @ j[:, :, None])[:, :, 0]
        expected = np.linalg.solve(np.eye(3) + alone.z @ y, right[:, :, None])[:, :, 0]
        channels = [order[c] for c in take.channels]
        np.testing.assert_allclose(
            found.volts, expected[:, channels], rtol=1e-7, atol=1e-12, err_msg=take.name
        )


@pytest.mark.parametrize("phase", ["reference", "stream", "none"])
@pytest.mark.parametrize("clock_ppm", [pytest.param(0.0, marks=pytest.mark.long), 300.0])
@pytest.mark.long
def test_the_files_hold_the_phasors(tmp_path, phase, clock_ppm):
    # independent least-squares fit at the exact frequencies; 24 bits over 8.7 V leave 1 uV steps,
    # so over 96,000 frames some 10 nV remain of rounding and dither
    made = stage(phase=phase, truth={"clock_ppm": clock_ppm, "crosstalk_db": -80.0}, seed=3)
    simulate(made, tmp_path / "s")
    for take in made.takes[:4]:
        signal, rate = soundfile.read(tmp_path / "s" / take.file, always_2d=True)
        scale = np.array([i.volts_full_scale for i in take.inputs])
        hz = recorded(made, take).hz
        found = fitted(signal * scale, hz / (1 + clock_ppm * 1e-6), rate)
        np.testing.assert_allclose(found, as_read(made, take), atol=60e-9)


def test_takes_of_one_stream_share_its_phase():
    # a tone seen at start_frame s has turned by 2 pi f s / rate
    made = stage(phase="stream")
    one, two = made.takes[0], made.takes[-1]
    hz = recorded(made, one).hz
    turn = np.exp(2j * np.pi * hz * (two.start_frame - one.start_frame) / one.sample_rate)
    np.testing.assert_allclose(as_read(made, one) * turn[:, None], as_read(made, two), rtol=1e-8)
    assert one.timebase == two.timebase
    assert two.start_frame > one.start_frame + one.frames


def test_without_a_reference_each_take_is_late_by_its_own_delay():
    made = stage(phase="none")
    delays = [t.delay_s * t.sample_rate for t in made.takes]
    np.testing.assert_allclose(delays, np.round(delays), atol=1e-6)  # one clock: whole samples
    assert len(set(delays)) == len(delays)
    foreign = stage(phase="none", truth={"clock_ppm": 100.0})
    parts = [t.delay_s * t.sample_rate % 1.0 for t in foreign.takes]
    assert sum(0.01 < p < 0.99 for p in parts) >= len(parts) - 1


def test_the_reference_channel_records_the_drive():
    made = stage(phase="reference")
    take = made.takes[0]
    assert take.channels[-1] == "reference"
    found = recorded(made, take)
    expected = take.drive_volts * np.exp(1j * np.array(take.phases_rad))
    np.testing.assert_allclose(found.volts[:, 2], expected, rtol=1e-12)


def test_injected_tones_may_keep_the_recorders_clock():
    made = stage(
        phase="none",
        takes=("inject-hot",),
        truth={"clock_ppm": 400.0, "injector_clock": "recorder"},
    )
    take = made.takes[0]
    found = recorded(made, take)
    device = found.hz[found.played] / (1 + 400e-6)
    injected = found.hz[found.injected[:, 0]]
    fit = fitted(volts(made, take), np.concatenate([device, injected]), take.sample_rate)
    expected = np.abs(np.concatenate([found.volts[found.played], found.volts[~found.played]]))
    np.testing.assert_allclose(np.abs(fit), expected, atol=1e-7)


def test_silence_ramps_and_a_step():
    made = stage(
        takes=(),
        phase="none",
        silence_before_s=0.25,
        silence_after_s=0.1,
        fade_s=0.05,
        seconds=1.0,
        take=[{"preset": "open", "level_step": {"at_s": 0.75, "db": -6.0}}],
        drive={"tones_hz": (997.0,), "phases_deg": (0.0,), "volts": 1.0},
    )
    wave = volts(made, made.takes[0])[:, 0]
    rate = 48000
    assert wave.size == round(1.35 * rate)
    assert np.all(wave[: round(0.25 * rate)] == 0)
    assert np.all(wave[round(1.25 * rate) :] == 0)

    def level(start, stop):
        return np.sqrt(np.mean(wave[round(start * rate) : round(stop * rate)] ** 2))

    # definition of the decibel
    assert level(0.8, 1.15) / level(0.4, 0.7) == pytest.approx(10 ** (-6 / 20), rel=1e-3)
    # a raised cosine of length T holds 3/8 of the steady power
    ramp = level(0.25, 0.30) ** 2 / level(0.4, 0.7) ** 2
    assert ramp == pytest.approx(3 / 8, rel=0.02)


def test_the_tone_begins_with_its_declared_phases():
    made = stage(takes=("open",), phase="none", silence_before_s=0.5)
    assert made.takes[0].delay_s == 0.5


def test_somebody_presses_record_at_another_moment_in_every_take():
    made = stage(phase="none", silence_before_s=0.3, silence_spread_s=0.2, seconds=1.0)
    before = [t.silence_before_s for t in made.takes]
    assert len(set(before)) == len(before)
    assert min(before) >= 0.3
    assert max(before) <= 0.5
    assert [t.delay_s for t in made.takes] == before
    gate = volts(made, made.takes[0])[:, 0] != 0
    assert np.flatnonzero(gate)[0] == pytest.approx(before[0] * 48000, abs=2)


def test_drift_moves_each_channel_of_each_take():
    made = stage(phase="none", truth={"drift_db": 0.05}, seed=2)
    levels = np.array([t.levels for t in made.takes])
    calm = stage(phase="none", seed=2)
    ratio = np.abs(as_read(made, made.takes[0]) / as_read(calm, calm.takes[0]))
    np.testing.assert_allclose(ratio, np.tile(levels[0], (ratio.shape[0], 1)), rtol=1e-9)
    # 18 draws of sd 0.05 dB: within 99.9 % of chi-square's range of the sample deviation
    assert 0.02 < np.std(20 * np.log10(levels)) < 0.09


@pytest.mark.long
def test_drawn_errors_have_the_spread_that_was_declared():
    # expanded uncertainty (k = 2): half of it is one standard deviation; over 300 seeds the sample
    # deviation lies within 14 % of it (99.9 % of chi-square)
    gains, ohms, parts, injector = [], [], [], []
    for seed in range(300):
        made = stage(phase="none", takes=("open", "inject-hot"), truth={"draw": True}, seed=seed)
        gains.append(made.true.inputs[0].gain - 1)
        ohms.append(made.true.inputs[0].ohm / 20e3 - 1)
        parts.append(made.true.parts["R2"] - 1)
        injector.append(made.true.injector - 1)
    for drawn, u95 in [(gains, 0.005), (ohms, 0.01), (parts, 0.001), (injector, 0.005)]:
        assert np.std(drawn) == pytest.approx(u95 / 2, rel=0.14)


def test_noise_has_its_density():
    # reference library: Welch's method; white 40 nV/sqrt(Hz), twice the power at the corner
    made = stage(
        takes=("floor",),
        phase="none",
        seconds=40.0,
        truth={"input": [{"noise_nv": 40.0, "noise_corner_hz": 200.0}]},
    )
    take = made.takes[0]
    hz, power = scipy.signal.welch(volts(made, take)[:, 0], 48000, nperseg=1 << 14)
    for low, high in [(40, 60), (180, 220), (1000, 1400), (8000, 12000), (18000, 23000)]:
        band = (hz > low) & (hz < high)
        expected = np.mean((40e-9) ** 2 * (1 + 200.0 / hz[band]))
        # the held steps ripple by some percent about 1/f
        assert np.mean(power[band]) == pytest.approx(expected, rel=0.12), low
        assert noise_variance(made, take, hz[band])[0, 0] == pytest.approx(
            (40e-9) ** 2 * (1 + 200.0 / hz[band][0]) / 40.0
        )


def test_channels_have_noise_of_their_own():
    made = stage(takes=("floor",), phase="none", truth={"input": [{"noise_nv": 40.0}]})
    wave = volts(made, made.takes[0])
    # correlation of 96,000 independent samples: within 4.5 / sqrt(N)
    assert abs(np.corrcoef(wave.T)[0, 1]) < 4.5 / math.sqrt(wave.shape[0])


def test_hum_has_its_level_and_its_phase_between_channels():
    line = {"hz": 50.0, "microvolts": 100.0}
    made = stage(
        takes=("floor",),
        phase="none",
        truth={
            "input": [
                {**EXACT, "hum": [{**line, "phase_deg": 20.0}]},
                {**EXACT, "hum": [{**line, "microvolts": 50.0, "phase_deg": 110.0}]},
            ]
        },
    )
    wave = volts(made, made.takes[0])
    found = fitted(wave, [50.0], 48000)[0]
    np.testing.assert_allclose(np.abs(found), [100e-6, 50e-6], rtol=1e-9)
    assert np.degrees(np.angle(found[1] / found[0])) == pytest.approx(90.0, abs=1e-6)


def test_cosine_without_a_library():
    turns = np.random.default_rng(1).uniform(-5e4, 5e4, 20000)
    exact = np.cos(2 * np.pi * (turns - np.round(turns)))
    np.testing.assert_allclose(cosine(turns), exact, atol=5e-16)


@pytest.mark.parametrize("bits", [16, 24])
def test_quantisation_is_unbiased_and_ends_at_full_scale(bits):
    step = 2.0 ** (1 - bits)
    level = np.full((200_000, 1), 0.3 + 0.37 * step)
    found = quantised(level, bits, np.random.default_rng(4))
    assert np.all(found % (1 << (32 - bits)) == 0)
    error = (found / 2.0**31 - level) / step
    # closed form: triangular dither of two steps' width makes the total error's mean 0 and its
    # variance 1/4 step²; 4.5 standard deviations of the estimates
    assert abs(np.mean(error)) < 4.5 * 0.5 / math.sqrt(level.size)
    assert np.var(error) == pytest.approx(0.25, rel=0.02)
    assert np.max(np.abs(error)) <= 1.5
    ends = quantised(np.array([[2.0], [-2.0]]), bits, np.random.default_rng(4))
    assert ends[:, 0].tolist() == [2**31 - 2 ** (32 - bits), -(2**31)]


@pytest.mark.parametrize("sample", ["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
def test_the_file_gives_back_the_samples(tmp_path, sample):
    made = stage(takes=("open",), sample=sample, seconds=0.1)
    simulate(made, tmp_path / "s")
    take = made.takes[0]
    stored = samples(made, take)
    if sample in ("FLOAT", "DOUBLE"):
        read, _ = soundfile.read(tmp_path / "s" / take.file, always_2d=True)
        np.testing.assert_allclose(read, stored, atol=6e-8 if sample == "FLOAT" else 0)
    else:
        read, _ = soundfile.read(tmp_path / "s" / take.file, dtype="int32", always_2d=True)
        np.testing.assert_array_equal(read, stored)


@pytest.mark.parametrize("container", ["rf64", "flac", "smaller"])
def test_other_containers_hold_the_same_samples(tmp_path, container):
    made = stage(takes=("open",), container=container, seconds=0.1)
    simulate(made, tmp_path / "s")
    take = made.takes[0]
    read, _ = soundfile.read(tmp_path / "s" / take.file, dtype="int32", always_2d=True)
    np.testing.assert_array_equal(read, samples(stage(takes=("open",), seconds=0.1), take))


@pytest.mark.parametrize("circuit", ["cross-coupled", "floating-transformer", "hot-leg-broken"])
def test_peaks_stay_6_db_below_full_scale(circuit):
    made = stage(circuit, phase="reference", seconds=0.5, sample="DOUBLE")
    for take in made.takes:
        assert np.max(np.abs(samples(made, take))) < 0.5, take.name


def test_injections_stay_below_what_a_device_bears():
    # common practice, no source: 1.4 V peak in all into a device that is on, 50 mV into one that
    # is off (protection diodes)
    made = stage(takes=("inject-hot", "inject-cold-off"))
    for take, most in zip(made.takes, (1.4, 0.05), strict=True):
        injection = take.injections[0]
        assert math.sqrt(2) * injection.volts * len(injection.tones_hz) < most


@pytest.mark.parametrize(
    ("leg", "hot", "cold"), [("both", 1.0, -1.0), ("hot", 1.0, 0.0), ("cold", 0.0, -1.0)]
)
def test_two_paths_answer_each_to_its_own_input_leg(leg, hot, cold):
    # two independent amplifiers; recorded with 20 kohm, so a little less than 1
    made = stage(
        "symmetrical-dual",
        takes=(),
        phase="none",
        take=[{"preset": "open", "driven_input_leg": leg}],
        drive={"volts": 0.1},
    )
    take = made.takes[0]
    found = recorded(made, take).volts[6] / (0.1 * np.exp(1j * take.phases_rad[6]))
    np.testing.assert_allclose(found, (hot, cold), atol=0.006)


def test_one_core_answers_with_both_legs_to_either_input_leg():
    made = stage(
        takes=(),
        phase="none",
        take=[{"preset": "open", "driven_input_leg": "hot"}],
        drive={"volts": 0.1},
    )
    take = made.takes[0]
    found = recorded(made, take).volts[6] / (0.1 * np.exp(1j * take.phases_rad[6]))
    np.testing.assert_allclose(found, (0.5, -0.5), atol=0.006)


def test_a_volume_setting_is_a_level():
    made = stage(
        phase="none",
        volumes={"full": 0.0, "noon": -20.0},
        volume="full",
        takes=(),
        take=[{"preset": "open", "name": "a"}, {"preset": "open", "name": "b", "volume": "noon"}],
        drive={"volts": 0.1},
    )
    a, b = (np.abs(recorded(made, t).volts) for t in made.takes)
    np.testing.assert_allclose(b, a / 10, rtol=1e-12)


def test_takes_of_the_bench_itself():
    made = stage(phase="none", takes=("channel-match", "check-hot", "idle"))
    match, check, idle = made.takes
    seen = recorded(made, match).volts
    np.testing.assert_allclose(seen[:, 0], seen[:, 1], rtol=1e-12)
    # divider: 100 ohm, 20 kohm and 150 pF against 10 kohm
    hz = recorded(made, check).hz
    parallel = 1 / (1 / 100 + 1 / 20e3 + 2j * np.pi * hz * 150e-12)
    expected = np.abs(0.12 * parallel / (10e3 + parallel))
    np.testing.assert_allclose(np.abs(recorded(made, check).volts[:, 0]), expected, rtol=1e-12)
    assert recorded(made, idle).hz.size == 0


def test_a_load_on_a_difference_input():
    made = stage(phase="none", takes=(), take=[{"channels": ("difference",)}], drive={"volts": 0.1})
    take = made.takes[0]
    found = recorded(made, take)
    both = stage(phase="none", takes=("open",), drive={"volts": 0.1})
    legs = recorded(both, both.takes[0]).volts
    np.testing.assert_allclose(found.volts[:, 0], legs[:, 0] - legs[:, 1], rtol=1e-12)


@pytest.mark.parametrize("phase", ["reference", "stream", "none"])
def test_a_reader_finds_what_was_described(tmp_path, phase):
    made = stage(
        phase=phase,
        sides=("left", "right"),
        seconds=0.3,
        takes=("open", "inject-cold", "load-hot", "inject-cold-off", "floor", "idle"),
        take=[
            {
                "preset": "open",
                "name": "loud",
                "volts_full_scale": (2.0, 3.0, 4.0)[: 2 + (phase == "reference")],
            }
        ],
        drive={"file_volts_full_scale": 2.0, "volts": 0.1},
        meter=[{"side": "left", "between": ("hot", "ground"), "volts_dc": 0.004}],
    )
    simulate(made, tmp_path / "s")
    read = read_session(tmp_path / "s")
    described = session_of(made, tmp_path / "s")
    assert read.device == described.device
    assert read.bench == described.bench
    assert read.meters == described.meters
    for one, other in zip(read.takes, described.takes, strict=True):
        for key in ("phases_rad",):
            np.testing.assert_allclose(getattr(one, key) or (), getattr(other, key) or ())
        assert one.name == other.name
        assert one.channels == other.channels
        assert one.inputs == other.inputs
        assert one.loads == other.loads
        assert [i.tones_hz for i in one.injections] == [i.tones_hz for i in other.injections]
        assert (one.state, one.signal, one.volume) == (other.state, other.signal, other.volume)
        assert (one.timebase, one.start_frame) == (other.timebase, other.start_frame)
        assert (one.frames, one.sample_rate) == (other.frames, other.sample_rate)
        assert one.drive_volts == other.drive_volts
        assert one.drive_dbfs == pytest.approx(other.drive_dbfs)
    # closed form: 0.1 V under 2 V is -26.02 dB
    assert read.takes[0].drive_dbfs == pytest.approx(-26.0206, abs=1e-4)


def test_sides_may_differ_and_take_their_own_tolerances():
    made = stage(
        "symmetrical-dual-coupled",
        sides=("left", "right"),
        side={"right": {"circuit": "cold-capacitor-dried", "parts": {"R_HOT": 50.0}}},
        tolerances={"seed": 3},
    )
    left, right = (truth(made, [20.0], side).z[0] for side in ("left", "right"))
    assert abs(left[1, 1]) < 200
    assert abs(right[1, 1]) > 5000
    assert right[0, 0].real == pytest.approx(50.0, rel=0.01)  # what is said is not drawn


def test_a_part_may_change_during_one_take():
    made = stage(
        phase="none",
        takes=("open",),
        take=[{"preset": "second-open", "parts": {"R_COLD": {"open": True}}}],
        drive={"volts": 0.1},
    )
    before, after = (np.abs(recorded(made, t).volts[6, 1]) for t in made.takes)
    assert before > 0.09
    assert after < 0.001


def test_one_seed_one_session(tmp_path):
    one, again, other = (stage(seconds=0.2, takes=("open",), seed=s) for s in (7, 7, 8))
    np.testing.assert_array_equal(samples(one, one.takes[0]), samples(again, again.takes[0]))
    assert np.any(samples(one, one.takes[0]) != samples(other, other.takes[0]))


def test_an_inline_netlist():
    parts = {
        "IN": {"source": "voltage", "between": ("in", "0"), "hot": 1.0, "cold": -1.0},
        "E": {"gain": -1.0, "plus": "in", "minus": "0", "between": ("out", "0")},
        "R1": {"ohm": 75.0, "between": ("in", "hot")},
        "R2": {"ohm": 75.0, "between": ("out", "cold")},
    }
    made = stage(
        None,
        netlist={"terminals": {"hot": "hot", "cold": "cold"}, "parts": parts},
        takes=("open", "load-cold"),
        phase="none",
    )
    z = truth(made, [1000.0], "left")
    np.testing.assert_allclose(np.diag(z.z[0])[:2], 75.0, rtol=1e-12)
    np.testing.assert_allclose(z.voc[0, :2], (1.0, -1.0), rtol=1e-12)
    assert np.all(np.isnan(z.z[0, 2]))
