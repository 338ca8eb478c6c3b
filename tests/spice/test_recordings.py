"""The written files say what the simulator said: read back with a plain least-squares fit."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
import soundfile

from . import ngspice
from .circuits import draw, nominal
from .sessions import FULL_SCALE, PLANS, SITUATIONS, Written, make_session

pytestmark = [
    pytest.mark.spice,
    pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed"),
]


def fit(path: Path, hz: tuple[float, ...], rate: float) -> np.ndarray:
    """Rms phasors at the first sample by linear least squares, (tones, channels), volts."""
    samples, _ = soundfile.read(path, always_2d=True)
    turns = 2 * np.pi * np.outer(np.arange(len(samples)), hz) / rate
    basis = np.hstack([np.cos(turns), -np.sin(turns)])
    found = np.linalg.lstsq(basis, samples * FULL_SCALE, rcond=None)[0]
    n = len(hz)
    return (found[:n] + 1j * found[n:]) / np.sqrt(2)


@pytest.mark.parametrize("situation", SITUATIONS)
@pytest.mark.long
def test_files_hold_the_solution(situation: str, tmp_path: Path) -> None:
    w = make_session(
        tmp_path, draw("4b", 2), takes=("open", "inject-cold"), situation=situation,
        seconds=(2.0, 2.2), seed=3,
    )  # fmt: skip
    rate = 48_000 * (1 + 180e-6 if situation == "foreign-clock" else 1.0)
    for take in w.takes:
        found = fit(tmp_path / f"{take}.wav", w.hz[take], rate)
        # Closed form: noise of -115 dB FS spreads a phasor by sigma / sqrt(N) volts rms per part;
        # six times that.
        sigma = FULL_SCALE / np.sqrt(2) * 10 ** (-115 / 20) / np.sqrt(2.0 * 48_000)
        assert abs(found - w.phasors[take]).max() < 6 * np.sqrt(2) * sigma


def test_takes_without_a_reference_share_one_delay_at_all_tones(tmp_path: Path) -> None:
    w = make_session(
        tmp_path, nominal("1"), takes=("open", "second open"), situation="none", seed=1
    )
    turn = w.phasors["second open"][:, 0] / w.phasors["open"][:, 0]
    f = np.array(w.hz["open"])
    delays = np.arange(-48_000, 48_000) / 48_000
    misfit = abs(np.exp(-2j * np.pi * np.outer(delays, f)) @ np.diag(turn) - 1).max(axis=1)
    # Closed form: the same stage twice, one whole number of samples apart.
    assert misfit.min() < 1e-6
    assert np.sort(misfit)[1] > 0.5


def test_a_stream_keeps_its_phase(tmp_path: Path) -> None:
    w = make_session(
        tmp_path, nominal("1"), takes=("open", "second open"), situation="timebase", seed=1
    )
    starts = [t["start_frame"] for t in session(tmp_path)["take"]]
    turn = w.phasors["second open"][:, 0] / w.phasors["open"][:, 0]
    expected = np.exp(2j * np.pi * np.array(w.hz["open"]) * (starts[1] - starts[0]) / 48_000)
    # Closed form: the same tone, start_frame later.
    assert turn == pytest.approx(expected, abs=1e-6)


def test_declared_and_true_figures_differ_when_drawn(tmp_path: Path) -> None:
    clean = make_session(tmp_path / "a", nominal("1"), takes=("open",), seed=4)
    drawn = make_session(tmp_path / "b", nominal("1"), takes=("open",), seed=4, errors=True)
    seen = [fit(w.folder / "open.wav", w.hz["open"], 48_000)[:, :2] for w in (clean, drawn)]
    change = abs(seen[1]) / abs(seen[0]) - 1
    # Closed form: u95 of 0.5 % is 0.25 % standard deviation; one error per channel, all tones
    # alike but for the stage's own load dependence.
    assert 1e-4 < abs(change).max() < 0.01
    assert change.std(axis=0).max() < 1e-4


def test_rough_files_begin_and_end_in_hum_alone(tmp_path: Path) -> None:
    w = make_session(tmp_path, nominal("5"), takes=("open",), rough=True, seed=2)
    samples, _ = soundfile.read(tmp_path / "open.wav", always_2d=True)
    head, middle = samples[:4_000], samples[len(samples) // 2 :][:4_000]
    # Closed form: ten lines of at most -50 dBV add up to at most 45 mV peak.
    assert 0 < abs(head).max() * FULL_SCALE < 0.05
    assert abs(middle[:, 0]).max() * FULL_SCALE > 0.3
    assert 50.0 in w.device_tones


def test_session_says_what_was_plugged(tmp_path: Path) -> None:
    make_session(tmp_path, nominal("2"), situation="reference", phases=True, exchanged=True)
    takes = {t["name"]: t for t in session(tmp_path)["take"]}
    assert list(takes) == list(PLANS)
    assert takes["open"]["channels"] == ["hot", "cold", "reference"]
    assert takes["across"]["load"][0]["to"] == "cold"
    assert takes["inject-cold"]["inject"][0]["into"] == "cold"
    assert takes["load-cold"]["channels"] == ["cold", "hot", "reference"]


TERMINALS = ("hot", "cold", "single-ended")


@pytest.mark.parametrize("name", ["1b", "3", "4", "4b", "9", "shared", "7"])
@pytest.mark.long
def test_takes_obey_the_terminal_equation(name: str, tmp_path: Path) -> None:
    """``V = (1 + Z Y)⁻¹ (s Voc + Z J)`` from the truth against the takes' own netlist."""
    w = make_session(tmp_path, draw(name, 1), situation="reference", phases=True)
    takes = {t["name"]: t for t in session(tmp_path)["take"]}
    for take, volts in w.phasors.items():
        for f, seen in zip(w.hz[take], volts, strict=True):
            played = f in w.device_tones
            said = predicted(w, takes[take], f, played)
            channels = [TERMINALS.index(c) for c in takes[take]["channels"][:2]]
            # device tones against the recorded drive, injected ones up to one phase
            loudest = int(np.argmax(abs(said[channels])))
            injected = seen[loudest] / said[channels][loudest]
            turn = seen[2] / abs(seen[2]) if played else injected
            # Closed form of any linear stage; the error is the simulator's double precision.
            scale = abs(seen[:2]).max()
            assert abs(turn) == pytest.approx(1, rel=1e-6)
            assert abs(seen[:2] / turn - said[channels]).max() < 1e-6 * scale


