"""What is said of the ways that were not taken, in one sentence."""

from __future__ import annotations

from dataclasses import replace

from probe.advice.advise import advise
from probe.advice.destination import Destination, Input, together
from tests.advice.stages import facts, symmetrical

RCA = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.0)
XLR = Input("xlr", "xlr", "balanced", 20e3, circuit="difference-amplifier",
            impedance_is="each-leg", sensitivity_volts=2.0)  # fmt: skip


def test_two_transformers_are_one_sentence() -> None:
    """Lost: "would be 6.3 dB louder and be 5.5 dB louder" reads like 11.8."""
    sockets = (replace(RCA, box="amp"), replace(XLR, box="amp", sensitivity_volts=1.1))
    advice = advise(facts(), {"left": symmetrical()}, Destination("amp", sockets))
    (choice,) = advice.choices
    # closed form: twice the volts are 6.02 dB, less up to 0.1 dB that windings take; the input that
    # wants 1.1 V in place of 1 V (5.2 dB) is another one
    assert choice.why[-1] == (
        "an isolating transformer would be 6.0 dB louder, but is a part to buy: only if "
        "that is missed"
    )


def test_who_shares_an_output_is_named_where_another_box_has_its_own() -> None:
    """Lost: on the sheet of the box that has a socket to itself stands that several share it."""
    boxes = [
        Destination(name, (socket,))
        for name, socket in (("one", XLR), ("two", XLR), ("sub", replace(RCA, role="subwoofer")))
    ]
    for held, named in ((boxes, True), (boxes[:2], False)):
        advice = advise(facts(), {"left": symmetrical()}, together(held))
        (told,) = [n.message for n in advice.cautions if n.code == "shared-output"]
        # by hand: the subwoofer alone has an RCA input, and the RCA output to itself
        assert ("(one and two)" in told) is named
