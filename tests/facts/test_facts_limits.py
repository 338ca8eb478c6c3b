"""The bench's limit beside every fact, ratios made of facts, drift."""

from __future__ import annotations

import math

import numpy as np
import pytest

from probe.facts.derived import ratios
from probe.facts.limits import marked, most_seen
from probe.measures.statement import decibel_entry
from tests.measures.made import found

LEVEL = {"value": 2.0, "unit": "V", "u95": 0.01}
NOISE = {"value": 2e-5, "unit": "V", "u95": 2e-7, "limit": 1e-6, "takes": ["idle.wav"]}


def test_signal_to_noise_is_the_ratio_and_keeps_bounds():
    whole = ratios({"differential_level": LEVEL, "differential_noise": NOISE})
    found_ = whole["differential_signal_to_noise"]
    # closed form: 2 V over 20 uV
    assert found_["value"] == pytest.approx(100.0)
    assert found_["u95"] == pytest.approx(20.0 * math.log10(1.0 + math.hypot(0.005, 0.01)))
    assert found_["limit_is"] == "most"
    below = {**NOISE, "bound": "below", "u95": 0.0}
    bound = ratios({"differential_level": LEVEL, "differential_noise": below})
    assert bound["differential_signal_to_noise"]["bound"] == "above"
    # closed form: 0.4 % of scale in both, which a ratio does not have
    scale = {"scale": {"u95_percent": 0.4, "volts_full_scale": [8.0]}}
    same = ratios({"differential_level": LEVEL | scale, "differential_noise": NOISE | scale})
    rest = math.sqrt(0.005**2 + 0.01**2 - 2 * 0.004**2)
    assert same["differential_signal_to_noise"]["u95"] == pytest.approx(
        20.0 * math.log10(1.0 + rest)
    )
    other = {"scale": {"u95_percent": 0.4, "volts_full_scale": [1.0]}}
    apart = ratios({"differential_level": LEVEL | scale, "differential_noise": NOISE | other})
    assert apart == whole
    known_above = {**LEVEL, "bound": "below"}
    assert ratios({"differential_level": known_above, "differential_noise": NOISE}) == {}


@pytest.mark.parametrize(
    ("entry", "near"),
    [
        ({"value": 1.9, "unit": "V", "limit": 1.0}, True),
        ({"value": 2.1, "unit": "V", "limit": 1.0}, False),
        ({"value": 95.0, "unit": "dB", "limit": 100.0, "limit_is": "most"}, True),
        ({"value": 93.0, "unit": "dB", "limit": 100.0, "limit_is": "most"}, False),
        ({"value": 4.0, "unit": "V", "limit": 6.0, "limit_is": "most"}, True),
    ],
)
def test_a_fact_within_twice_its_limit_is_marked(entry, near):
    # closed form: a factor of two is 6.02 dB
    assert ("near_limit" in marked(entry)) is near


@pytest.fixture(scope="module")
def document(tmp_path_factory):
    takes = ["open", "load-hot", "load-cold", "load-across", "single-ended", "idle", "floor"]
    return found(
        tmp_path_factory.mktemp("limits"),
        takes=takes,
        seconds=2.0,
        device_noise={"hot_nv": 40.0, "cold_nv": 40.0},
        take=[{"preset": "second-open", "level_db": [0.08]}],
    )


@pytest.mark.long
def test_every_fact_of_a_session_has_its_limit(document):
    facts = document["sides"]["left"]["facts"]
    assert len(facts) > 25
    assert [n for n, entry in facts.items() if "limit" not in entry] == []


def test_an_impedance_below_its_limit_is_told_from_nothing_by_no_take(document):
    facts = document["sides"]["left"]["facts"]
    # the least a load of 604 ohm shows at 0.08 dB between takes: 604 sqrt(2) 0.0092 = 8 ohm, twice
    assert 4.0 < facts["hot_impedance"]["limit"] < 40.0
    assert facts["hot_impedance"]["value"] > facts["hot_impedance"]["limit"]


def test_drift_is_stated_and_widens_what_it_touches(document, tmp_path):
    facts = document["sides"]["left"]["facts"]
    # put in: 0.08 dB between the open takes
    assert facts["drift"]["value"] == pytest.approx(0.08, abs=0.001)
    takes = ["open", "load-hot", "load-cold", "load-across", "second-open"]
    still = found(tmp_path, takes=takes, seconds=2.0)["sides"]["left"]
    assert abs(still["facts"]["drift"]["value"]) < 0.001
    moved = document["sides"]["left"]
    ratio = facts["hot_level"]["u95"] / still["facts"]["hot_level"]["u95"]
    assert ratio > 1.3
    assert moved["conditions"]["repeatability_db"] > still["conditions"]["repeatability_db"]


def test_a_balance_of_almost_no_level_has_a_finite_limit() -> None:
    small = np.concatenate([[0.0], np.full(20, 1e-2)]).astype(complex)
    found = most_seen(5e-324, small)
    # closed form: the smallest number there is, 2^-1074 V, over 10 mV
    assert found["limit"] == pytest.approx(20.0 * (-1074.0 * math.log10(2.0) + 2.0))


