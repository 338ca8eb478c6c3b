"""Responses, bass into loads, balance and crosstalk of whole sessions against the simulator."""

from __future__ import annotations

import numpy as np
import pytest

from probe.facts import analyse_session
from probe.measures.response import loaded
from probe.simulate.build import stage_of
from probe.simulate.write import simulate
from probe.stage.source import Source
from tests.spice import ngspice
from tests.spice.circuits import draw
from tests.spice.ngspice import Tone
from tests.spice.truth import solve_truth

TONES = [20.5, 42.4, 81.5, 153.5, 281.2, 496.8, 997.0, 1987.6, 3469.2, 6535.7, 12437.0, 19490.7]


def source_of(name: str) -> tuple[Source, object]:
    """A stage as ngspice sees it at its terminals, without doubt."""
    truth = solve_truth(draw(name, 1), TONES)
    f = len(TONES)
    voc, z = np.zeros((f, 3), complex), np.zeros((f, 3, 3), complex)
    hh, hc, ch, cc = (truth.z[p] for p in (("hot", "hot"), ("hot", "cold"), ("cold", "hot"),
                                           ("cold", "cold")))  # fmt: skip
    voc[:, 0], voc[:, 1] = truth.hot - truth.cold, (truth.hot + truth.cold) / 2
    voc[:, 2] = truth.single_ended
    z[:, 0, 0], z[:, 1, 1] = truth.differential_impedance, (hh + hc + ch + cc) / 4
    z[:, 0, 1], z[:, 1, 0] = (hh + hc - ch - cc) / 2, (hh - hc + ch - cc) / 2
    z[:, 2, 2] = truth.z[("single-ended", "single-ended")]
    none, nothing = np.zeros((0, f, 3), complex), np.zeros((0, f, 3, 3), complex)
    return Source(np.array(TONES), voc, z, none, nothing, voc, z, none, nothing), truth


@pytest.mark.spice
@pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed")
@pytest.mark.parametrize("name", ["1b", "5b", "3", "4", "8f", "valve"])
@pytest.mark.parametrize("ohm", [10e3, 47e3])
def test_levels_into_loads_against_the_circuit_simulator(name: str, ohm: float) -> None:
    source, _ = source_of(name)
    lines = [draw(name, 1).includes(), "vdrive drive 0 dc 0 ac 1"]
    lines.append(draw(name, 1).instance("s", "drive", "h", "c", "r"))
    lines += [f"r1 h 0 {ohm!r}", f"r2 c 0 {ohm!r}"]
    out = ngspice.solve("\n".join(lines), (), [Tone(f, ()) for f in TONES], ["v(h)", "v(c)"])
    # source: ngspice, the stage with a resistor from each leg to pin 1
    assert loaded(source, "differential", ohm)[0] == pytest.approx(
        out["v(h)"] - out["v(c)"], rel=2e-3
    )


def test_bass_of_a_coupling_capacitor_is_a_high_pass() -> None:
    hz = np.array([20.5, 997.0])
    zc = 100.0 + 1.0 / (2j * np.pi * hz * 1e-6)
    z = np.zeros((2, 3, 3), complex)
    z[:, 2, 2] = zc
    voc = np.ones((2, 3), complex)
    none, nothing = np.zeros((0, 2, 3), complex), np.zeros((0, 2, 3, 3), complex)
    source = Source(hz, voc, z, none, nothing, voc, z, none, nothing)
    # closed form: R / (R + 100 + 1/(jwC)), 1 uF into 10 kohm: 15.76 Hz, -2.0 dB at 20.5 Hz
    expected = 10e3 / (10e3 + zc)
    assert loaded(source, "single_ended", 10e3)[0] == pytest.approx(expected)


