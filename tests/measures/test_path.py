"""Path evidence: statistics against closed forms, verdicts, and whole sessions through audio."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.stats import binom

from probe.facts import analyse_session
from probe.measures.path import harmonic, idle, lag, limits, one_leg, ratio
from probe.measures.path.model import Indication
from probe.measures.path.weigh import weigh
from probe.measures.spectra import spectrum_of
from probe.session.model import RecorderInput, Take
from probe.simulate.build import stage_of
from probe.simulate.write import simulate

RATE = 48000


@pytest.mark.long
def test_false_alarms_of_the_coherence_come_as_often_as_said(tmp_path: Path) -> None:
    # closed form: P(gamma² > 1 - alpha^(1/(K-1))) = alpha of independent noise (Carter 1987)
    rng = np.random.default_rng(8)
    alarms, trials, alpha = 0, 240, 0.1
    path = tmp_path / "noise.wav"
    inlet = RecorderInput(1.0, 0.0, 2e4, 0.0, 0.0, 0.0)
    for _ in range(trials):
        soundfile.write(path, 0.1 * rng.standard_normal((RATE // 2, 2)), RATE, "FLOAT")
        band = idle.band_of(spectrum_of(take_of(path, inlet), segment_s=0.05), (0, 1))
        p = band.power
        coherence = abs(p[0, 1]) ** 2 / (p[0, 0] * p[1, 1]).real
        alarms += coherence > idle.coherence_threshold(band.averages, alpha)
    assert binom.ppf(0.0005, trials, alpha) <= alarms <= binom.ppf(0.9995, trials, alpha)


def take_of(path: Path, inlet: RecorderInput) -> Take:
    """An idle take of half a second."""
    return Take(
        name="idle", file=path.name, path=path, side="left", channels=("hot", "cold"),
        inputs=(inlet, inlet), signal="idle", tones_hz=(), phases_rad=None, drive_volts=None,
        drive_dbfs=None, volume="", state="play", driven_input_leg="both", timebase=None,
        start_frame=0, loads=(), injections=(), sample_rate=RATE, frames=RATE // 2,
    )  # fmt: skip


def test_threshold_of_the_coherence() -> None:
    # closed form: alpha = 1e-3, K = 2: gamma² = 0.999; K = 1001: 1 - 10^(-3/1000) = 0.0068840
    assert idle.coherence_threshold(2.0, 1e-3) == pytest.approx(0.999)
    assert idle.coherence_threshold(1001.0, 1e-3) == pytest.approx(0.0068840, abs=1e-6)


def bands(powers: np.ndarray, averages: float = 1e6) -> idle.Band:
    return idle.Band(powers.astype(complex), averages)


def test_recorder_s_own_correlation_is_taken_off() -> None:
    floor = np.array([[4.0, 0.4], [0.4, 5.0]])
    legs = np.diag([1.0, 1.0])
    found = idle.shared_noise(
        [bands(floor + legs)], [bands(floor + legs[::-1, ::-1])], bands(floor)
    )
    assert found is not None
    # nothing is shared by the legs; without the floor the correlation would be 0.073
    assert found.g == pytest.approx(0.0, abs=1e-9)
    assert abs(found.rho) < 1e-9


def test_shared_part_and_exchanged_gains() -> None:
    # closed form: core 1, cold adds 0.16: G = 1, A = 1.16; channel gains 1.01 and 0.99 cancel
    floor = np.diag([0.1, 0.1])
    legs = np.array([[1.0, -1.0], [-1.0, 1.16]])
    gain = np.diag([1.01, 0.99])
    straight = bands(gain @ legs @ gain + floor)
    exchanged = bands(gain @ legs[::-1, ::-1] @ gain + floor)
    found = idle.shared_noise([straight], [exchanged], bands(floor))
    assert found is not None
    assert found.a == pytest.approx(1.16, rel=1e-3)
    assert found.g == pytest.approx(1.0, rel=1e-3)
    assert idle.judge(found).says == "one-path"
    assert idle.judge(found).specific


@pytest.mark.parametrize(("loud", "says"), [(1.0, "nothing"), (0.1, "one-path")])
def test_a_recorder_louder_than_the_device_says_nothing(loud: float, says: str) -> None:
    floor = np.diag([10.0, 10.0]) * loud
    legs = np.array([[1.0, -1.0], [-1.0, 1.16]])
    found = idle.shared_noise(
        [bands(floor + legs)], [bands(floor + legs[::-1, ::-1])], bands(floor)
    )
    assert idle.judge(found).says == says


def test_a_mute_in_one_of_the_takes_says_nothing() -> None:
    floor = np.diag([0.1, 0.1])
    legs = np.array([[1.0, -1.0], [-1.0, 1.16]])
    found = idle.shared_noise([bands(floor)], [bands(floor + legs[::-1, ::-1])], bands(floor))
    assert idle.judge(found).says == "nothing"
    assert "both lead orders" in idle.judge(found).why_nothing


def test_kappa() -> None:
    # closed form, equation (1): opposite legs 0, equal legs without end, one leg alone 1
    assert harmonic.kappa_of(1e-5, -1e-5) == 0.0
    assert harmonic.kappa_of(1e-5j, 1e-5j) > 1e6
    assert harmonic.kappa_of(1e-5, 0.0) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("hot", "cold", "pad", "says"),
    [
        (1e-5, -1e-5, 0.0, "nothing"),  # -100 dB beside a recorder that may add as much
        (1e-5, -1e-5, -40.0, "one-path"),
        (1e-5, 1e-5, -40.0, "two-paths"),
        (1e-5, 0.3e-5, -40.0, "nothing"),
    ],
)
def test_second_harmonic(hot: float, cold: float, pad: float, says: str) -> None:
    bound = harmonic.recorder_bound(pad)
    found = harmonic.judge(hot, cold, noise=1e-9, recorder=bound, generator=0.0)
    assert found.says == says
    assert (found.why_nothing == "") == (says != "nothing")


def test_the_test_tone_s_own_distortion_is_not_the_device_s() -> None:
    found = harmonic.judge(1e-5, -1e-5, noise=1e-9, recorder=1e-8, generator=1e-5)
    assert found.says == "nothing"


HZ = np.array([997.0, 1987.6, 3469.2, 6535.7, 12437.0, 19490.7])


def pole(degrees: float) -> np.ndarray:
    """Cold over hot behind one pole that lags so much at 20 kHz."""
    return -1.0 / (1.0 + 1j * np.tan(np.radians(degrees)) * HZ / 2e4)


# likelihood ratios from simulated designs, capped at 20: 0.3-0.6 2, 0.6-1.2 7, above 1.2 20
@pytest.mark.parametrize(
    ("degrees", "weight", "says"),
    [(0.1, 1.0, "nothing"), (0.45, 2.0, "one-path"), (0.9, 7.0, "one-path"),
     (3.6, 20.0, "one-path"), (7.5, 20.0, "one-path"), (-0.5, 0.1, "two-paths")],
)  # fmt: skip
def test_lag(degrees: float, weight: float, says: str) -> None:
    ratio_ = pole(degrees) if degrees > 0.0 else 1.0 / np.conj(pole(-degrees)).conj()
    found = lag.judge(HZ, ratio_, np.full(6, 0.001))
    # closed form: atan is proportional to frequency within 1 % here
    assert found.value == pytest.approx(degrees, abs=0.02 + 0.01 * abs(degrees))
    assert (found.says, found.weight) == (says, weight)


def test_one_pole_of_3_6_degrees_costs_0_017_db() -> None:
    found = lag.judge(HZ, pole(3.6), np.full(6, 0.001))
    # closed form: 20 log10 cos(3.6 * 19490.7 / 20000 degrees) = -0.0163 dB
    assert found.more["level_at_top_db"] == pytest.approx(-0.0163, abs=3e-4)


def test_a_lag_of_another_shape_says_nothing() -> None:
    # 0 up to 12 kHz and 2 degrees at the top is no pole
    shape = -np.exp(-1j * np.radians([0, 0, 0, 0, 0, 2.0]))
    assert "proportion" in lag.judge(HZ, shape, np.full(6, 0.001)).why_nothing


def readings(db: list[float], again: bool = True) -> list[ratio.Reading]:
    found = [ratio.Reading(str(k), x, v, 2e-4) for k, v in enumerate(db) for x in (False, True)]
    if again:
        found += [ratio.Reading("0", x, db[0] + 1e-4, 2e-4) for x in (False, True)]
    return found


def test_leg_ratio_against_volume() -> None:
    moving, still = [0.0, 0.03, -0.02, 0.05], [0.0, 0.003, 0.001, 0.002]
    assert ratio.judge(readings(moving), 100.0, 2e4).says == "two-paths"
    assert ratio.judge(readings(still), 100.0, 2e4).says == "nothing"
    assert "recorded twice" in ratio.judge(readings(moving, False), 100.0, 2e4).why_nothing
    assert "fewer" in ratio.judge(readings(moving[:2]), 100.0, 2e4).why_nothing
    assert "impedance" in ratio.judge(readings(moving), np.nan, 2e4).why_nothing


# transfers worked out by hand: two paths; a receiver and a splitter; an instrumentation input of
# differential gain 4 and common-mode gain 1: [[2.5, -1.5], [-1.5, 2.5]], det/max² = 0.64, -4.4 dB
@pytest.mark.parametrize(
    ("transfer", "off", "det", "says"),
    [
        ([[1.0, 1e-4], [1e-4, 1.0]], -80.0, 1.0, "two-paths"),
        ([[0.5, -0.5], [-0.5, 0.5]], 0.0, 0.0, "one-path"),
        ([[2.5, -1.5], [-1.5, 2.5]], -4.437, 0.64, "nothing"),
    ],
)
def test_one_leg_driven(transfer: list, off: float, det: float, says: str) -> None:
    t = np.tile(np.array(transfer, complex), (6, 1, 1))
    assert one_leg.off_diagonal_db(t)[0] == pytest.approx(off, abs=1e-3)
    assert one_leg.determinant_ratio(t)[0] == pytest.approx(det, abs=1e-6)
    assert one_leg.judge(HZ, t, np.full((6, 2, 2), 1e-7)).says == says


def test_an_unknown_delay_of_one_column_changes_nothing() -> None:
    t = np.tile(np.array([[0.5, -0.5], [-0.5, 0.5]], complex), (6, 1, 1))
    t[:, :, 1] *= np.exp(1j * HZ / 700.0)[:, None]
    assert one_leg.determinant_ratio(t) == pytest.approx(0.0, abs=1e-12)


# Verdicts


def said(name: str, says: str, weight: float, specific: bool = False, value: float = 20.0):
    return Indication(name, value, says=says, strength="strong", weight=weight, specific=specific)  # type: ignore[arg-type]


NOISE = said("idle-noise", "one-path", 20.0, True)
SHARED = said("idle-noise", "one-path", 5.0)
APART = said("idle-noise", "two-paths", 0.5)
LAGS = said("cold-lag", "one-path", 20.0, True)
LAGS_LITTLE = said("cold-lag", "one-path", 7.0)
AHEAD = said("second-harmonic", "one-path", 5.0)
IN_LEGS = said("second-harmonic", "two-paths", 0.2, value=12.0)
HARDLY = said("second-harmonic", "two-paths", 0.2, value=4.0)
MOVES = said("ratio-against-volume", "two-paths", 0.05)
SEPARATE = said("one-leg-drive", "two-paths", 0.05)
RANK_ONE = said("one-leg-drive", "one-path", 5.0)


@pytest.mark.parametrize(
    ("found", "path", "where"),
    [
        ([], "undetermined", None),
        ([LAGS], "undetermined", None),
        ([SEPARATE], "undetermined", None),
        ([MOVES], "undetermined", None),
        ([LAGS, RANK_ONE], "split", None),
        ([NOISE, RANK_ONE], "split", None),
        ([NOISE, LAGS], "split", None),
        ([LAGS, AHEAD], "split", None),
        # two paths behind a shared stage give these three together
        ([SHARED, AHEAD, RANK_ONE], "undetermined", None),
        ([LAGS_LITTLE, SHARED, AHEAD], "undetermined", None),
        ([LAGS_LITTLE, NOISE], "split", None),
        ([LAGS, APART], "undetermined", None),
        ([SEPARATE, APART], "dual", "input"),
        ([SEPARATE, LAGS], "undetermined", None),
        ([MOVES, APART, IN_LEGS], "dual", "volume-control"),
        ([MOVES, APART], "undetermined", None),
        ([MOVES, APART, HARDLY], "undetermined", None),
        ([APART, IN_LEGS], "undetermined", None),
    ],
)
def test_verdicts(found: list[Indication], path: str, where: str | None) -> None:
    # rules of docs/model.md, one path or two
    verdict = weigh(found)
    assert (verdict.path, verdict.separate_from) == (path, where)
    assert verdict.reasons
    assert weigh(found, "the legs are coupled").path == "undetermined"


def test_no_indication_weighs_more_than_the_cap() -> None:
    assert lag.likelihood_ratio(30.0) == limits.RATIO_CAP


# Through audio


def session(folder: Path, circuit: str, noise: dict[str, float]) -> dict:
    """A session of a device with a path that is known, its facts' stage."""
    long = [{"preset": p, "seconds": 4.0} for p in ("idle", "idle-exchanged", "floor")]
    takes = ["open", "open-exchanged", "load-hot", "load-cold", "input-hot", "input-cold",
             "second-open"]  # fmt: skip
    stage = stage_of(
        {
            "circuit": circuit,
            "takes": takes,
            "take": long,
            "device": {"maker": "Harrowgate", "model": "Tern"},
            "device_noise": noise,
            "truth": {"input": [{"noise_nv": 20.0}]},
        }
    )
    simulate(stage, folder / "s")
    return analyse_session(folder / "s", draws=400)["sides"]["left"]["stage"]


