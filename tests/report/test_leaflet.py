"""The half page for the customer: what it says, what it draws, and what a hostile document does."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

import pytest

from probe.advice.advise import BY_ID, advise
from probe.advice.basket import lists
from probe.advice.destination import Destination, Input
from probe.advice.digital import LINKS
from probe.advice.leads import WAYS, wiring_of
from probe.advice.shelf import TEMPLATE, read_shelf
from probe.report import render_leaflet
from probe.report.leaflet import leaves_of
from probe.report.plugs import SOLDER_SIDE, described, drawn_of, lead_drawing, legend
from tests.advice.stages import cross_coupled, facts, ground_sensing, symmetrical

RCA = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.5, maximum_volts=2.0)
XLR = Input("xlr", "xlr", "balanced", 20e3, circuit="buffered", impedance_is="each-leg",
            sensitivity_volts=2.0)  # fmt: skip


def document(*inputs: Input, stage: Any = None, kind: str = "differential", volts: float = 4.0,
             **device: Any) -> dict[str, Any]:  # fmt: skip
    destination = Destination("little amplifier", inputs, operating_volts=volts)
    found = facts(kind, device=device) if device else facts(kind)
    return advise(found, {"left": stage or symmetrical()}, destination).to_json()


def option(id_: str) -> dict[str, Any]:
    o = BY_ID[id_]
    return {"id": id_, "from": o.from_, "to": o.to, "pin_3": o.pin_3, "wiring": wiring_of(id_)}


def test_solder_side_is_the_mirror_of_the_front() -> None:
    # AES14 / IEC 61076-2-103 (from memory): front of the male, key up: 1 left, 2 right, 3 below
    front_of_male = {"1": -1, "2": 1}
    for pin, side in front_of_male.items():
        # closed form: solder side mirrors the front, the female's front mirrors the male's
        assert SOLDER_SIDE["xlr-male"][pin][0] * side < 0
        assert SOLDER_SIDE["xlr-female"][pin][0] * side > 0
    for contacts in SOLDER_SIDE.values():
        assert contacts["3"][0] == 0.0
        assert contacts["3"][1] > contacts["1"][1] == contacts["2"][1]


@pytest.mark.parametrize("id_", list(BY_ID))
def test_every_wiring_is_drawn_and_told(id_: str) -> None:
    drawn = drawn_of(option(id_), with_pad=False)
    told = described(drawn)
    svg = str(lead_drawing("k", drawn, "Tern", "amp"))
    assert svg.count("<title") == svg.count("<desc") == 1
    o = BY_ID[id_]
    ends = {"xlr": "XLR", "rca": "RCA"}
    assert (ends[o.from_] in svg, ends[o.to] in svg) == (True, True)
    if o.pin_3 == "open" and o.from_ == "xlr":
        assert "pin 3 at the device connected to nothing" in told
    if o.pin_3 == "open" and o.to == "xlr" and o.from_ == "rca":
        assert "pin 3 at the destination connected to nothing" in told
    if o.id == "xlr-to-rca/pin-3-tied-at-source":
        assert "pins 1 and 3 joined in the device's plug" in told
        assert "pin 3 at the device to" not in told
    if o.id == "xlr-to-rca/pin-3-tied-at-destination":
        assert "pin 3 at the device to shell at the destination" in told
    if o.id == "rca-to-xlr/pin-3-tied-at-source":
        assert "shell at the device to pin 3 at the destination" in told
    if o.pin_3 == "transformer":
        assert "transformer" in told


def test_genders_of_the_plugs() -> None:
    svg = str(lead_drawing("k", drawn_of(option("xlr-to-xlr"), with_pad=False), "a", "b"))
    # AES14 (from memory): outputs are male, so the lead has a female there, and a male at the input
    assert svg.index("XLR female") < svg.index("XLR male")


def test_wires_differ_by_pattern_not_by_colour_alone() -> None:
    svg = str(lead_drawing("k", drawn_of(option("xlr-to-xlr"), with_pad=False), "a", "b"))
    styles = set(re.findall(r'class="lead (\w+)"', svg))
    assert styles == {"hot", "cold", "ground"}
    page = render_leaflet(document(XLR))
    printed = page.split("@media print", 1)[1]
    assert "--hot:#000;--cold:#000" in printed
    for style in ("cold", "ground"):
        (rule,) = re.findall(rf"\.lead\.{style}{{([^}}]*)}}", page)
        assert "stroke-dasharray" in rule


def test_attenuator_is_on_the_page() -> None:
    (leaf,) = leaves_of(document(RCA, volts=10.0))
    assert "attenuator in its plug" in leaf.chosen
    assert any("kΩ" in line for line in leaf.needs)
    assert "across" in str(leaf.drawing)
    levels = dict(leaf.figures)
    # closed form: what is left of 5 V is at most the 2 V the input accepts
    assert float(levels["Level at the input"].split()[0]) <= 2.0


def test_an_overload_is_not_told_as_loudness() -> None:
    """A customer turned the subwoofer down and went on overdriving its input."""
    little = replace(RCA, sensitivity_volts=0.3)
    found = facts(device={"full_output_volts": 10.0})
    advice = advise(found, {"left": symmetrical()}, Destination("little amplifier", (little,)))
    (leaf,) = leaves_of(advice.to_json())
    assert "attenuator" not in leaf.chosen
    # the rule: the output gives 5 V on a leg and the input accepts 2 V: at the head, and once
    assert leaf.before[0].startswith("The output can overload this input: ")
    assert "which accepts 2 V" in leaf.before[0]
    assert not any("which accepts 2 V" in line for line in leaf.notes)
    assert any(line.startswith("Against the overload: ") for line in leaf.needs)
    assert not any("too loud" in line for line in leaf.needs)


def test_nothing_chosen_says_so() -> None:
    (leaf,) = leaves_of(document(RCA, output="headphone"))
    assert leaf.chosen == "Never connect this output"
    assert leaf.drawing is None
    assert any("headphone" in note.lower() for note in leaf.first)
    assert any("headphone" in line for line in leaf.never)


def test_shelf_is_what_is_needed(tmp_path: Any) -> None:
    path = tmp_path / "shelf.toml"
    path.write_text(TEMPLATE)
    destination = Destination("amp", (RCA,), operating_volts=2.0)
    advice = advise(facts(), {"left": symmetrical()}, destination)
    found = advice.to_json()
    found["shelf"] = [b.to_json() for b in lists(advice, destination, read_shelf(path)).own]
    (leaf,) = leaves_of(found)
    assert leaf.needs[0].startswith("1 x RCA lead 1 m, pair")


def test_no_claim_of_better_sound() -> None:
    for stage, kind in ((symmetrical(), "differential"), (ground_sensing(), "ground-sensing"),
                        (cross_coupled(), "electronically-floating")):  # fmt: skip
        page = render_leaflet(document(RCA, XLR, stage=stage, kind=kind))
        for found in re.findall(r"[^.<>]*better sound[^.<>]*", page):
            assert "not a promise of" in found
        assert "warmer" not in page


def test_words_of_strangers_are_escaped() -> None:
    found = document(XLR)
    text = "<script>alert(1)</script>"
    found["device"] = text
    found["cautions"] = [{"code": "simulated", "message": text}]
    page = render_leaflet(found)
    assert "<script" not in page
    assert render_leaflet(json.loads(json.dumps(found))) == page


def test_every_digital_link_has_a_name_for_people() -> None:
    from probe.report import words

    assert {link.id for link in LINKS} | set(BY_ID) <= set(words.OPTIONS)
    assert set(WAYS) <= set(words.OPTIONS)


def test_what_is_not_known_is_not_claimed() -> None:
    found = document(XLR)
    for option_ in found["options"]:
        option_["connection_loss_db"] = {}
    (leaf,) = leaves_of(found)
    assert not any("takes nothing off" in line for line in leaf.gains)


def test_digital_page_speaks_of_no_bass() -> None:
    socket = Input("digital", "digital-75", "single-ended", 75.0)
    found = facts(connectors=("digital-110",), device={"digital_volts_peak_to_peak": 4.0})
    (leaf,) = leaves_of(advise(found, {}, Destination("converter", (socket,))).to_json())
    assert not any("treble" in line for line in leaf.gains)
    assert any("carries no hum" in line for line in leaf.hum)
    assert any("16.3" in line for line in leaf.needs)


def test_a_typed_device_is_told_on_the_sheet() -> None:
    found = document(RCA)
    assert not any("Nothing was measured" in line for line in leaves_of(found)[0].gains)
    found["cautions"] = [*found["cautions"], {"code": "typed", "message": "Nothing was measured."}]
    (leaf,) = leaves_of(found)
    assert "typed from a data sheet" in leaf.gains[0]


def test_what_speaks_against_the_other_ways_is_a_whole_sentence() -> None:
    found = document(RCA, XLR)
    (leaf,) = leaves_of(found)
    assert len(leaf.others) >= 5
    for _, _, why in leaf.others:
        # a cell of the printed table holds two lines of some fifty characters
        assert 0 < len(why) <= 100
        assert "…" not in why
        assert not why.startswith("if the stage")
    ruled_out = [o for o in found["options"] if o["verdict"] in ("avoid", "never", "cannot-tell")]
    assert ruled_out
    assert all(o["because"] for o in ruled_out)


def test_a_rise_of_the_bass_is_not_whole() -> None:
    found = document(RCA)
    chosen = next(o for o in found["options"] if o["verdict"] == "use")
    # a coupling capacitor against a winding: a loss below nothing, beyond what is heard
    chosen["connection_loss_db"]["at_20_hz"] = {"value": -1.6, "u95": 0.1}
    (leaf,) = leaves_of(found)
    assert "The deepest bass comes 1.6 dB too strong." in leaf.gains
    assert "The connection takes nothing off bass and treble." not in leaf.gains


def test_the_attenuator_of_a_digital_link_is_in_drawing_and_figures() -> None:
    socket = Input("digital-75 input", "digital-75", "single-ended", 75.0)
    device = {"digital_volts_peak_to_peak": 4.0, "digital_format": "professional"}
    found = advise(facts(connectors=("digital-110",), device=device), {},
                   Destination("converter", (socket,))).to_json()  # fmt: skip
    (leaf,) = leaves_of(found)
    # closed form: 4 sqrt(75/110) = 3.3029 V; 56 and 24 ohm between 75 ohm divide by 6.514
    assert dict(leaf.figures)["Level at the input, peak to peak"].startswith("507")
    assert "between them" in str(leaf.drawing)
    # closed form: matched T at 75 ohm for 16.3 dB in E24: 56 and 24 ohm, above
    assert "56.0" in str(leaf.drawing)
    # for those who cannot see it: a winding is no open contact, and the transformer is the one of
    # the list, a digital one at the device
    assert "to nothing" not in str(leaf.drawing)
    assert "one side of a digital transformer at the device" in str(leaf.drawing)


@pytest.mark.parametrize(
    ("id_", "says"),
    [
        ("rca-to-rca", ("go in. Solid: hot. Dots",)),
        ("xlr-to-xlr", (", key up. ", "Long dashes: cold.")),
        ("xlr-to-rca/pin-3-open", (", key up. ",)),
    ],
)
def test_the_legend_tells_of_what_is_drawn(id_: str, says: tuple[str, ...]) -> None:
    """Lost: a key is looked for on an RCA plug, and dashes where there are none."""
    told = legend(lead_drawing("k", drawn_of(option(id_), with_pad=False), "Tern", "amp"))
    assert all(text in told for text in says)
    assert ("key" in told) == ("xlr" in id_)
