"""Hum before loudness among plain leads, and what is refused or said of inputs and levels."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.basket import lists
from probe.advice.destination import Cable, Destination, Input, together
from probe.advice.ground import of_preset
from probe.advice.in_all import all_in_all
from probe.advice.settle import _told
from probe.advice.shelf import TEMPLATE, read_shelf
from probe.advice.subject import side_of
from probe.advice.text import render
from probe.advice.typed import typed_destination
from probe.advice.words import TAKES
from probe.cli.main import main
from probe.errors import BadInput
from tests.advice.stages import facts, symmetrical

SHORT = Cable(4.0, 400e-12, 0.12, 0.02)
LONG = Cable(12.0, 1200e-12, 0.36, 0.02)


def two_inputs(xlr_volts: float, preset: str) -> Destination:
    ground = of_preset(preset)
    return Destination("amp", (
        Input("xlr", "xlr", "balanced", 20e3, circuit="difference-amplifier", mismatch=0.01,
              impedance_is="each-leg", sensitivity_volts=xlr_volts, ground=ground),
        Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.0, ground=ground),
    ), LONG)  # fmt: skip


def test_a_silent_plain_lead_goes_before_a_louder_one_that_hums() -> None:
    # closed form: 115 V behind 4.7 nF at 50 Hz drive 0.17 mA through 0.36 + 0.04 ohm of the RCA
    # shield: 68 uV, 83 dB below 1 V; the XLR at twice the level into 4 V is 6 dB quieter
    found = advise(facts(), {"left": symmetrical()}, two_inputs(4.0, "earthed-and-unearthed"))
    gain = {o.option.id: o.figures.loudness_vs_reference_db for o in found.options}
    hum = {o.option.id: o.figures.hum_below_full_output_db for o in found.options}
    assert gain["xlr-to-xlr"].value == pytest.approx(-6.0, abs=0.3)  # type: ignore[union-attr]
    assert hum["rca-to-rca"].value == pytest.approx(83.4, abs=0.7)  # type: ignore[union-attr]
    # common practice, no source: a balanced lead over 12 m, the volume turned up
    assert found.chosen == "xlr-to-xlr"


def test_beyond_what_a_turn_makes_up_the_louder_lead_stays() -> None:
    # closed form: into 8 V it is 12 dB quieter, more than half the volts (our judgement)
    found = advise(facts(), {"left": symmetrical()}, two_inputs(8.0, "earthed-and-unearthed"))
    assert found.chosen != "xlr-to-xlr"
    # the balanced input is still told against hum, whatever the rungs before it reach
    assert "balanced-input" in {c.code for c in found.cures}


@pytest.mark.parametrize("text", ["rca:47k:5mV", "xlr:1k/leg:5mV"])
def test_a_pickup_or_microphone_input_is_refused(text: str) -> None:
    # common practice, no source: 5 mV is a pickup's level, and a loud microphone's
    with pytest.raises(BadInput, match=r"phono .* or microphone input.*20 mV"):
        typed_destination(text, 50.0)


def test_a_sensitive_line_input_is_not_refused() -> None:
    # common practice, no source: line inputs of 100 mV are built
    assert typed_destination("rca:47k:100mV", 50.0).inputs[0].sensitivity_volts == 0.1


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("rca:47k:1V", "--cable", "-3m"), "a length cannot be negative"),
        (("rca:47k:1V", "--level", "-3V"), "a level cannot be negative"),
        (("speaker:8ohm",), "a loudspeaker is no destination of a line output"),
    ],
)
def test_what_cannot_be_is_named(arguments: tuple[str, ...], says: str, capsys: Any) -> None:
    assert main(["advise", "nowhere", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert says in err


def test_one_figure_has_one_interval_on_screen() -> None:
    # three circuits of the input that nobody stated: what to mind is the interval of all of them
    one = two_inputs(1.0, "two-rooms")
    unknown = replace(one, inputs=(replace(one.inputs[0], circuit="unknown"),))
    found = advise(facts(), {"left": symmetrical()}, unknown)
    for option in found.options:
        hum = option.figures.hum_below_full_output_db
        told = [
            h.message for h in option.hazards if h.code == "hum" and not h.message.startswith("if")
        ]
        for message in told:
            # regression only: the words are those of the figure
            assert hum is not None
            assert f"hum {hum.value:.1f} dB" in message or f"hum {hum.low:.1f} to" in message
            assert hum.u95 < 0.05 or f"{hum.high:.1f}" in message or hum.high > 120.0


@pytest.fixture
def several() -> tuple[Any, Destination]:
    boxes = [replace(typed_destination(t, 50.0), cable=SHORT) for t in
             ("rca:20k:0.3V:sub", "rca:47k:1V")]  # fmt: skip
    ground = of_preset("two-rooms")
    destination = together(
        [replace(d, inputs=tuple(replace(s, ground=ground) for s in d.inputs)) for d in boxes]
    )
    document = facts(connectors=("rca",))
    document["sides"] = dict.fromkeys(("left", "right"), document["sides"]["left"])
    return advise(
        document, dict.fromkeys(("left", "right"), symmetrical()), destination
    ), destination


def test_boxes_share_the_stock_and_a_subwoofer_takes_one(several: Any, tmp_path: Any) -> None:
    path = tmp_path / "shelf.toml"
    path.write_text(TEMPLATE)
    shelf = read_shelf(path)
    advice, destination = several
    found = lists(advice, destination, shelf).own
    # closed form: one lead for one box with one input, two for a stereo pair; three leads on two
    # sockets are one too many, which one splitter of one to two takes
    assert [(b.box, b.count) for b in found] == [
        ("rca:20k:0.3V:sub", 1), ("rca:47k:1V", 2), ("", 1)]  # fmt: skip
    sold: dict[str, int] = {}
    for t in (t for b in found for t in b.taken):
        sold[t.part.name] = sold.get(t.part.name, 0) + min(t.packages, t.part.stock)
    stock = {p.name: p.stock for p in shelf.parts}
    assert all(n <= stock[name] for name, n in sold.items())
    # closed form: the sum of them all
    total = sum(b.total for b in found)
    assert all_in_all(found)[0].startswith(f"{total:.2f} ")
    # closed form: an empty shelf costs nothing, and the same three leads are to be ordered
    bare = all_in_all(lists(advice, destination, replace(shelf, parts=())).own)
    assert "EUR" not in bare[0]
    assert re.fullmatch(r"nothing of it is on the shelf: \d pieces to be ordered, .*", bare[0])
    ordered = [int(re.match(r"to be ordered, (\d+) x", line)[1]) for line in bare[1:]]  # type: ignore[index]
    # closed form: and the one splitter
    assert sum(ordered) >= 4


def test_each_box_of_an_answer_has_its_name() -> None:
    # of one box "nothing" is told in words of its own; of several, which of them it is
    told = _told(("sub", "amplifier"), ("rca-to-rca", None))
    assert told == "rca-to-rca (sub) and no way to recommend (amplifier)"


def test_a_take_that_was_made_is_not_asked_for_again() -> None:
    document = facts()
    document["sides"]["left"]["takes"] = [{"take": "left second open", "used": True}]
    assert "second-open" in side_of(document, "left").taken
    found = advise(document, {"left": symmetrical()}, two_inputs(4.0, "two-rooms"))
    assert TAKES["second-open"] not in render(found)


def test_a_full_output_taken_for_the_maximum_is_said() -> None:
    # closed form: 0.58 V cannot drive an input that wants 0.7 V
    document = facts()
    document["device"]["full_output_volts"] = 0.58
    document["device"]["connectors"] = ["rca"]
    found = advise(document, {"left": symmetrical()}, typed_destination("rca:47k:0.7V", 50.0))
    told = " ".join(h.message for o in found.options for h in o.hazards if h.code == "clips-short")
    assert "no maximum is stated or measured" in told


def test_a_tenth_of_a_decibel_short_is_no_reason() -> None:
    # closed form: 0.69 V into 0.7 V are 0.12 dB short
    document = facts()
    document["device"]["full_output_volts"] = 0.69
    document["device"]["connectors"] = ["rca"]
    why = advise(document, {"left": symmetrical()}, typed_destination("rca:47k:0.7V", 50.0))
    assert not why.choices[0].why[0].startswith("stays")
    # half a decibel counts as reached: what is not short is not told as short
    assert "short" not in " ".join(why.choices[0].why)
    assert "just about reaches full output" in " ".join(render(why).split())
