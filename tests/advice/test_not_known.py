"""What is not known of a connection is no figure: grounds, corners, other boxes, noise."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2

from probe.advice.advise import advise
from probe.advice.destination import Cable, Destination, Input, together
from probe.advice.figures import _within
from probe.advice.ground import PRESETS, GroundPath, corners, from_readings, of_preset
from probe.advice.ground import second_reading as read_again
from probe.advice.hum import NOTHING_WITHIN, hum_of, told_from_nothing
from probe.advice.maximum import Limits, Most
from probe.advice.model import Advice, OptionAdvice
from probe.advice.operating import BY_ID
from probe.advice.quantity import Quantity, spanning, worst
from probe.advice.sampled import sample
from probe.advice.solve import Link, solve_option
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination, typed_ground
from probe.errors import BadInput
from probe.facts.source import Source
from probe.numbers import interval
from tests.advice.stages import cross_coupled, facts, legs, symmetrical, transformer

XLR = Input("xlr", "xlr", "balanced", 20e3, circuit="buffered", impedance_is="each-leg",
            rejection_db=300.0, sensitivity_volts=1.0)  # fmt: skip


def source(folder: Path, text: str) -> Path:
    path = folder / "source.toml"
    head = 'format = "probe-source/1"\n'
    tail = '[device]\nmaker = "Ostrey"\nmodel = "Quill"\noutput = "line"\n'
    path.write_text(head + text + tail + 'connectors = ["xlr"]\n')
    return path


def asked(path: Path, *to: str, ground: str = "same-strip") -> Advice:
    document, sources = read_source(path)
    boxes = [changed(typed_destination(t, 50.0), ground=ground) for t in to]
    return advise(document, sources, together(boxes))


def in_set(advice: Advice, box: str, which: int = 0) -> OptionAdvice:
    """Of the set that is used, or of each box's own best (-1)."""
    return next(o for o in advice.sets[which].options if o.box == box)


# --- grounds


@pytest.mark.parametrize("name", [n for n, p in PRESETS.items() if p.ohm is not None])
def test_a_difference_typed_alone_may_stand_behind_what_a_preset_has(name: str) -> None:
    # the presets themselves: whoever types the volts of one must not be promised less hum
    least, most = (g.ohm for g in corners(GroundPath(PRESETS[name].volts)))
    preset = PRESETS[name].ohm
    assert least is not None
    assert most is not None
    assert preset is not None
    assert least <= preset <= most


@pytest.mark.parametrize(
    ("volts", "source", "resistor"), [(2e-3, 0.2, 100.0), (0.1, 1.0, 100.0), (0.02, 0.25, 1.0)]
)
@pytest.mark.parametrize("error", [-0.02, 0.02])
def test_a_reading_off_by_its_class_holds_the_true_source(
    volts: float, source: float, resistor: float, error: float
) -> None:
    # closed form: I = U/(Z + R); a hand-held meter is good to 2 % (common practice, no source)
    true = volts / (source + resistor)
    least, most = (g.ohm for g in corners(from_readings(volts, true * (1 + error), resistor, 50.0)))
    assert least is not None
    assert most is not None
    assert least <= source <= most


def test_the_resistance_of_a_meter_in_its_milliampere_range_is_no_source() -> None:
    # 100 mV behind 0.2 ohm, through 100 ohm and a meter of 8 ohm: I = U/108.2
    found = read_again(0.1, 0.1 / 108.2, None, 100.0, 50.0)
    ends = [g.ohm for g in corners(found)]
    assert ends[0] is not None
    assert ends[0] <= 0.2
    assert found.source_in_doubt
    # volts across 1 ohm have no such share: 0.1 V / 1.2
    across = read_again(0.1, None, 0.1 / 1.2, 1.0, 50.0)
    assert across.ohm == pytest.approx(0.2, rel=1e-6)
    assert not across.source_in_doubt


def test_readings_typed_as_volts_across_the_resistor() -> None:
    # 20 mV, 16 mV of them across 1 ohm: 0.25 ohm
    found = typed_ground("20mV/16mV/1ohm", 50.0)
    assert found.ohm == pytest.approx(0.25, rel=1e-6)
    with pytest.raises(BadInput, match=r"more than the 0\.02 V alone"):
        typed_ground("20mV/22mV/1ohm", 50.0)


def test_a_loudspeaker_that_is_less_loud_allows_no_more_hum(tmp_path: Path) -> None:
    # our judgement (docs/advice.md): stricter by what a loudspeaker has above 88 dB, never looser
    path = source(tmp_path, 'kinds = ["unbalanced"]\nhot_level_v = 2.0\nhot_impedance_ohm = 100\n')
    for speaker in ("", ":speaker=78dB"):
        advice = asked(path, f"rca:20k:1V{speaker}", ground="10mV/1ohm")
        (plain,) = [o for o in advice.options if o.option.id == "xlr-to-rca/pin-3-open"]
        assert plain.verdict == "avoid"


