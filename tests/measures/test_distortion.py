"""Distortion: published identities, closed forms of a polynomial, a loop-back that bounds it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from .made import found

TONE = {"signal": "tone", "channels": ["hot", "cold"], "tones_hz": [997.0], "drive_volts": 2.0}
LOOP = {**TONE, "signal": "loop-back", "name": "loop"}
LIGHT = {"input": [{"u95_percent": 0.0, "impedance_ohm": 1e9, "capacitance_pf": 0.0}]}
"""A recorder that takes nothing off, so that what it hears is what the terminal gives."""


def measured(folder, hot, cold, *, loop=True, truth=None, **more):
    takes = [{**TONE, "name": "tone", "seconds": 4.0}]
    takes += [{**LOOP, "seconds": 4.0}] if loop else []
    document = found(
        folder,
        takes=["floor"],
        take=takes,
        nonlinear={"hot": hot, "cold": cold},
        bench=LIGHT,
        truth=truth or {"input": [{"noise_nv": 20.0}]},
        **more,
    )
    return document["sides"]["left"]


def harmonics(peak, second, third):
    """Closed form: v + a v² + b v³ of a cosine, over its fundamental (percent)."""
    fundamental = peak + 0.75 * third * peak**3
    return (50.0 * second * peak**2 / fundamental, 25.0 * third * peak**3 / fundamental)


def test_polynomial_in_closed_form(tmp_path):
    side = measured(tmp_path, {"second": 2e-4, "third": 5e-5}, {"second": -1e-4})
    h2, h3 = harmonics(2.0 * math.sqrt(2.0), 2e-4, 5e-5)
    rows = {(r["output"], r["order"]): r for r in side["harmonics"]}
    for order, percent in ((2, h2), (3, h3)):
        row = rows["hot", order]
        assert abs(row["value"] - percent) < row["u95"] + 1e-5 * percent
        # closed form: cos² and cos³ of a cosine carry their harmonics in phase with it
        assert abs(row["phase_deg"]) < row["phase_u95_deg"] + 0.1
    # cold is inverted: its second harmonic stands against it
    cold = rows["cold", 2]
    assert abs(cold["value"] - harmonics(2.0 * math.sqrt(2.0), 1e-4, 0.0)[0]) < cold["u95"]
    assert rows["hot", 4]["bound"] == "below"
    # THD_R = THD_F / sqrt(1 + THD_F²), closed form (published: 10 % reads 9.95 %)
    against_fundamental = math.hypot(h2, h3) / 100.0
    total = 100.0 * against_fundamental / math.sqrt(1.0 + against_fundamental**2)
    thd = side["facts"]["hot_thd"]
    assert abs(thd["value"] - total) < thd["u95"] + 1e-5


def test_ten_percent_against_the_fundamental_is_9_95_of_the_total(tmp_path):
    peak = 2.0 * math.sqrt(2.0)
    thd = measured(tmp_path, {"second": 0.2 / peak}, {})["facts"]["hot_thd"]
    # published: THD_F 10 % is THD_R 9.95 %
    assert thd["value"] == pytest.approx(9.95, abs=0.005)
    # IEC 60068-2-6 A.2.2: tolerance T = (NF/F - 1) 100 gives D = 100 sqrt((T/100)² + 2 T/100),
    # the distortion against the fundamental: NF rms unfiltered, F rms of the fundamental
    ratio = 1.0 / math.sqrt(1.0 - (thd["value"] / 100.0) ** 2)
    tolerance = 100.0 * (ratio - 1.0)
    distortion = 100.0 * math.sqrt((tolerance / 100.0) ** 2 + 2.0 * tolerance / 100.0)
    assert distortion == pytest.approx(10.0, abs=0.01)


def test_the_published_tolerance_of_5_percent_is_32_02_of_distortion():
    # published: T = 5 % <-> D = 32.02 %; the identity used above
    assert 100.0 * math.sqrt(0.05**2 + 2.0 * 0.05) == pytest.approx(32.02, abs=0.005)


def test_equal_curvature_of_two_legs_cancels_in_their_difference(tmp_path):
    bend = {"second": 3e-4}
    side = measured(tmp_path, bend, bend, circuit="symmetrical-dual")
    rows = {(r["output"], r["order"]): r for r in side["harmonics"]}
    assert rows["differential", 2].get("bound") == "below"
    cancelled = side["facts"]["second_harmonic_cancellation"]
    assert cancelled["bound"] == "above"
    assert cancelled["value"] > 40.0


@pytest.mark.long
def test_the_recorders_own_distortion_is_a_bound(tmp_path):
    own = {"input": [{"noise_nv": 20.0, "second": 5e-5}]}
    facts = measured(tmp_path, {}, {}, truth=own)["facts"]
    assert facts["hot_thd"]["bound"] == "below"
    assert facts["hot_thd"]["limited_by_bench"]
    # both phases: a device that adds as much as the recorder, either way, stays inside
    for sign, name in ((1.0, "with"), (-0.5, "against")):
        side = measured(tmp_path / name, {"second": sign * 5e-5}, {}, truth=own, seed=4)
        true = harmonics(2.0 * math.sqrt(2.0), abs(sign) * 5e-5, 0.0)[0]
        thd = side["facts"]["hot_thd"]
        top = thd["value"] if thd.get("bound") else thd.get("high", thd["value"] + thd["u95"])
        assert thd.get("bound") == "below" or thd["value"] - thd["u95"] < true
        assert true < top * 1.001


def test_the_recorders_third_is_taken_off_a_value(tmp_path):
    own = {"input": [{"noise_nv": 20.0, "third": 5e-6}]}
    side = measured(tmp_path, {"third": 4e-5}, {"third": -4e-5}, truth=own)
    for name in ("hot", "cold"):
        row = next(r for r in side["harmonics"] if (r["output"], r["order"]) == (name, 3))
        # closed form of both: recorder and device in one phase at hot, against each other at cold
        true, bench = (harmonics(2.0 * math.sqrt(2.0), 0.0, b)[1] for b in (4e-5, 5e-6))
        assert abs(row["value"] - true) < row["u95"]
        assert row["u95"] < 0.4 * bench
        assert row["limit"] > 1.9 * bench


def test_without_a_loop_back_an_ordinary_bench_is_assumed(tmp_path):
    clean = measured(tmp_path / "a", {}, {}, loop=False)["facts"]["hot_thd"]
    assert clean["bound"] == "below"
    # common practice, no source: 0.03 %
    assert clean["limit"] == pytest.approx(0.03, rel=0.02)
    told = measured(tmp_path / "b", {"third": 1e-3}, {}, loop=False)["facts"]["hot_thd"]
    assert "bound" not in told
    assert told["u95"] > 0.012


def test_thd_n_is_noise_where_there_is_no_distortion(tmp_path):
    noise = {"hot_nv": 400.0}
    thd_n = measured(tmp_path, {}, {}, device_noise=noise)["facts"]["hot_thd_n"]
    # closed form: white noise from 20 Hz to 20 kHz over the tone
    expected = 100.0 * 400e-9 * math.sqrt(19980.0) / 2.0
    assert abs(thd_n["value"] - expected) < 1.5 * thd_n["u95"] + thd_n["limit"] / 10.0


def test_distortion_against_frequency(tmp_path):
    takes = [{**TONE, "name": f"{hz:g}", "tones_hz": [hz]} for hz in (201.3, 997.0, 4003.1)]
    side = found(
        tmp_path,
        takes=["floor"],
        take=takes,
        nonlinear={"hot": {"second": 1e-3}},
        bench=LIGHT,
        seconds=2.0,
    )["sides"]["left"]
    curve = side["curves"]["hot_thd_against_frequency"]
    assert curve["hz"] == [201.3, 997.0, 4003.1]
    expected = harmonics(2.0 * math.sqrt(2.0), 1e-3, 0.0)[0]
    assert curve["value"] == pytest.approx([expected] * 3, rel=1e-3)
    assert len(side["facts_at"]) >= 2


def clipped(peak, clip):
    """THD (percent of the total) and rms of a clipped cosine, by a transform of one period."""
    wave = np.clip(peak * np.cos(2 * np.pi * np.arange(4096) / 4096), -clip, clip)
    lines = np.abs(np.fft.rfft(wave))[1:21] * math.sqrt(2.0) / 4096
    whole = math.sqrt(np.sum(lines**2))
    return 100.0 * math.sqrt(np.sum(lines[1:] ** 2)) / whole, whole


def at_one_percent(clip):
    low, high = clip, 2.0 * clip
    for _ in range(50):
        middle = (low + high) / 2.0
        low, high = (low, middle) if clipped(middle, clip)[0] > 1.0 else (middle, high)
    return clipped(low, clip)[1]


STEPS = {
    "signal": "level-steps",
    "channels": ["hot", "cold"],
    "tones_hz": [997.0],
    "levels_volts": [round(1.0 * 1.122**k, 3) for k in range(12)],
    "step_s": 0.3,
    "silence_before_s": 0.77,
    "silence_after_s": 0.4,
}


def rising(folder, hot, cold, scale=12.0, **more):
    bench = {"input": [{**LIGHT["input"][0], "volts_full_scale": scale}]}
    return found(
        folder,
        takes=[],
        take=[{**STEPS, **more}],
        nonlinear={"hot": {"clip_volts": hot}, "cold": {"clip_volts": cold}},
        bench=bench,
    )["sides"]["left"]["facts"]


def test_maximum_of_a_clipping_stage(tmp_path):
    facts = rising(tmp_path, 3.0, 2.6)
    for name, clip in (("hot_maximum", 3.0), ("cold_maximum", 2.6)):
        low = facts[name].get("low", facts[name]["value"] - facts[name]["u95"])
        high = facts[name].get("high", facts[name]["value"] + facts[name]["u95"])
        true = at_one_percent(clip)
        assert low * 0.999 <= true <= high * 1.001
        # the steps are 1 dB apart: the interval is no wider than one
        assert high / low < 1.13
    assert facts["differential_maximum"]["first"] == "cold"


def test_a_maximum_that_is_not_reached_is_a_bound(tmp_path):
    facts = rising(tmp_path / "a", 1e3, 1e3)
    assert facts["hot_maximum"]["bound"] == "above"
    assert facts["hot_maximum"]["value"] == pytest.approx(STEPS["levels_volts"][-1], rel=1e-3)
    assert "limited_by_bench" not in facts["hot_maximum"]
    stopped = rising(tmp_path / "b", 1e3, 1e3, scale=3.0)
    assert stopped["hot_maximum"]["limited_by_bench"]
