"""Noise and hum: published weightings, closed forms, a reference library, bounds and mutes."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.signal
import soundfile

from probe.measures.spectra import spectrum_of
from probe.measures.weighting import a_weight, a_weighting_db, in_band
from probe.session.read import read_session
from probe.simulate.write import simulate

from .made import found, stage

# IEC 61672-1, table of design goals, 10 Hz to 20 kHz in third octaves, as five public programs
# carry it; the rows stand at the exact frequencies 1000 x 10^(n/10), n = -20 .. 13
A_TABLE = (
    *(-70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1),
    *(-13.4, -10.9, -8.6, -6.6, -4.8, -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2),
    *(1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3),
)

BAND = math.sqrt(20e3 - 20.0)


def test_a_weighting_is_the_published_table():
    exact = 1000.0 * 10.0 ** (np.arange(-20, 14) / 10.0)
    # the table is rounded to 0.1 dB, so the formula may differ by 0.05 dB
    assert np.abs(a_weighting_db(exact) - np.array(A_TABLE)).max() <= 0.05


def test_white_noise_reads_2_05_db_lower_a_weighted():
    hz = np.arange(1.0, 30e3)
    white = in_band(hz)
    lower = 10.0 * np.log10(np.sum(a_weight(hz)[white]) / np.sum(white))
    # closed form: the mean of the published weighting from 20 Hz to 20 kHz
    assert lower == pytest.approx(-2.05, abs=0.01)


def test_spectrum_is_that_of_a_reference_library(tmp_path):
    rng = np.random.default_rng(1)
    wave = scipy.signal.lfilter([1.0], [1.0, -0.9], rng.standard_normal((96000, 2)), axis=0)
    wave[:, 1] += 0.5 * wave[:, 0]
    simulate(stage(takes=["idle"], seconds=2.0, sample="DOUBLE"), tmp_path / "s")
    soundfile.write(tmp_path / "s" / "left-idle.wav", 1e-3 * wave, 48000, "DOUBLE")
    take = read_session(tmp_path / "s").takes[0]
    ours = spectrum_of(take)
    length = 2 * (len(ours.hz) - 1)
    shape = scipy.signal.windows.kaiser(length, 18.0, sym=False)
    volts = 8.7e-3 * wave
    # reference library: scipy.signal.csd with the same window and overlap
    args = {"fs": 48000, "window": shape, "noverlap": length * 3 // 4, "detrend": False}
    _, own = scipy.signal.welch(volts[:, 0], **args)
    _, cross = scipy.signal.csd(volts[:, 1], volts[:, 0], **args)
    assert ours.density[:, 0, 0].real == pytest.approx(own, rel=1e-9)
    assert np.abs(ours.density[:, 0, 1] - cross).max() < 1e-9 * np.abs(cross).max()


def test_spread_of_a_spectrum_is_what_it_says(tmp_path):
    rng = np.random.default_rng(2)
    simulate(stage(takes=["idle"], seconds=1.0, sample="FLOAT"), tmp_path / "s")
    take = read_session(tmp_path / "s").takes[0]
    seen, said = [], 0.0
    for _ in range(60):
        soundfile.write(take.path, 1e-3 * rng.standard_normal((48000, 2)), 48000, "FLOAT")
        one = spectrum_of(take)
        band = in_band(one.hz, (1e3, 3e3))
        for channel in (0, 1):
            density = one.density[band, channel, channel].real
            seen.append(density.sum() * one.bin_hz)
            said = math.sqrt(2.0 / one.freedom(density))
    spread = float(np.std(seen) / np.mean(seen))
    # 120 values: their standard deviation scatters by 6.5 %, four of that
    assert spread == pytest.approx(said, rel=0.26)


def test_noise_of_a_resistor(tmp_path):
    # 4kTRB, 1 kohm, 20 kHz, 300 K: 0.5756 uV
    density = 0.5756e-6 / math.sqrt(20e3)
    facts = found(
        tmp_path,
        sample="FLOAT",
        device_noise={"hot_nv": 1e9 * density},
        truth={"input": [{"noise_nv": 1.0}]},
        # an input that takes nothing off: what the output's impedance is does not matter
        bench={"input": [{"u95_percent": 0.0, "impedance_ohm": 1e9, "capacitance_pf": 0.0}]},
    )["sides"]["left"]["facts"]
    hot = facts["hot_noise"]
    assert abs(hot["value"] - density * BAND) < 1.5 * hot["u95"]
    assert hot["u95"] < 0.02 * hot["value"]
    lower = 20.0 * math.log10(facts["hot_noise_a"]["value"] / hot["value"])
    # published: white noise reads 2.05 dB lower; the noise of one take scatters by 0.1 dB
    assert lower == pytest.approx(-2.05, abs=0.2)


@pytest.mark.long
def test_differential_noise_counts_what_the_legs_share(tmp_path):
    noise = {"core_nv": 30.0, "hot_nv": 20.0, "cold_nv": 25.0}
    facts = found(
        tmp_path,
        takes=["open", "load-hot", "load-cold", "load-across", "second-open", "idle", "floor"],
        device_noise=noise,
        truth={"input": [{"noise_nv": 15.0}]},
    )["sides"]["left"]["facts"]
    # closed form: the core's noise adds in the difference, the legs' own in power
    expected = {
        "hot_noise": math.hypot(30.0, 20.0),
        "cold_noise": math.hypot(30.0, 25.0),
        "differential_noise": math.sqrt(4 * 30.0**2 + 20.0**2 + 25.0**2),
    }
    for name, nano in expected.items():
        assert abs(facts[name]["value"] - nano * 1e-9 * BAND) < 1.5 * facts[name]["u95"], name
        assert facts[name]["limit"] < 0.2 * facts[name]["value"]
        assert "limited_by_bench" not in facts[name]


def test_a_silent_device_is_a_bound_and_so_is_one_without_a_floor(tmp_path):
    quiet = found(tmp_path, "quiet", device_noise={"hot_nv": 0.5})["sides"]["left"]["facts"]
    for name in ("hot_noise", "differential_noise_a", "hot_hum"):
        assert quiet[name]["bound"] == "below"
        assert quiet[name]["limited_by_bench"]
    true = 0.5e-9 * BAND
    assert true < quiet["hot_noise"]["value"] < 30e-9 * BAND
    loud = {"hot_nv": 300.0, "cold_nv": 300.0}
    alone = found(tmp_path, "alone", takes=["idle"], device_noise=loud)["sides"]["left"]["facts"]
    assert alone["hot_noise"]["bound"] == "below"
    assert alone["hot_noise"]["value"] > 300e-9 * BAND * 0.97
    assert "no floor take" in alone["hot_noise"]["note"]


def test_hum_lines_of_legs_and_of_their_difference(tmp_path):
    lines = [
        {"hz": 50.01, "hot_microvolts": 8.0, "cold_microvolts": 6.0, "cold_phase_deg": 180.0},
        {"hz": 150.03, "hot_microvolts": 5.0, "cold_microvolts": 5.0},
    ]
    side = found(tmp_path, seconds=8.0, device_noise={"hum": lines, "hot_nv": 10.0})["sides"][
        "left"
    ]
    rows = {(r["output"], r["order"]): r for r in side["hum_lines"]}
    # closed form: legs add by their phases
    expected = {
        ("hot", 1): 8e-6,
        ("cold", 1): 6e-6,
        ("differential", 1): 14e-6,
        ("hot", 3): 5e-6,
        ("cold", 3): 5e-6,
    }
    assert rows.keys() == expected.keys()
    for key, volts in expected.items():
        assert abs(rows[key]["value"] - volts) < 1.5 * rows[key]["u95"] + 0.005 * volts, key
    total = side["facts"]["hot_hum"]
    assert total["value"] == pytest.approx(math.hypot(8e-6, 5e-6), rel=0.05)


def test_the_recorders_own_hum_is_not_the_devices(tmp_path):
    own = {"noise_nv": 10.0, "hum": [{"hz": 50.0, "microvolts": 10.0}]}
    side = found(tmp_path, truth={"input": [own]}, device_noise={"hot_nv": 20.0})["sides"]["left"]
    assert all(r.get("bound") == "below" for r in side["hum_lines"])
    assert side["facts"]["hot_hum"]["bound"] == "below"
    noise = side["facts"]["hot_noise"]
    # the device's hum may be nothing, and its noise is known
    assert noise["low"] <= 20e-9 * BAND * 1.02
    assert noise["low"] >= 20e-9 * BAND * 0.9


@pytest.mark.parametrize(("idle_db", "after"), [(-30.0, 0.0), (-30.0, 5.0)])
def test_a_mute_at_idle_is_told(tmp_path, idle_db, after):
    noise = {"hot_nv": 200.0, "cold_nv": 200.0, "idle_db": idle_db, "idle_after_s": after}
    document = found(
        tmp_path,
        takes=["open", "floor"],
        take=[{"preset": "idle", "seconds": 10.0}],
        device_noise=noise,
    )
    assert "muted-at-idle" in {w["code"] for w in document["warnings"]}
    if after:
        hot = document["sides"]["left"]["facts"]["hot_noise"]
        assert hot["value"] == pytest.approx(200e-9 * BAND, rel=0.05)


def test_an_output_that_stays_on_is_not_called_muted(tmp_path):
    document = found(
        tmp_path, takes=["open", "idle", "floor"], device_noise={"hot_nv": 50.0, "corner_hz": 300.0}
    )
    assert "muted-at-idle" not in {w["code"] for w in document["warnings"]}


def test_products_of_distortion_are_not_taken_for_a_mute(tmp_path):
    bent = {"second": 2e-3, "third": 1e-3, "clip_volts": 8.0}
    session = {"takes": ["open", "idle", "floor"], "seconds": 2.0, "draws": 20}
    quiet = {"hot_nv": 1.0, "cold_nv": 1.0}
    healthy = found(tmp_path, "healthy", **session, device_noise=quiet, nonlinear={"hot": bent})
    # closed form: 2e-3 of a volt squared is 0.1 % of second harmonic at 1 V peak
    assert "muted-at-idle" not in {w["code"] for w in healthy["warnings"]}
    mutes = {"hot_nv": 200.0, "cold_nv": 200.0, "idle_db": -60.0}
    muted = found(tmp_path, "muted", **session, device_noise=mutes, nonlinear={"hot": bent})
    # the circuit's own: 200 nV, far above the recorder, of which the mute leaves 60 dB less
    assert "muted-at-idle" in {w["code"] for w in muted["warnings"]}