# --- figures that are bounds under one assumption


@pytest.mark.parametrize("of", [spanning, lambda parts: worst(parts, "high")])
def test_a_bound_and_an_interval_leave_a_bound(of: object) -> None:
    # one: below 20.5 Hz, how far is not known; other: 21.2 Hz. The truth may be 0.7 Hz
    below = Quantity(20.5, "Hz", 20.5, 20.5, bound="below")
    found = of([below, Quantity(21.2, "Hz", 21.0, 21.4)])  # type: ignore[operator]
    assert (found.bound, found.value) == ("below", 21.4)
    above = Quantity(20e3, "Hz", 20e3, 20e3, bound="above")
    found = of([above, Quantity(15e3, "Hz", 14e3, 16e3)])  # type: ignore[operator]
    assert (found.bound, found.value) == ("above", 14e3)
    # a figure with no end on either side is none
    assert of([above, below]) is None  # type: ignore[operator]


def test_a_corner_that_one_draw_in_ten_does_not_reach_is_a_bound() -> None:
    # closed form: crossings drawn evenly between 15 and 25 kHz, seen up to 20 kHz
    places = np.linspace(15e3, 25e3, 401)
    seen = np.where(places < 20e3, np.log(places), np.nan)
    found = _within(np.concatenate([[np.log(18e3)], seen]), 20e3, "high")
    assert found.bound == "above"
    # the lower 2.5 % of 15 to 25 kHz
    assert found.value == pytest.approx(15.25e3, rel=1e-3)
    assert _within(np.full(401, np.log(18e3)), 20e3, "high").bound is None


# --- what cannot be told from nothing


def test_the_ellipse_is_that_of_two_dimensions() -> None:
    assert pytest.approx(chi2.ppf(0.95, 2)) == NOTHING_WITHIN


@pytest.mark.parametrize(("away", "told"), [(0.0, False), (1.5, False), (4.0, True), (40.0, True)])
def test_a_mean_within_its_own_noise_is_not_told_from_nothing(away: float, told: bool) -> None:
    # closed form: distance away/sigma in each part, squared and added, against 5.99
    rng = np.random.default_rng(3)
    draws = away / np.sqrt(2.0) * (1 + 1j) + rng.standard_normal((4001, 2)) @ np.array([1, 1j])
    assert bool(told_from_nothing(draws[:, None])[0]) is told


def test_hum_that_the_takes_cannot_see_has_no_quiet_end() -> None:
    # legs alike, which the solve tells to 0.5 ohm in each part: the truth is no hum at all
    doubtful = symmetrical(draws=200, skew_noise=0.5, seed=5)
    socket = replace(XLR, ground=of_preset("two-rooms"))
    response = solve_option(BY_ID["xlr-to-xlr"], socket, "buffered", 0.0, Cable(), sample(doubtful))
    found = hum_of(response, socket, 50.0)
    assert found is not None
    # 300 dB are as good as nothing
    assert found.below.high > 200.0
    # by hand: 0.1 V x 0.05 ohm/1.05 of it stands across the lead, and one leg of 100 ohm that is
    # off by 0.5 to 3 ohm in 20 kohm lets 88 to 104 dB less of that through
    assert 108.0 < found.below.low < 132.0
    assert found.below.value == found.below.low


# --- several boxes

PAIR = """\
kinds = ["differential"]
differential_level_v = 4.0
differential_impedance_ohm = 1200.0
"""


@pytest.mark.long
def test_an_input_of_unknown_circuit_is_every_circuit_for_the_other_box_too(tmp_path: Path) -> None:
    path = source(tmp_path, PAIR)
    box = "xlr:20k/leg:2V:buffered"
    (unknown, *stated) = [
        in_set(asked(path, box, f"xlr:2k/leg:2V{c}", ground="two-rooms"), box).figures
        for c in ("", ":difference-amplifier", ":buffered", ":transformer")
    ]
    # closed form of the buffered ones: 4 V behind 600 ohm a leg into 20 and 2 kohm
    z = 1.0 / (1.0 / 20e3 + 1.0 / 2e3)
    assert stated[1].level is not None
    assert stated[1].level.value == pytest.approx(4.0 * z / (z + 600.0), rel=2e-3)
    for one in stated:
        for name in ("level", "hum_below_full_output_db"):
            wide, narrow = getattr(unknown, name), getattr(one, name)
            assert wide.low <= narrow.low + 1e-6 * abs(narrow.low)
            # of a figure beyond 120 dB nobody is told more than that
            assert min(wide.high, 120.0) >= min(narrow.high, 120.0) - 0.1


