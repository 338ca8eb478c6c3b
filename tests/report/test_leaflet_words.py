"""Words of the customer's page agree with its figures, and with the screen's."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.audible import hum_heard
from probe.advice.ground import of_preset
from probe.advice.quantity import Quantity
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.report import render_html, render_leaflet
from probe.report.advised import advice_view
from probe.report.bounded import figure
from probe.report.gains import gains
from probe.report.leaflet import _figures, _hum, leaves_of
from probe.report.other_ways import other_ways
from probe.report.places import place_of
from probe.report.used import as_used, worse_side
from probe.report.words import OPTIONS


def db(value: float, low: float, high: float) -> dict[str, Any]:
    """Return a figure as the advice has it, with what is heard of it as hum."""
    heard = hum_heard(Quantity(value, "dB", low, high), 0.0).to_json()
    return {
        "heard": heard,
        "value": value,
        "unit": "dB",
        "u95": (high - low) / 2.0,
        "low": low,
        "high": high,
    }


@pytest.mark.parametrize(
    ("entry", "expected"),
    [
        # our own judgement: the unfavourable end decides, 90 and 75 dB as in the advice
        (db(97.5, 78.7, 103.2), "79 to 103 dB below full output: heard at most close"),
        # of a narrow interval the unfavourable end
        (db(97.5, 97.0, 98.0), "97 dB below full output: not to be heard"),
        (db(197.6, 190.0, 199.0), "more than 120 dB below full output: not to be heard"),
        (db(33.7, 33.6, 33.8), "34 dB below full output: loud enough to disturb"),
        (db(70.0, 69.5, 70.5), "it is heard in a quiet room"),
    ],
)
def test_hum_in_words(entry: dict[str, Any], expected: str) -> None:
    assert expected in " ".join(gains({"hum_below_full_output_db": entry}))


@pytest.mark.parametrize(
    ("entry", "expected"),
    [
        (db(97.5, 78.7, 103.2), "78.7 to 103.2 dB"),
        ({"value": 6.0, "unit": "dB", "u95": 0.2}, "6.0 ± 0.2 dB"),
        ({"value": 71.0, "unit": "A", "u95": 70.5, "low": 1.29e-3, "high": 141.0}, "1.3 mA or"),
    ],
)
def test_an_interval_is_not_flattened(entry: dict[str, Any], expected: str) -> None:
    # the figures themselves
    assert expected in figure(entry)


def test_hum_behind_the_attenuator_is_the_one_shown() -> None:
    # the figures themselves: 13.1 dB apart
    pad = {"attenuation": {"value": 13.1}, "hum_below_full_output_db": db(148.6, 148.0, 149.0)}
    option = {"hum_below_full_output_db": db(135.5, 135.0, 136.0), "attenuator": pad}
    assert as_used(option, with_pad=True)["hum_below_full_output_db"]["value"] == 148.6


def test_a_transformer_is_not_asked_for_twice() -> None:
    said = _hum({}, {"id": "xlr-to-rca/transformer", "pin_3": "transformer", "destination": "a"})
    assert all("Ask for an audio isolating transformer" not in line for line in said)
    assert said[0].startswith("Where the boxes stand near each other")


def test_of_two_sides_the_worse_one_is_told() -> None:
    loss = [{"connection_loss_db": {"at_20_hz": db(v, v, v)}, "hazards": []} for v in (0.1, 3.0)]
    hum = [{"hum_below_full_output_db": db(v, v, v), "hazards": [{"code": c}]}
           for v, c in ((95.0, "a"), (80.0, "b"))]  # fmt: skip
    found = worse_side([{**a, **b} for a, b in zip(loss, hum, strict=True)])
    # the figures themselves: the larger loss, the nearer hum, the hazards of both
    assert found["connection_loss_db"]["at_20_hz"]["value"] == 3.0
    assert found["hum_below_full_output_db"]["value"] == 80.0
    assert [h["code"] for h in found["hazards"]] == ["a", "b"]
    # what one side lacks is not known of the pair
    assert "hum_below_full_output_db" not in worse_side([hum[0], {"hazards": []}])


def test_a_rise_is_not_called_a_loss_and_a_fault_not_whole() -> None:
    rise = {"connection_loss_db": {"at_20_hz": db(-1.6, -1.6, -1.6), "at_20_khz": db(0, 0, 0)}}
    # the figure itself
    assert ("Rise at 20 Hz", "1.6 dB") in _figures(rise)
    assert any("1.6 dB too strong" in line for line in gains(rise))
    flat = {"connection_loss_db": {"at_20_hz": db(0, 0, 0), "at_20_khz": db(0, 0, 0)}}
    assert any("takes nothing off" in line for line in gains(flat))
    # what stands as 0.4 dB in the figures below is not nothing
    some = {"connection_loss_db": {"at_20_hz": db(0, 0, 0), "at_20_khz": db(0.4, 0.27, 0.58)}}
    assert "The connection takes little off bass and treble: at most 0.6 dB." in gains(some)
    faulty = flat | {"hazards": [{"code": "stage-fault", "message": "m"}]}
    assert all("takes nothing off" not in line for line in gains(faulty))
    assert any("faulty output" in line for line in gains(faulty))


FLAT = {"connection_loss_db": {"at_20_hz": db(0, 0, 0), "at_20_khz": db(0, 0, 0)}}


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        # both ends of a wide interval, and the unfavourable one decides
        ({"connection_loss_db": {"at_20_hz": db(0.8, 0.2, 1.9), "at_20_khz": db(0, 0, 0)}},
         "0.2 to 1.9 dB of the deepest bass is lost."),
        ({"full_output_margin_db": db(0.1, -0.4, 0.6)}, "just about reaches its full output"),
        ({"full_output_margin_db": db(-0.1, -0.2, -0.1)}, "just about reaches its full output"),
        ({"full_output_margin_db": db(-3.8, -9.4, 2.3)}, "may stay up to 9.4 dB short of its full"),
        ({"full_output_margin_db": db(-3.0, -4.0, -2.0)}, "stays 2.0 to 4.0 dB short"),
        ({"loudness_vs_rca_db": db(-2.0, -6.0, 1.0), "reference": "rca-link"},
         "Between 6.0 dB quieter and 1.0 dB louder than a plain RCA lead"),
        # silent at mains frequency, its harmonics are not: 8 dB below what nobody hears
        ({"hum_below_full_output_db": db(91, 91, 91), "buzz_below_full_output_db": db(82, 82, 82)},
         "Hum with its harmonics is 82 dB below full output: heard at most close"),
        ({}, "Nothing is known of hum and hiss here."),
        ({"noise_alone_db": db(105, 104, 106)},
         "Hiss is 104 to 106 dB below full output with the other boxes unplugged; what their"),
        ({**FLAT, "role": "subwoofer"}, "The connection takes nothing off the bass."),
    ],
)  # fmt: skip
def test_what_it_gives_stands_on_the_unfavourable_end(keys: dict[str, Any], expected: str) -> None:
    # regression only: the words of the figures above
    assert expected in " ".join(gains(keys))


def test_nothing_to_recommend_is_said_without_words_of_the_program() -> None:
    option = {"id": "xlr-to-rca/pin-3-open", "destination": "amp", "verdict": "cannot-tell",
              "because": "perhaps most of the level would be lost",
              "reasons": ["if the stage is transformer-coupled: 23.3 dB"]}  # fmt: skip
    told = str(leaves_of({"options": [option], "why": ["least bad: xlr-to-rca/pin-3-open"]}))
    # the words of the program are those of its formats
    assert "pin-3-open" not in told
    assert "cannot-tell" not in told
    assert "most of the level would be lost" in told
    # it was measured: what is missing is the rest of it; a data sheet was not
    assert "Have the measurement of the output completed" in told
    typed = {"options": [option], "cautions": [{"code": "typed", "message": "typed"}]}
    assert "Have the output measured" in str(leaves_of(typed))


def test_two_boxes_of_one_kind_are_told_apart_and_the_one_that_stays_out_is_named() -> None:
    one, other = "rca:22k:0.8V", "rca:12k:2V"
    options = [{"id": "rca-to-rca", "destination": box, "verdict": verdict}
               for box, verdict in ((one, "use"), (other, "works"))]  # fmt: skip
    cautions = [{"code": "together-not-all", "message": f"not {other}"},
                *[{"code": "unlikely-sensitivity",
                   "message": f"hardly a line input ({one}: rca input)"}] * 2]  # fmt: skip
    leaves = leaves_of({"device": "Tern", "options": options, "cautions": cautions,
                        "choices": [{"destination": one, "option": "rca-to-rca"},
                                    {"destination": other, "option": None}]})  # fmt: skip
    # the words typed, without those of the program
    assert [leaf.destination for leaf in leaves] == [
        "amplifier, RCA input (22k, 0.8V)", "amplifier, RCA input (12k, 2V)"]  # fmt: skip
    for leaf in leaves:
        said = " ".join(leaf.before)
        assert "amplifier, RCA input (12k, 2V) stays unplugged" in said
        assert "rca:" not in said
        # what is said of one box stands on its sheet alone, and once
        asked = " ".join(leaf.asked)
        assert asked.count("hardly a line input") == (leaf is leaves[0])
        assert "rca:" not in asked


def test_what_is_said_of_an_option_is_said_of_it_behind_its_attenuator() -> None:
    pad = {"fitted": True, "verdict": "avoid", "because": "bass would be lost", "reasons": ["r"]}
    option = {"id": "rca-to-rca", "verdict": "works", "because": "", "attenuator": pad}
    # the words themselves
    assert other_ways([option], None)[0][1:] == ("avoid", "bass would be lost")
    assert as_used(option | {"verdict": "use"}, with_pad=True)["verdict"] == "use"


@pytest.mark.parametrize(("reference", "link"), [("rca-link", "RCA"), ("xlr-link", "XLR")])
def test_a_level_names_the_link_it_is_held_against(reference: str, link: str) -> None:
    option = {"id": "xlr-to-xlr", "reference": reference, "level_vs_rca_db": db(0, 0, 0)}
    (row,) = advice_view({"options": [option]}).options
    # the reference is the one of the advice
    assert row.figures == (f"Level against the {link} link: 0.0 dB",)


def test_the_page_tells_both_sides_in_one_row_and_what_is_common_once() -> None:
    def told(id_: str, side: str, hum: float) -> dict[str, Any]:
        return {"id": id_, "side": side, "destination": "amp", "verdict": "avoid",
                "hum_below_full_output_db": db(hum, hum, hum),
                "reasons": [f"hum {hum:.1f} dB below full output", "no level"]}  # fmt: skip

    options = [told(id_, side, hum - less)
               for id_, less in (("rca-to-rca", 0.0), ("xlr-to-rca/pin-3-open", 10.0))
               for side, hum in (("left", 60.5), ("right", 60.1))]  # fmt: skip
    view = advice_view({"options": options})
    assert view.common == ("no level",)
    # what is asked of every page: of two sides the worse one
    assert [(r.where, r.reasons, r.figures) for r in view.options] == [
        ("left and right, amp", (f"hum {worse} dB below full output",),
         (f"Hum below full output: {worse} dB",))
        for worse in ("60.1", "50.1")
    ]  # fmt: skip


def test_the_page_names_the_box_for_which_nothing_is_used() -> None:
    options = [{"id": "xlr-to-xlr", "destination": "amp", "verdict": "use"},
               {"id": "xlr-to-xlr", "destination": "sub", "verdict": "works"}]  # fmt: skip
    choices = [{"destination": "amp", "option": "xlr-to-xlr", "why": ["as loud"]},
               {"destination": "sub", "option": None, "why": ["no way", "unplugged"]}]  # fmt: skip
    view = advice_view({"options": options, "choices": choices, "chosen": "xlr-to-xlr"})
    amp, sub = view.boxes
    assert (amp.name, amp.chosen) == ("amp", "XLR lead, pins 1, 2 and 3 straight through")
    assert (sub.name, sub.chosen, sub.why) == ("sub", "", ("No way.", "Unplugged."))
    page = render_html({"sides": {}}, advice={"options": options, "choices": choices})
    # the rule of the screen: USE NOTHING YET beside the box's name
    assert page.index("<bdi>sub</bdi>") < page.index('<p class="chosen">Nothing yet</p>')


def test_what_is_to_be_minded_of_both_sides_stands_once() -> None:
    told = ["hum 92.1 dB (90.0 to 94.0) below full output", "hum 88.0 dB below full output"]
    sides = [{"hazards": [{"code": "hum", "message": m}, {"code": "load", "message": "too much"}]}
             for m in told]  # fmt: skip
    # the worse side is the one with the hum less far down
    assert [h["message"] for h in worse_side(sides)["hazards"]] == [told[1], "too much"]


def test_a_sheet_says_where_full_output_is_not_known() -> None:
    # arithmetic: 6 dB less than the lead that everybody knows may be too little
    option = {"reference": "rca-link", "loudness_vs_rca_db": db(-6.0, -6.1, -5.9)}
    says = "Whether the amplifier reaches its full output with that is not known."
    assert says in gains(option)
    assert says not in gains({**option, "full_output_margin_db": db(1.0, 0.9, 1.1)})
    assert says not in gains({**option, "loudness_vs_rca_db": db(-0.1, -0.2, 0.0)})


def test_the_sheet_of_a_subwoofer_forbids_to_join_left_and_right() -> None:
    cautions = [{"code": "one-channel", "message": "one channel"},
                {"code": "y-lead", "message": "no Y lead"}]  # fmt: skip
    told = {}
    for role in ("subwoofer", "amplifier"):
        option = {"id": "rca-to-rca", "verdict": "use", "destination": "box", "role": role}
        (leaf,) = leaves_of({"options": [option], "cautions": cautions})
        told[role] = ("one channel" in leaf.before, "no Y lead" in leaf.never)
    assert told == {"subwoofer": (True, True), "amplifier": (False, False)}


def test_a_sheet_without_figures_has_no_empty_heading() -> None:
    nothing = {"cautions": [{"code": "headphone-output", "message": "no adapter"}]}
    assert "For the curious" not in render_leaflet(nothing)


def test_a_digital_level_says_that_it_is_peak_to_peak() -> None:
    option = {"id": "digital-75-to-75", "verdict": "use", "destination": "box",
              "level": {"value": 0.5, "unit": "V", "measure": "peak-to-peak"}}  # fmt: skip
    (leaf,) = leaves_of({"options": [option]})
    assert leaf.figures == (("Level at the input, peak to peak", "500.0 mV"),)


def test_the_sheet_asks_the_maker_before_it_has_anything_measured() -> None:
    option = {"id": "rca-to-xlr/transformer", "verdict": "cannot-tell", "destination": "amp"}
    asked = {"code": "output-impedance", "destination": "amp", "answers": [option["id"]],
             "what": "ask the maker of R for the impedance: with 600 ohm or less"}  # fmt: skip
    other = {"code": "transformer", "destination": "amp", "what": "another one, 60 H"}
    (leaf,) = leaves_of({"options": [option], "would_change": [other, asked],
                         "choices": [{"destination": "amp", "option": None}],
                         "cautions": [{"code": "typed", "message": ""}]})  # fmt: skip
    assert leaf.chosen.startswith("Not yet: ask the maker")
    assert leaf.why[0].startswith(
        "Ask the maker of R for the impedance: with 600\u00a0Ω or less, “RCA"
    )
    assert leaf.why[1] == "Whatever it is, it works with another one, 60 H."
    assert "Or have the output measured" in leaf.why[-1]


def test_the_sheet_says_what_a_bought_transformer_must_have() -> None:
    option = {"id": "rca-to-rca/transformer", "verdict": "use", "destination": "amp",
              "adapter": "isolating transformer", "says": "a lead", "from": "rca", "to": "rca",
              "transformer": {"to_ask_for": "1:1, at least 60 H"}}  # fmt: skip
    (leaf,) = leaves_of({"options": [option]})
    assert "Ask for: isolating transformer: 1:1, at least 60 H." in leaf.needs


def test_a_customer_has_no_meter() -> None:
    option = {"id": "rca-to-rca", "verdict": "use", "destination": "amp"}
    caution = {
        "code": "direct-voltage-not-metered",
        "message": "No direct voltage was metered. Check before connecting; above 0.1 V",
    }
    (leaf,) = leaves_of({"options": [option], "cautions": [caution]})
    assert "Have your dealer check before connecting" in leaf.before[0]


@pytest.mark.parametrize(
    ("ground", "told"), [("same-strip", False), ("two-rooms", False), ("computer", True)]
)
def test_a_strip_is_not_proposed_where_it_is_known_where_the_boxes_are_plugged_in(
    ground: str, told: bool
) -> None:
    option = {"id": "rca-to-rca", "verdict": "use", "destination": "amp",
              "reasons": [f"ground: {of_preset(ground).words}"]}  # fmt: skip
    (leaf,) = leaves_of({"options": [option]})
    assert any("one mains strip" in line for line in leaf.hum) is told


def test_what_changes_nothing_is_a_line_and_no_side_of_paper() -> None:
    option = {"id": "rca-to-rca", "verdict": "use", "destination": "amp"}
    points = [{"value": v, "chosen": ["rca-to-rca"]} for v in (1.0, 50.0)]
    vary = {"what": "cable-length", "unit": "m", "flips": [], "points": points}
    page = render_leaflet({"options": [option], "vary": vary})
    assert "The cable length does not change the choice, from 1 m to 50 m." in page
    assert "How sure is this?" not in page


def test_a_customer_reads_no_names_of_the_program(tmp_path: Path) -> None:
    """Lost: "take xlr-to-rca/transformer" on the sheet of somebody who wants to buy a lead."""
    path = tmp_path / "source.toml"
    path.write_text(
        'format = "probe-source/1"\nkinds = ["electronically-floating"]\n'
        'differential_level_v = 4.2\n[device]\nmaker = "Ostrel"\nmodel = "X"\n'
        'kind = "DAC"\noutput = "line"\nconnectors = ["xlr"]\n',
        "utf-8",
    )
    place = changed(typed_destination("rca:20k:1V", 50.0), ground="same-strip", cable="1.5m")
    advice = advise(*read_source(path), place)
    (leaf,) = leaves_of(advice.to_json())
    (minded,) = [note for note in leaf.notes if "keep the device's own volume" in note]
    # regression only: the words, which named a way
    assert "where it has none, loud passages may distort" in minded
    # the list of ways in the code: none of their identifiers stands on the page
    page = render_leaflet(advice.to_json())
    assert not [way for way in OPTIONS if f"{way} " in page or f"{way}<" in page]


def test_nothing_is_not_said_to_be_less_than_nothing() -> None:
    """Lost: trust in a sheet with "-0.0 to 5.4 dB quieter"."""
    entry = db(-2.7, -5.4, 0.0)
    told = gains({"loudness_vs_rca_db": entry, "reference": "xlr-link"})
    # the figures themselves
    assert told[0].startswith("0.0 to 5.4 dB quieter")


@pytest.mark.parametrize(
    ("name", "place"),
    [
        ("integrated, RCA and XLR", "integrated, RCA and XLR"),
        ("rca:47k:1V and xlr:20k/leg:2V:sub", "amplifier, RCA input and subwoofer, XLR input"),
        ("main and rca:47k:1V", "main and amplifier, RCA input"),
    ],
)
def test_a_name_that_somebody_gave_stays_as_it_is(name: str, place: str) -> None:
    """Lost: "integrated, RCA and amplifier, XLR input" at the head of a sheet."""
    assert place_of(name) == place
