"""Why an option is chosen and another passed by, and what is said where only part is known."""

from __future__ import annotations

from typing import Any

from probe.advice.advise import advise
from probe.advice.destination import Destination, Input, together
from probe.advice.ground import of_preset
from probe.advice.model import Advice
from probe.advice.text import render
from probe.advice.together import effects
from probe.advice.typed import changed, typed_destination
from tests.advice.stages import facts, impedance_balanced, symmetrical

RCA = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.0)
XLR = Input("xlr", "xlr", "balanced", 20e3, circuit="difference-amplifier",
            impedance_is="each-leg", sensitivity_volts=2.0)  # fmt: skip


def ask(kind: str, stage: Any, destination: Destination, full: float = 4.0) -> Advice:
    document = facts(kind, device={"full_output_volts": full})
    return advise(document, {"left": stage}, destination)


def test_a_plain_lead_with_nothing_to_mind_before_a_transformer_that_saturates() -> None:
    # closed form: 10 V reach an input of 2 V whichever way; the XLR is 6 dB less sensitive
    there = changed(Destination("amp", (XLR, RCA)), ground="two-rooms", cable="8m")
    advice = ask("impedance-balanced", impedance_balanced(), there, full=10.0)
    assert advice.chosen == "xlr-to-xlr"
    assert any("nothing to mind" in why for why in advice.choices[0].why)


def test_more_loudness_asked_for_is_not_given_away() -> None:
    # closed form: as above, and +6 dB are asked for
    there = changed(Destination("amp", (XLR, RCA)), ground="two-rooms", cable="8m", gain="6dB")
    advice = ask("impedance-balanced", impedance_balanced(), there, full=10.0)
    assert all("nothing to mind" not in why for why in advice.choices[0].why)


def test_what_an_attenuator_takes_is_not_laid_on_the_other_leads() -> None:
    # closed form: a second box of 1 Mohm draws 1e-4 of what 100 ohm can give, nothing to be felt
    boxes = together([
        typed_destination("rca:47k:0.8V:max=1V", 50.0), typed_destination("rca:1000k:1V:sub", 50.0)
    ])  # fmt: skip
    advice = ask("differential", symmetrical(), boxes, full=10.0)
    choice = advice.choices[0]
    assert choice.attenuator
    assert all("by the other leads" not in told for told in effects(advice))
    assert all(c.code != "together" for c in advice.cautions)
    assert "as loud as" not in "; ".join(choice.why)
    assert any(why.startswith("with it -") for why in choice.why)


def test_what_is_not_computed_is_said_with_its_box() -> None:
    # closed form: hum needs the ground, which only one of the two boxes states
    known = Input("a", "rca", "single-ended", 47e3, box="one", sensitivity_volts=1.0,
                  ground=of_preset("same-strip"))  # fmt: skip
    bare = Input("b", "rca", "single-ended", 47e3, box="two", sensitivity_volts=1.0)
    told = render(ask("differential", symmetrical(), Destination("both", (known, bare))))
    head = " ".join(told.split("USE")[0].split())
    assert "hum not computed for two; noise not computed" in head


def test_the_full_output_is_said_to_be_the_balanced_one() -> None:
    told = " ".join(render(ask("differential", symmetrical(), Destination("amp", (RCA,)))).split())
    # closed form: an RCA of half the volts gives 2 V at the 4 V the device declares
    assert "at the device's full output of 4 V between pins 2 and 3" in told


def test_a_strangers_name_does_nothing_to_the_terminal() -> None:
    # ECMA-48: a control sequence begins with ESC
    document = facts("differential", device={"maker": "\x1b[2J\u202eevil"})
    told = render(advise(document, {"left": symmetrical()}, Destination("amp", (RCA,))))
    assert "\x1b" not in told
    assert "\u202e" not in told
    assert "evil" in told


def test_hum_that_is_loud_is_called_loud() -> None:
    # closed form: 5 V behind nothing on a lead of 0.1 ohm leave far less than 55 dB
    there = changed(Destination("amp", (RCA,)), ground="5V/0.1ohm", cable="10m")
    advice = ask("differential", symmetrical(), there)
    (rca,) = [o for o in advice.options if o.option.id == "rca-to-rca"]
    assert "loud enough to disturb the music" in rca.reasons[0]