def test_the_mismatch_of_another_input_is_in_the_hum_it_makes_here() -> None:
    stage = legs(hot=1.0, cold=-1.0, z=((600.0, 0.0), (0.0, 600.0)))
    own = replace(XLR, name="own", box="own", sensitivity_volts=0.1, ground=GroundPath(0.0, 1.0))
    far = Cable(15.0, 0.0, 1.5, 0.02)
    other = Input("other", "xlr", "balanced", 2e3, circuit="buffered", impedance_is="each-leg",
                  box="other", mismatch=0.2, ground=GroundPath(2e-3, 1.0), cable=far)  # fmt: skip
    advice = advise(facts(), {"left": stage}, Destination("two", (own, other), Cable(1.0, 0.0)))
    found = in_set(advice, "own", -1).figures.hum_below_full_output_db
    assert found is not None
    # by hand: 2 mV x 1.52/2.52 on the far chassis, through legs of 2.2 and 1.8 kohm into 600 ohm
    # with 20 kohm beside it: 43 uV in 0.1 V
    z = 1.0 / (1.0 / 600.0 + 1.0 / 20e3)
    volts = 2e-3 * 1.52 / 2.52 * (z / (1800.0 + z) - z / (2200.0 + z))
    assert found.value == pytest.approx(20.0 * np.log10(0.1 / volts), abs=0.3)
    # below 75 dB it is not used
    assert in_set(advice, "other").option.id == "xlr-to-xlr/transformer"


@pytest.mark.parametrize(
    # closed form: a pair of 8 V has 4 V on each leg; with pin 3 held by another lead pin 2 alone
    # swings the level of both boxes. A winding is limited by its flux, which no tie changes
    ("kind", "stage", "expected"),
    [("electronically-floating", cross_coupled(), 4.0),
     ("transformer-coupled", transformer(), 8.0)],
)  # fmt: skip
def test_a_lead_that_ties_pin_3_makes_the_others_clip_as_early(
    kind: str, stage: Source, expected: float
) -> None:
    sampled = sample(stage)
    rca = Input("rca", "rca", "single-ended", 47e3)
    tied = Link(BY_ID["xlr-to-rca/pin-3-tied-at-source"], rca, "unknown", 0.0, Cable())
    limits = Limits(Most.declared(8.0), None, np.abs(sampled.voc[:, sampled.at, 0]),
                    np.abs(sampled.leg_voc[:, sampled.at, 2]), kind)  # fmt: skip
    for company, most in (((), 8.0), ((tied,), expected)):
        found = limits.at_input(
            solve_option(BY_ID["xlr-to-xlr"], XLR, "buffered", 0.0, Cable(), sampled, company)
        )
        assert found is not None
        assert found.value == pytest.approx(most, rel=0.02)


# --- what is merged


def told(quantity: Quantity) -> tuple[float, float]:
    """What a reader of the document takes for the ends."""
    found = interval(quantity.to_json())
    assert found is not None
    return found


def test_the_ends_of_what_may_be_almost_nothing_are_written_out() -> None:
    # closed form: the middle of 13.4 and 513 mV is 263.1 mV; 256.9 +/- 249.8 mV would end at 7.1
    # mV, half of what is known, and of 0 to 15 mA with 7 +/- 7.5 mA below nothing
    one, none = Quantity(0.2569, "V", 0.0134, 0.5129), Quantity(7e-3, "A", 0.0, 15e-3)
    assert told(one) == (0.0134, 0.5129)
    assert told(none) == (0.0, 15e-3)
    # 3.10 +/- 0.20 V with an end off by 10 mV stays as it is
    assert "low" not in Quantity(3.1, "V", 2.91, 3.31).to_json()


def test_what_is_merged_over_kinds_holds_what_each_has_alone(tmp_path: Path) -> None:
    # by definition: what may be one of two kinds may be all that either may be; no level and no
    # current has a size below nothing
    head = "differential_level_v = 1.0\ndifferential_impedance_ohm = 2200.0\n"
    kinds = ("transformer-coupled", "pin-3-unconnected")
    found = [
        {o.option.id: o.figures for o in asked(
            source(tmp_path, f"kinds = {list(held)}\n{head}"), "rca:47k:0.5V", ground="same-strip"
        ).options}
        for held in (kinds[:1], kinds[1:], kinds)
    ]  # fmt: skip
    ways = {*found[2]} & {*found[0]} & {*found[1]}
    assert len(ways) >= 3
    for way, name in product(sorted(ways), ("level", "tie_current", "full_output_margin_db")):
        ends = [getattr(f[way], name) for f in found]
        if None in ends:
            continue
        *alone, merged = [told(q) for q in ends]
        # no source: what a tenth of a decibel, or of what is left at the low end, makes of both
        slack = 0.2 if name.endswith("db") else 0.2 * merged[0]
        assert all(merged[0] <= low + slack for low, _ in alone), (way, name, ends)
        assert all(merged[1] >= high - slack for _, high in alone), (way, name, ends)
        assert name.endswith("db") or merged[0] >= 0.0