@pytest.fixture(scope="module")
def stereo(tmp_path_factory: pytest.TempPathFactory) -> dict:
    """Two sides, one 0.2 dB down, a sweep, three volumes, crosstalk of -80 dB rising from 1 kHz."""
    volumes = {"9 o'clock": -30.0, "12 o'clock": -12.0, "full": 0.0}
    more = [
        {"channels": ["hot", "cold"], "volume": v, "name": f"open at {v}"} for v in volumes
        if v != "full"
    ]  # fmt: skip
    stage = stage_of(
        {
            "circuit": "symmetrical-dual-coupled",
            "sides": ["left", "right"],
            "takes": ["open", "load-hot", "load-cold", "single-ended", "sweep", "other-side",
                      "second-open"],
            "take": more,
            "volume": "full",
            "volumes": volumes,
            "side": {"right": {"parts": {"IN_HOT": {"hot": 1.9544}, "IN_COLD": {"cold": 1.9544}}}},
            "side_crosstalk": {"db": -80.0, "corner_hz": 1000.0},
            "device": {"maker": "Harrowgate", "model": "Tern"},
        }
    )  # fmt: skip
    folder = tmp_path_factory.mktemp("stereo") / "s"
    simulate(stage, folder)
    return analyse_session(folder, draws=300)


def holds(entry: dict, true: float, least: float = 0.0) -> bool:
    return abs(entry["value"] - true) <= max(entry["u95"], least)


@pytest.mark.long
def test_channel_balance(stereo: dict) -> None:
    between = stereo["between_sides"]
    # closed form: 20 log10(1.9544 / 2) = -0.2003 dB
    assert holds(between["facts"]["differential_channel_balance"], -0.2003)
    assert np.allclose(between["curves"]["differential_channel_balance"]["value"], -0.2003,
                       atol=0.01)  # fmt: skip
    assert len(between["facts_at"]) == 3


@pytest.mark.long
def test_crosstalk_both_ways(stereo: dict) -> None:
    between = stereo["between_sides"]
    for way in ("left_to_right", "right_to_left"):
        entry = between["facts"][f"differential_crosstalk_{way}"]
        # closed form: -80 dB + 10 log10(1 + 0.997²)
        assert holds(entry, -80.0 + 10 * np.log10(1 + 0.997**2), 0.15)
        assert entry["limit"] < -110.0
        curve = between["curves"][f"differential_crosstalk_{way}"]
        expected = -80.0 + 10 * np.log10(1 + (np.array(curve["hz"]) / 1000.0) ** 2)
        assert np.allclose(curve["value"], expected, atol=0.2)


@pytest.mark.long
def test_gain_against_volume(stereo: dict) -> None:
    rows = [r for r in stereo["sides"]["left"]["facts_at"] if "volume" in r["condition"]]
    gains = {r["condition"]["volume"]: r["facts"]["differential_gain"] for r in rows}
    # the circuit amplifies its drive by 2 between the legs, 6.02 dB; settings as put in
    for volume, db in (("full", 0.0), ("12 o'clock", -12.0), ("9 o'clock", -30.0)):
        assert holds(gains[volume], 6.0206 + db)


@pytest.mark.long
def test_response_of_the_sweep(stereo: dict) -> None:
    side = stereo["sides"]["left"]
    curve = side["curves"]["differential_response"]
    assert len(curve["hz"]) > 100
    # closed form: 100 uF and 22 kohm fall off at 0.07 Hz; flat within 0.001 dB from 20 Hz to 17 kHz
    assert np.abs(curve["value"]).max() < 2e-3
    assert side["facts"]["differential_low_corner"]["bound"] == "below"
    into = {r["condition"]["load_ohm"]: r["facts"] for r in side["facts_at"]
            if "load_ohm" in r["condition"] and "differential_bass_loss" in r["facts"]}  # fmt: skip
    # closed form: 100 uF, 100 ohm and 22k parallel 10k: -3 dB at 0.2 Hz, 0.0005 dB at 20.5 Hz
    assert holds(into[10e3]["differential_bass_loss"], 0.0005, 0.002)