def predicted(w: Written, take: dict, f: float, played: bool) -> np.ndarray:
    """Volts at the three terminals in a take, from the open-circuit truths and declared parts."""
    t, place = w.truth, TERMINALS.index
    z = np.array([[t.at(t.z[i, j], f) for j in TERMINALS] for i in TERMINALS])
    voc = np.array([t.at(c, f) for c in (t.hot, t.cold, t.single_ended)]) * w.drive_volts * played
    y, j = np.zeros((3, 3), complex), np.zeros(3, complex)
    for channel in take["channels"][:2]:
        y[place(channel), place(channel)] += 1 / 20e3 + 2j * np.pi * f * 150e-12
    for load in take.get("load", []):
        ends = [place(e) for e in (load["from"], load["to"]) if e != "ground"]
        sign = np.zeros(3)
        sign[ends] = [1, -1][: len(ends)]
        y += np.outer(sign, sign) / load["ohm"]
    for injector in take.get("inject", []):
        leg = place(injector["into"])
        y[leg, leg] += 1 / injector["through_ohm"]
        j[leg] += 0 if played else injector["volts"] / injector["through_ohm"]
    return np.linalg.solve(np.eye(3) + z @ y, voc + z @ j)


def session(folder: Path) -> dict:
    return tomllib.loads((folder / "session.toml").read_text())
