"""Another transformer is named only where it helps one box without harming the others."""

from __future__ import annotations

from dataclasses import replace

from probe.advice.advise import advise
from probe.advice.destination import Cable, Destination, Input, together
from probe.advice.ground import of_preset
from probe.advice.model import Advice
from probe.advice.other_transformer import with_other_transformer
from probe.advice.quantity import Quantity
from tests.advice.stages import facts, source

ISOLATED = "rca-to-rca/transformer"


def boxes(*inputs: tuple[float, float]) -> Destination:
    held = [
        Destination("amp", (Input("rca", "rca", "single-ended", ohm, sensitivity_volts=volts,
                                  ground=of_preset("two-rooms"), cable=Cable(length_m=4.0)),))
        for ohm, volts in inputs
    ]  # fmt: skip
    return together(held)


def asked(destination: Destination) -> Advice:
    document = facts("unbalanced", driven="one-leg", connectors=("rca",),
                     device={"full_output_volts": 2.0})  # fmt: skip
    stage = source(diff=2.0, z_diff=470.0, z_common=100.0, single=2.0, z_single=470.0)
    return advise(document, {"left": stage}, destination)


THREE = boxes((22e3, 0.8), (20e3, 1.0), (12e3, 2.0))


def test_one_that_makes_all_boxes_work_together_is_named() -> None:
    advice = asked(THREE)
    assert [c.option for c in advice.choices] == [ISOLATED, ISOLATED, None]
    told = [why for why in advice.choices[2].why if "--transformer" in why]
    assert len(told) == 1
    assert "the other boxes keep what they have" in told[0]
    # closed form: ordinary cores in parallel on 470 ohm lose more than 1 dB at 20 Hz; of several
    # times their inductance, as the largest of the library has, they do not
    assert "--transformer larch" in told[0]


def _without_and_with_the_third(advice: Advice) -> tuple[Advice, Advice]:
    """Return advice that has nothing for the third box, and one that has a transformer for it."""
    first, second, third = advice.choices
    bare = replace(advice, choices=(first, second, replace(third, why=("nothing",))))
    socket = next(o.socket for o in advice.options if o.box == third.box)
    found = replace(third, option=ISOLATED, socket=socket)
    return bare, replace(bare, choices=(first, second, found))


def test_one_that_takes_from_another_box_is_not_named() -> None:
    bare, all_work = _without_and_with_the_third(asked(THREE))
    # the rule: a remedy acts on all boxes, and none may lose by it what it has
    moved = replace(
        all_work, choices=(replace(all_work.choices[0], option="rca-to-rca"), *all_work.choices[1:])
    )
    assert "--transformer" in _why(with_other_transformer(bare, THREE, lambda *_: all_work))
    assert "--transformer" not in _why(with_other_transformer(bare, THREE, lambda *_: moved))


def test_one_that_surely_falls_short_is_none_where_full_output_was_possible() -> None:
    bare, all_work = _without_and_with_the_third(asked(THREE))
    short = Quantity(-6.0, "dB", -8.0, -3.0)
    falls = tuple(
        replace(o, figures=replace(o.figures, full_output_margin_db=short))
        if o.box == bare.choices[2].box else o
        for o in all_work.options
    )  # fmt: skip
    reaches = Quantity(-4.0, "dB", -9.0, 3.0)
    options = [
        replace(o, figures=replace(o.figures, full_output_margin_db=reaches)) for o in bare.options
    ]
    open_ = replace(bare, options=tuple(options))
    # the rule: what may reach full output is not mended by what surely misses it
    answered = with_other_transformer(open_, THREE, lambda *_: replace(all_work, options=falls))
    assert "--transformer" not in _why(answered)


def _why(advice: Advice) -> str:
    return "; ".join(advice.choices[2].why)