@pytest.mark.parametrize("there", [1e-3, 0.5, 1.0, 2.0, 3.0])
def test_no_bound_is_better_than_the_best_the_bench_could_have_seen(there: float) -> None:
    rng = np.random.default_rng(11)
    scatter = rng.standard_normal(20_000)
    small = there * 1e-3 + 1e-3 * np.concatenate([[0.0], scatter])
    limit = most_seen(1.0, small.astype(complex))["limit"]
    # closed form: 95 % of a normal scatter of 1e-3 lies within 1.95996 of it: 54.155 dB below 1
    assert limit == pytest.approx(54.155, abs=0.1)
    stated = decibel_entry(1.0 / small, small=small.astype(complex))
    assert stated["bound"] == "above"
    # Anderson's inequality (1955): an interval about nothing holds most of what is centred there
    assert stated["value"] <= limit + 0.1


@pytest.mark.parametrize("capture", ["bounded", "document"])
def test_bounds_and_limits_do_not_contradict(capture, document, tmp_path_factory):
    if capture == "bounded":
        takes = ["open", "load-hot", "load-cold", "second-open"]
        document = found(tmp_path_factory.mktemp("bounded"), takes=takes, seconds=2.0)
    checked = 0
    for fact in document["sides"]["left"]["facts"].values():
        most = fact.get("limit_is") == "most"
        if fact.get("bound") == "above" and most:
            checked += 1
            assert fact["value"] <= fact["limit"]
        if fact.get("bound") == "below" and not most:
            checked += 1
            assert fact["value"] >= fact["limit"]
    assert checked >= 1


TONE = {"signal": "tone", "channels": ["hot", "cold"], "drive_volts": 2.0, "seconds": 2.0}
OWN_NV, OWN_SECOND, GAIN_PERCENT, LEVEL_DB = 50.0, 5e-5, 0.5, 0.02
RECORDER = {
    "volts_full_scale": 8.7,
    "u95_percent": GAIN_PERCENT,
    "impedance_ohm": 1e9,
    "impedance_u95_percent": 0.0,
    "capacitance_pf": 0.0,
    "capacitance_u95_pf": 0.0,
}


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory):
    """What stands under other conditions: another volume, another tone."""
    document = found(
        tmp_path_factory.mktemp("elsewhere"),
        takes=["open", "floor"],
        seconds=2.0,
        bench={"repeatability_db": LEVEL_DB, "input": [RECORDER]},
        truth={"input": [{"noise_nv": OWN_NV, "second": OWN_SECOND}]},
        nonlinear={"hot": {"second": 4e-4}},
        device_noise={"hot_nv": 200.0},
        take=[
            {"preset": "idle", "name": "idle"},
            {"preset": "idle", "name": "idle low", "volume": "low"},
            {"preset": "open", "name": "open low", "volume": "low"},
            {**TONE, "name": "middle", "tones_hz": [997.0]},
            {**TONE, "name": "higher", "tones_hz": [1503.1]},
            {**TONE, "signal": "loop-back", "name": "loop", "tones_hz": [1503.1]},
        ],
    )
    out = {}
    for row in document["sides"]["left"]["facts_at"]:
        where = "tone" if "tone_hz" in row["condition"] else row["condition"].get("volume", "")
        out |= {(where, name): entry for name, entry in row["facts"].items()}
    return out


@pytest.mark.long
def test_the_limit_of_noise_at_another_volume_is_what_the_recorders_own_leaves(elsewhere):
    power = (OWN_NV * 1e-9) ** 2 * 19980.0
    # closed form: white noise in a band B over T is known to 1/sqrt(B T) of its power, in either
    # take, and warms by 1 % between them; 1.645 standard deviations are told once in 20
    u = power * math.sqrt(2.0 / (19980.0 * 2.0) + 0.01**2)
    for name, more in (("hot_noise", 1.0), ("cold_noise", 1.0), ("differential_noise", 2.0)):
        limit = elsewhere["low", name]["limit"]
        assert limit == pytest.approx(math.sqrt(1.645 * more * u), rel=0.06)
    # closed form: 200 nV on hot is 28 times that; cold has none
    assert "near_limit" not in elsewhere["low", "hot_noise"]
    assert elsewhere["low", "cold_noise"]["near_limit"]


def test_the_limit_of_distortion_at_another_tone_is_twice_what_the_loop_back_shows(elsewhere):
    # closed form: b v² of a cosine of 2 V rms is b peak / 2 of it; the noise adds a little
    own = 100.0 * OWN_SECOND * 2.0 * math.sqrt(2.0) / 2.0
    for name in ("hot_thd", "cold_thd", "differential_thd"):
        entry = elsewhere["tone", name]
        assert 2.0 * own * 0.999 < entry["limit"] < 2.0 * own * 1.02
    # closed form: 4e-4 on hot is eight times the recorder's
    assert elsewhere["tone", "hot_thd"]["value"] == pytest.approx(8.0 * own, rel=0.15)
    assert elsewhere["tone", "cold_thd"]["near_limit"]


def test_the_limit_of_a_leg_ratio_at_a_volume_is_that_of_two_scales_and_a_repeated_level(elsewhere):
    repeat = 10.0 ** (LEVEL_DB / 20.0) - 1.0
    # closed form: two scales of 0.25 % standard uncertainty each and a level that repeats
    relative = 1.96 * math.hypot(GAIN_PERCENT / 200.0, GAIN_PERCENT / 200.0, repeat)
    expected = 20.0 * math.log10(1.0 + relative)
    for volume in ("", "low"):
        assert elsewhere[volume, "leg_ratio"]["limit"] == pytest.approx(expected, rel=0.01)