@pytest.mark.long
def test_a_splitter_through_audio(tmp_path: Path) -> None:
    noise = {"core_nv": 60.0, "hot_nv": 5.0, "cold_nv": 30.0}
    stage = session(tmp_path, "core-and-inverter", noise)
    assert stage["path"] == "split"
    rows = {r["indication"]: r for r in stage["path_evidence"]}
    # closed form: (60² + 30²)/(60² + 5²) = 1.241; 60²/(60² + 5²) = 0.993
    assert rows["idle-noise"]["more"]["cold_over_hot_power"] == pytest.approx(1.241, abs=0.03)
    assert rows["idle-noise"]["value"] == pytest.approx(0.993, abs=0.03)
    # closed form: 10 kohm and 47 pF at 20 kHz, atan(2 pi f R C) = 3.38 degrees, and 0.23 of 10 MHz
    assert rows["cold-lag"]["value"] == pytest.approx(3.61, abs=0.1)


@pytest.mark.long
def test_two_paths_through_audio(tmp_path: Path) -> None:
    stage = session(tmp_path, "symmetrical-dual", {"hot_nv": 60.0, "cold_nv": 60.0})
    assert (stage["path"], stage["path_separate_from"]) == ("dual", "input")


@pytest.mark.long
def test_coupled_legs_say_nothing(tmp_path: Path) -> None:
    noise = {"core_nv": 60.0, "hot_nv": 5.0, "cold_nv": 30.0}
    stage = session(tmp_path, "cross-coupled", noise)
    assert stage["path"] == "undetermined"
    assert "coupled" in stage["path_reasons"][0]


@pytest.mark.long
def test_a_bare_tone_does_not_move_the_multitones(tmp_path: Path) -> None:
    stage = stage_of(
        {
            "circuit": "symmetrical-dual",
            "takes": ["open", "load-hot", "load-cold", "second-open"],
            "take": [{"channels": ["hot", "cold"], "signal": "tone", "tones_hz": [997.0]}],
            "device": {"maker": "Harrowgate", "model": "Tern"},
        }
    )
    simulate(stage, tmp_path / "s")
    side = analyse_session(tmp_path / "s", draws=200)["sides"]["left"]
    # closed form: flat within 0.0001 dB up to 3 kHz; the tone has no recorded drive beside it
    assert np.abs(side["curves"]["differential_response"]["value"][:9]).max() < 1e-3
    assert [t["used"] for t in side["takes"]][-1] is False
