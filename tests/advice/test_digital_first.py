"""Digital links: what has to be known before a lead is bought or plugged in."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.destination import Cable, Destination, Input
from probe.advice.model import Advice
from probe.advice.text import render
from probe.cli.main import main
from probe.report.leaflet import leaves_of
from tests.advice.stages import facts

COAX = Input("digital", "digital-75", "single-ended", 75.0)
XLR = Input("digital", "digital-110", "balanced", 110.0)
LEAD = Cable(length_m=2.0, impedance_ohm=75.0)


def boxes(*sockets: Input, outputs: tuple[str, ...] = ("digital-75",), **device: Any) -> Advice:
    named = tuple(
        dataclasses.replace(s, name=f"{at}: digital", box=f"converter {at}")
        for at, s in zip("abc", sockets, strict=False)
    )
    document = facts(connectors=outputs, device=device)
    return advise(document, {}, Destination("converters", named, LEAD))


@pytest.mark.parametrize(
    ("count", "left", "returned"),
    [
        # closed form: 75/2 = 37.5 ohm on 75 ohm, 0.5 * 2 * 37.5/112.5 V, 20 log10(112.5/37.5)
        (2, "0.333 V", "9.5 dB"),
        # closed form: 25 ohm on 75 ohm, 0.5 * 2 * 25/100 V, 20 log10(100/50)
        (3, "0.25 V", "6.0 dB"),
    ],
)
def test_one_digital_output_drives_one_input(count: int, left: str, returned: str) -> None:
    """Lost: a Y lead is bought for two boxes, and the link drops out."""
    found = boxes(*[COAX] * count)
    (note,) = [c for c in found.cautions if c.code == "digital-one-input"]
    assert f"{left} would reach each in place of 0.5 V, at {returned} return loss" in note.message
    assert "Never split it by a Y lead" in note.message
    # it stands before any choice, once
    screen = " ".join(render(found).split())
    assert screen.index("FIRST One digital output drives one input") < screen.index("USE")
    assert screen.count("Y lead") == 1
    # in the document and on the sheet of each box
    document = found.to_json()
    assert [o["hazards"][0]["code"] for o in document["options"]] == ["digital-one-input"] * count
    leaves = leaves_of(document)
    assert len(leaves) == count
    assert all("Never split it by a Y lead" in leaf.asked[0] for leaf in leaves)
    assert all("a distribution amplifier" in leaf.asked[0] for leaf in leaves)
    assert not any("Y lead" in note for leaf in leaves for note in leaf.notes)  # once is enough
    # a lead on every list reads as if all could be plugged in
    assert all(leaf.needs[0].startswith("For one of the boxes on this output") for leaf in leaves)


def test_nobody_is_told_of_transformers_where_the_interfaces_are_alike() -> None:
    """Lost: thirty lines of ways nobody asked for, one of which "works" with too little level."""
    found = boxes(COAX, XLR, outputs=("digital-75", "digital-110"))
    assert [c.option for c in found.choices] == ["digital-75-to-75", "digital-110-to-110"]
    assert "Digital links" not in render(found)
    assert "digital-110-to-75/transformer" in render(found, details=True)
    assert [leaf.others for leaf in leaves_of(found.to_json())] == [(), ()]
    # where a transformer is used, the other ways stand beside it
    assert "Digital links" in render(boxes(COAX, outputs=("digital-110",)))


def test_a_coaxial_and_a_balanced_box_share_one_output_as_well() -> None:
    found = boxes(COAX, XLR)
    assert "digital-one-input" in [c.code for c in found.cautions]


def test_boxes_with_an_output_each_share_nothing() -> None:
    found = boxes(COAX, XLR, outputs=("digital-75", "digital-110"))
    assert "digital-one-input" not in [c.code for c in found.cautions]
    assert "digital-one-input" not in [c.code for c in boxes(COAX).cautions]


def test_a_free_digital_output_is_named() -> None:
    found = boxes(COAX, COAX, outputs=("digital-75", "digital-110"))
    (note,) = [c for c in found.cautions if c.code == "digital-one-input"]
    assert "(the one of 110 ohm is free)" in note.message


def test_the_stated_level_is_what_falls() -> None:
    found = boxes(COAX, COAX, digital_volts_peak_to_peak=0.6)
    (note,) = [c for c in found.cautions if c.code == "digital-one-input"]
    # closed form: two thirds of 0.6 V
    assert "0.4 V would reach each in place of 0.6 V" in note.message


def test_whether_the_receiver_takes_the_format_is_asked_first() -> None:
    """Lost: transformer, lead and attenuator are bought, and the receiver stays silent."""
    found = boxes(COAX, outputs=("digital-110",), digital_volts_peak_to_peak=3.0)
    says = "ask the maker of the receiver whether this input takes the professional channel-status"
    assert found.choices[0].why[0].startswith(f"before anything is bought, {says}")
    # on the screen it is asked once of what is used, in its first reason
    screen = " ".join(render(found).split())
    assert screen.count("ask the maker of the receiver") == 1
    assert f"Why before anything is bought, {says}" in screen
    assert "Would change" not in screen
    document = found.to_json()
    (asked,) = [w for w in document["would_change"] if w["code"] == "digital-format"]
    assert asked["destination"] == "converter a"
    (leaf,) = leaves_of(document)
    assert leaf.asked[0].startswith("Before anything is bought, ask the maker of the receiver")
    # the key of the file is for who types it
    assert "digital_format" not in leaf.asked[0]


def test_a_format_that_is_known_to_be_taken_is_not_asked_about() -> None:
    both = dataclasses.replace(COAX, digital_format="both")
    found = boxes(both, outputs=("digital-110",), digital_volts_peak_to_peak=3.0)
    assert not any("ask the maker" in why for why in found.choices[0].why)
    assert leaves_of(found.to_json())[0].asked == ()
    # a consumer output into a consumer input neither
    assert leaves_of(boxes(COAX).to_json())[0].asked == ()


def test_level_and_format_in_doubt_are_both_asked_first() -> None:
    """The level of AES3 lies between 2 and 7 V: no one attenuator is right for both ends."""
    found = boxes(COAX, outputs=("digital-110",))
    assert ["channel-status" in w for w in found.choices[0].why[:2]] == [True, False]
    assert "for the level of this output" in found.choices[0].why[1]
    assert all(w.startswith("before anything is bought") for w in found.choices[0].why[:2])


PLAYER = """
format = "probe-source/1"
single_ended_level_v = 2.0
single_ended_impedance_ohm = 100
device = { model = "Quill", output = "line", connectors = ["rca", "digital-75"] }
"""


def test_a_digital_lead_is_priced_as_what_it_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: "for one side", and a second lead is bought for the other."""
    (tmp_path / "source.toml").write_text(PLAYER)
    (tmp_path / "shelf.toml").write_text(
        'format = "probe-shelf/1"\n[[part]]\nname = "coax"\nkind = "lead"\nfrom = "rca-male"\n'
        'to = "rca-male"\nwires = ["centre-centre", "shell-shell"]\nlength_m = 2.0\n'
        "impedance_ohm = 75\nprice = 19.0\nstock = 6\n"
    )
    paths = str(tmp_path / "source.toml"), "digital-75", "--shelf", str(tmp_path / "shelf.toml")
    assert main(["advise", *paths]) == 0
    screen = " ".join(capsys.readouterr().out.split())
    assert "- 1 x coax - 19.00 EUR for the one lead, which carries both channels" in screen


def test_what_would_change_an_analogue_answer_says_nothing_of_a_digital_box(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: "no way to recommend" of the box whose lead stands above as the one to use."""
    (tmp_path / "source.toml").write_text(PLAYER)
    assert main(["advise", str(tmp_path / "source.toml"), "rca:47k:1V", "digital-75"]) == 0
    screen = " ".join(capsys.readouterr().out.split())
    assert "Would change the answer: how the boxes are earthed (--ground)" in screen
    assert "no way to recommend" not in screen
