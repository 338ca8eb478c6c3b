"""A way is better only where that is known: overload, clipping, hazards, many boxes, pads."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.attenuator import Pad
from probe.advice.destination import Destination, Input
from probe.advice.ground import of_preset
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.advice.use import likeliest_first
from probe.errors import BadInput
from tests.advice.stages import facts, symmetrical

NEAR = of_preset("same-strip")


def sheet(folder: Path, text: str, connectors: str) -> Path:
    path = folder / "source.toml"
    path.write_text(
        f'format = "probe-source/1"\n{text}[device]\nmaker = "Ostrey"\nmodel = "Quill"\n'
        f'output = "line"\nconnectors = [{connectors}]\n'
    )
    return path


def asked(path: Path, to: str, ground: str = "same-strip") -> Advice:
    document, sources = read_source(path)
    return advise(document, sources, changed(typed_destination(to, 50.0), ground=ground))


def test_an_input_whose_sensitivity_nobody_states_is_not_said_to_be_filled(tmp_path: Path) -> None:
    # 0.5 V into an input of 1 V: 6 dB short. What the XLR input needs is not stated
    path = sheet(
        tmp_path, "single_ended_level_v = 0.5\nsingle_ended_impedance_ohm = 100\n", '"rca"'
    )
    for to in ("rca:20k:1V+xlr:20k/leg", "rca:20k:1V:max=3V+xlr:20k/leg"):
        why = " ".join(asked(path, to).choices[0].why)
        assert "before the device clips, as others would not" not in why
        assert "does not overload" not in why
    # an XLR input of 0.4 V is filled, and then it is said
    why = " ".join(asked(path, "rca:20k:1V+xlr:20k/leg:0.4V").choices[0].why)
    assert "reaches full output before the device clips, as others would not" in why


@pytest.mark.parametrize("sensitivity", [1.49, 1.55])
def test_the_most_of_one_leg_is_held_against_full_output_on_one_leg(sensitivity: float) -> None:
    # by hand: of 1.55 V between the legs each has 0.775; 3 V are 11.8 dB above it, not 5.7
    rca = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=0.775, maximum_volts=3.0,
                ground=NEAR)  # fmt: skip
    xlr = Input("xlr", "xlr", "balanced", 10e3, circuit="difference-amplifier",
                impedance_is="each-leg", sensitivity_volts=sensitivity, maximum_per_leg_volts=3.0,
                rejection_db=50.0, ground=NEAR)  # fmt: skip
    document = facts(device={"full_output_v": 8.0})
    advice = advise(document, {"left": symmetrical()}, Destination("amplifier", (rca, xlr)))
    assert advice.chosen == "xlr-to-xlr"
    for option in advice.options:
        if option.option.id in ("rca-to-rca", "xlr-to-xlr"):
            assert "overload" in {h.code for h in option.hazards}
            assert option.verdict in ("use", "works")


def test_of_two_isolators_the_one_with_less_to_mind_is_used() -> None:
    # 8 V and 4 V over 0.3 V are both far more than is wanted; an ordinary core stands 5 V
    sub = Input("rca", "rca", "single-ended", 10e3, sensitivity_volts=0.3, role="subwoofer",
                ground=of_preset("two-rooms"))  # fmt: skip
    document = facts(device={"full_output_v": 8.0})
    advice = advise(document, {"left": symmetrical()}, Destination("subwoofer", (sub,)))
    assert advice.chosen == "rca-to-rca/transformer"


def test_combinations_come_one_by_one_thelikeliest_first() -> None:
    # closed form: the order of sorting all of them, for sizes that can be sorted
    rivals: Any = [list("abc"), list("de"), list("fghi")]
    places = sorted(product(*(range(len(r)) for r in rivals)), key=lambda p: (sum(p), p))
    expected = [tuple(r[k] for r, k in zip(rivals, p, strict=True)) for p in places]
    assert list(likeliest_first(rivals)) == expected
    # 12 to the power of 60 fit into no memory
    assert len(next(likeliest_first([list("abcdefghijkl")] * 60))) == 60  # type: ignore[arg-type]


def test_more_boxes_than_any_splitter_serves_are_refused() -> None:
    # our own limits, no source: eight boxes, and three sockets of each
    rca = Input("rca", "rca", "single-ended", 47e3)
    many = tuple(replace(rca, name=f"in {k}", box=f"box {k}") for k in range(9))
    with pytest.raises(BadInput, match="9 boxes; at most 8"):
        advise(facts(), {"left": symmetrical()}, Destination("wall", many))
    many = tuple(replace(rca, name=f"in {k}") for k in range(25))
    with pytest.raises(BadInput, match="25 inputs; at most 24"):
        advise(facts(), {"left": symmetrical()}, Destination("wall", many))


def test_hum_alone_is_a_reason_for_resistors_where_level_is_to_spare(tmp_path: Path) -> None:
    # by hand: 0.2 mV x 0.05/0.25 = 40 uV against 0.2 V: 74.0 dB; 1 V are 14 dB more than 0.2 V
    path = sheet(
        tmp_path, "single_ended_level_v = 1.0\nsingle_ended_impedance_ohm = 500\n", '"rca"'
    )
    advice = asked(path, "rca:47k:0.2V")
    assert advice.chosen == "rca-to-rca"
    assert advice.choices[0].attenuator
    lead = next(o for o in advice.options if o.verdict == "use").used
    hum = lead.figures.hum_below_full_output_db
    assert hum is not None
    assert hum.low >= 75.0
    margin = lead.figures.full_output_margin_db
    assert margin is not None
    assert margin.low >= 0.0


def test_a_typed_winding_on_one_leg_loses_what_its_capacitance_loses(tmp_path: Path) -> None:
    # closed form: 20 kohm behind C to pin 1, far above the corner: 6 dB an octave, 20 log10(f/20)
    text = 'kinds = ["transformer-coupled"]\ndifferential_level_v = 4.0\n'
    path = sheet(tmp_path, f"{text}differential_impedance_ohm = 100.0\n", '"xlr"')
    advice = asked(path, "rca:20k:1V")
    one = next(o for o in advice.options if o.option.id == "xlr-to-rca/pin-3-open")
    loss = one.figures.connection_loss_at_20_hz
    assert loss is not None
    assert one.figures.level is not None
    assert one.figures.level.at_hz is not None
    most = 20.0 * np.log10(one.figures.level.at_hz / 20.0)
    assert loss.high == pytest.approx(most, abs=0.3)
    # a winding with a grounded centre tap loses nothing
    assert loss.low == pytest.approx(0.0, abs=0.01)


def test_a_leg_that_may_clip_below_full_scale_is_told_in_volts(tmp_path: Path) -> None:
    # by hand: 4 V between the legs are 2 V on each; tied, pin 2 alone has to swing 4 V
    text = 'kinds = ["electronically-floating"]\ndifferential_level_v = 4.0\n'
    path = sheet(tmp_path, f"{text}differential_impedance_ohm = 100.0\n", '"xlr"')
    advice = asked(path, "rca:47k:1.5V")
    tied = next(o for o in advice.options if o.option.id == "xlr-to-rca/pin-3-tied-at-source")
    (told,) = [h.message for h in tied.hazards if h.code == "clips-earlier"]
    assert "about 2.0 V" in told
    # 20 log 2
    assert "keep the device's own volume 6 dB below full or lower" in told
    assert "where it has none, loud passages may distort" in told
    (looked,) = [s for s in advice.would_change if s.code == "volume-control"]
    assert "without a volume control: xlr-to-rca/transformer" in looked.what
    assert advice.chosen == "xlr-to-rca/pin-3-tied-at-source"


@pytest.mark.parametrize(
    ("kind", "level", "chosen"),
    [
        ("CD player", None, "transformer"),
        ("", "3V", "transformer"),
        # by hand: one leg surely gives 2 V, and no more is ever played
        ("CD player", "1.8V", "pin-3-tied-at-source"),
        ("preamplifier", None, "pin-3-tied-at-source"),
    ],
)
def test_a_player_is_not_led_to_the_lead_that_distorts(
    tmp_path: Path, kind: str, level: str | None, chosen: str
) -> None:
    text = 'kinds = ["electronically-floating"]\ndifferential_level_v = 4.0\n'
    path = sheet(tmp_path, f"{text}differential_impedance_ohm = 100.0\n", '"xlr"')
    path.write_text(path.read_text("utf-8") + f'kind = "{kind}"\n', "utf-8")
    there = changed(typed_destination("rca:47k:1.5V", 50.0), ground="same-strip", level=level)
    # common practice, no source: a source without a volume plays its full scale
    assert advise(*read_source(path), there).chosen == f"xlr-to-rca/{chosen}"


@pytest.mark.long
def test_what_may_be_too_much_by_the_doubt_of_a_sheet_alone_buys_nothing(tmp_path: Path) -> None:
    # by hand: 4 V typed to 5 % into an input that accepts 4 V: 0.4 dB at the worst, none as stated
    text = "differential_level_v = 4.0\nsingle_ended_level_v = 2.0\n"
    text += "differential_impedance_ohm = 100.0\nsingle_ended_impedance_ohm = 100.0\n"
    path = sheet(tmp_path, text, '"xlr", "rca"')
    advice = asked(path, "xlr:10k/between:2V:buffered:max=4V", "two-rooms")
    assert advice.chosen == "xlr-to-xlr"
    used = next(o for o in advice.options if o.verdict == "use")
    assert "at-limit" in {h.code for h in used.hazards}
    # 5 V are more than it accepts at any end, and stay a reason
    path = sheet(tmp_path, text.replace("4.0", "5.0"), '"xlr", "rca"')
    advice = asked(path, "xlr:10k/between:2V:buffered:max=4V", "two-rooms")
    assert advice.chosen != "xlr-to-xlr"


def test_resistors_in_an_xlr_plug_are_named_by_its_pins() -> None:
    # the shell of an XLR plug is no signal ground: IEC 61076-2-103 has pin 1 for it (from memory)
    pad = Pad(8060.0, 1910.0, balanced=False)
    assert "pin 2 to pin 1" in pad.says_in("xlr")
    assert "shell" in pad.says_in("rca")


DESK = """\
kinds = ["differential"]
differential_level_v = 1.23
single_ended_level_v = 0.6
differential_impedance_ohm = 100
single_ended_impedance_ohm = 100
"""


def test_one_output_does_not_give_what_only_the_other_one_does(tmp_path: Path) -> None:
    # by hand: 9.8 V between the legs would be 4.8 V on the RCA, which clips at 2 V: nothing is
    # too much for 3 V, and no resistors are soldered in
    text = f"{DESK}differential_maximum_v = 9.8\nsingle_ended_maximum_v = 2.0\n"
    path = sheet(tmp_path, text, '"xlr", "rca"')
    there = changed(typed_destination("rca:20k:2V:max=3V", 50.0), ground="same-strip", level="9.8V")
    advice = advise(*read_source(path), there)
    assert advice.chosen == "rca-to-rca"
    assert not advice.choices[0].attenuator
    used = next(o for o in advice.options if o.verdict == "use")
    assert used.figures.level is not None
    assert used.figures.level.value == pytest.approx(2.0, rel=0.01)
    assert "overload" not in {h.code for h in used.hazards}


def test_a_level_is_no_maximum_where_the_other_output_gives_more(tmp_path: Path) -> None:
    # by hand: 4.9 V on the RCA of 0.6 V are 8.2 times the level; whether the XLR gives as much is
    # not stated: neither that it clips at 1.23 V nor that it overloads 6 V is known
    path = sheet(tmp_path, f"{DESK}single_ended_maximum_v = 4.9\n", '"xlr", "rca"')
    advice = asked(path, "xlr:20k/leg:2V:max=6V:buffered")
    lead = next(o for o in advice.options if o.option.id == "xlr-to-xlr")
    codes = {h.code: h for h in lead.hazards}
    assert "clips-short" not in codes
    assert codes["overload"].assumed
    assert advice.chosen == "xlr-to-xlr"
