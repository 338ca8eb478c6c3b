"""The bench's figures from ratios: exact without errors, honest with them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from uncertainties import ufloat
from uncertainties.umath import log10, sqrt

from probe.bench.calibration.meter import Accuracy, MeterReading, accuracy_of, reading_of
from probe.bench.calibration.solve import KnownResistor, solve
from probe.errors import BadInput, NotUsable
from tests.bench.calibration.truth import HZ, Truth, given, ratios


@pytest.mark.parametrize(
    "truth",
    [
        Truth(),
        Truth(out_ohm=(0.5, 600.0), in_ohm=(5000.0, 1e6), in_farad=(1e-9, 50e-12)),
        Truth(in_volts=(1.2, 12.0), out_volts=(9.0, 0.7), delay_s=5e-6),
    ],
)
def test_without_errors_the_bench_is_found_exactly(truth):
    read, volts = ratios(truth)
    exact = replace(given(None, draws=50), meter=MeterReading(volts, 0.01))
    found = solve(read, exact)
    # round trip: the forward model stands in truth.py, as node voltages
    for k in (0, 1):
        assert found.input_volts[k].value == pytest.approx(truth.in_volts[k], rel=1e-6)
        assert found.output_volts[k].value == pytest.approx(truth.out_volts[k], rel=1e-6)
        assert found.input_ohm[k].value == pytest.approx(truth.in_ohm[k], rel=1e-6)
        assert found.input_farad[k].value == pytest.approx(truth.in_farad[k], rel=1e-5)
        assert found.output_ohm[k].value == pytest.approx(truth.out_ohm[k], rel=1e-5)
        assert found.loop_gain[k].value == pytest.approx(
            truth.out_volts[k] / truth.in_volts[k], rel=1e-6
        )
    # input 2 hears later by the delay: input 1 leads by 360 f t degrees
    assert found.match.deg == pytest.approx(360 * HZ * truth.delay_s, abs=1e-6)
    assert found.match.db == pytest.approx(
        [20 * np.log10(truth.in_volts[1] / truth.in_volts[0])] * len(HZ), abs=1e-6
    )


@pytest.mark.parametrize("u95", [0.001, 0.01])
def test_doubts_agree_with_linear_propagation(u95):
    """The same formulas in the library `uncertainties`, at one tone, for input 1."""
    truth, repeat_db = Truth(), 0.01
    read, volts = ratios(truth)
    asked = given(volts, draws=40000, repeat_db=repeat_db, u95=u95)
    found = solve(read, asked)
    at = int(np.argmin(np.abs(HZ - 997)))

    sd = np.sqrt(2) * repeat_db * np.log(10) / 20
    ratio = {
        w: abs(read.wirings[w][at]) * ufloat(1, sd)
        for w in ("straight", "crossed", "series-1", "series-2", "shunt-1", "shunt-2")
    }
    big, small = ufloat(10000, 10000 * u95 / 2), ufloat(604, 604 * u95 / 2)
    ohm = []
    for k, power in ((1, 1), (2, -1)):
        r = (ratio[f"series-{k}"] / ratio["straight"]) ** power
        q = (ratio[f"shunt-{k}"] / ratio["straight"]) ** power
        total, parallel = big * r / (1 - r), small * (1 / q - 1)
        source = total / 2 * (1 - sqrt(1 - 4 * parallel / total))
        ohm.append((source, total - source))
    # repeatability moves all tones of a recording alike, so fits over tones do not average it
    for k in (0, 1):
        assert found.output_ohm[k].u95 == pytest.approx(1.96 * ohm[k][0].s, rel=0.03)
        assert found.input_ohm[k].u95 == pytest.approx(1.96 * ohm[k][1].s, rel=0.03)
    match = 20 * log10(sqrt(ratio["straight"] * ratio["crossed"]))
    assert found.match.u95_db[at] == pytest.approx(1.96 * match.s, rel=0.05)
    # of a uniform error within +-a 95 % lie within 0.95 a; a normal one of 0.1 a beside it (the
    # level) widens that by less than 4 %
    limit = asked.meter.limit_relative
    relative = found.input_volts[0].u95 / found.input_volts[0].value
    assert 0.94 * limit < relative < 0.99 * limit


def covered(count: int, seed: int) -> dict[str, int]:
    """How often the interval of each figure holds the truth, of ``count`` benches drawn."""
    stream = np.random.default_rng(seed)
    hits: dict[str, int] = {}
    for _ in range(count):
        spread = stream.uniform(0.5, 2.0, 6)
        truth = Truth(
            out_volts=(4.0 * spread[0], 4.0 * spread[0] * 1.03),
            out_ohm=(75.0 * spread[1], 75.0 * spread[2]),
            in_volts=(8.7 * spread[3], 8.7 * spread[3] * 0.98),
            in_ohm=(20000.0 * spread[4], 20000.0 * spread[4] * 1.01),
            in_farad=(150e-12 * spread[5], 160e-12 * spread[5]),
            series_ohm=10000.0 * (1 + 0.0005 * stream.standard_normal()),
            shunt_ohm=604.0 * (1 + 0.0005 * stream.standard_normal()),
        )
        # the meter is wrong by anything up to what is promised, 0.7 %; its display rounds
        read, volts = ratios(
            truth, stream, repeat_db=0.005, noise=2e-5, meter_error=0.007 * stream.uniform(-1, 1)
        )
        asked = replace(
            given(None, draws=1000),
            meter=reading_of(f"{volts:.4f}", Accuracy(0.7, 0)),
            seed=int(stream.integers(1 << 30)),
        )
        found = solve(read, asked)
        truths = {
            "input volts": (found.input_volts, truth.in_volts),
            "output volts": (found.output_volts, truth.out_volts),
            "input ohm": (found.input_ohm, truth.in_ohm),
            "input farad": (found.input_farad, truth.in_farad),
            "output ohm": (found.output_ohm, truth.out_ohm),
            "loop gain": (
                found.loop_gain,
                [o / i for o, i in zip(truth.out_volts, truth.in_volts, strict=True)],
            ),
        }
        for name, (figures, values) in truths.items():
            for figure, value in zip(figures, values, strict=True):
                hits[name] = hits.get(name, 0) + (abs(figure.value - value) <= figure.u95)
        at = 6
        level = 20 * np.log10(truth.in_volts[1] / truth.in_volts[0])
        inside = abs(found.match.db[at] - level) <= found.match.u95_db[at]
        hits["match"] = hits.get("match", 0) + 2 * inside
    return hits


def check_coverage(benches: int, seed: int) -> None:
    """Binomial limits of one figure at 95 % that are left once in a thousand: 3.3 sd.

    The two channels of a bench share resistors and meter, so benches count, not channels.
    """
    hits = covered(benches, seed)
    most = 3.3 * np.sqrt(0.95 * 0.05 / benches)
    for name, count in hits.items():
        assert abs(count / (2 * benches) - 0.95) < most, (name, count / (2 * benches))
    # pooled: what is asked of intervals in general, where enough are drawn to tell
    if benches >= 500:
        assert 0.93 <= sum(hits.values()) / (2 * benches * len(hits)) <= 0.97


def test_intervals_hold_the_truth():
    check_coverage(80, seed=7)


@pytest.mark.long
def test_intervals_hold_the_truth_of_many_benches():
    check_coverage(1000, seed=8)


def test_without_a_meter_ratios_stay_and_volts_say_so():
    read, _ = ratios(Truth())
    found = solve(read, given(None))
    assert {f.how for f in (*found.input_volts, *found.output_volts)} == {"assumed"}
    assert found.input_volts[0].u95 > 0.9 * found.input_volts[0].value
    # closed form: full scale of input 2 over that of input 1
    assert found.input_volts[1].value / found.input_volts[0].value == pytest.approx(8.6 / 8.7)
    assert found.loop_gain[0].value == pytest.approx(4.0 / 8.7, rel=1e-6)
    assert found.loop_gain[0].u95 < 0.002
    said = solve(read, replace(given(None), data_sheet_volts=(8.8, 0.12)))
    assert said.input_volts[0].how == "data-sheet"
    assert said.input_volts[0].u95 == pytest.approx(0.12 * 8.8, rel=0.05)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"series_ohm": 0.0}, "series resistor made no difference at input 1"),
        ({"shunt_ohm": -5000.0}, "rose when the resistor was put across"),
    ],
)
def test_a_resistor_in_the_wrong_place_is_noticed(change, said):
    read, volts = ratios(replace(Truth(), **change))
    with pytest.raises(NotUsable, match=said):
        solve(read, given(volts))


def test_a_missing_recording_is_named():
    read, volts = ratios(Truth())
    wirings = {k: v for k, v in read.wirings.items() if k != "crossed"}
    with pytest.raises(NotUsable, match="crossed"):
        solve(replace(read, wirings=wirings), given(volts))


def test_readings_of_a_meter():
    # 1 % of 1.234 V and three steps of 1 mV; half a step for the digits not shown
    reading = reading_of("1.234", accuracy_of("1%+3"))
    assert reading.limit_relative == pytest.approx(0.01 + 0.003 / 1.234)
    assert reading.rounding_relative == pytest.approx(0.0005 / 1.234)
    # a display in millivolts: a step is a tenth of one
    reading = reading_of("851.2 mV", accuracy_of("1%+3"))
    assert reading.volts == pytest.approx(0.8512)
    assert reading.limit_relative == pytest.approx(0.01 + 0.0003 / 0.8512)
    assert accuracy_of("ordinary") == Accuracy(1.0, 3)
    assert accuracy_of(" 0.5 % + 2 ") == Accuracy(0.5, 2)
    for text, word in [("x", "no reading"), ("512", "0.001 to 100"), ("0.1", "known to 351 %"),
                       ("nan", "0.001 to 100")]:  # fmt: skip
        with pytest.raises(BadInput, match=word):
            reading_of(text, accuracy_of("1%+3"))
    for text in ("", "bad", "50%", "-1%"):
        with pytest.raises(BadInput, match="accuracy"):
            accuracy_of(text)


def test_more_certain_resistors_give_more_certain_ohms():
    read, volts = ratios(Truth())
    loose = solve(read, replace(given(volts), series=KnownResistor(10000.0, 0.02)))
    tight = solve(read, given(volts))
    assert loose.input_ohm[0].u95 > 2.5 * tight.input_ohm[0].u95
