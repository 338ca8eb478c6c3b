"""An XLR output of which a sheet states the level and nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise, with_makers_asked
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination


def asked(
    folder: Path, to: str, text: str = "", length: str = "1m", ground: str = "same-strip"
) -> Advice:
    path = folder / "source.toml"
    path.write_text(
        'format = "probe-source/1"\ndifferential_level_v = 4.0\n'
        f'{text}[device]\nmaker = "Quenby"\nmodel = "Pro"\noutput = "line"\nconnectors = ["xlr"]\n',
        "utf-8",
    )
    there = changed(typed_destination(to, 50.0), ground=ground, cable=length)
    document, sources = read_source(path)
    return with_makers_asked(advise(document, sources, there), document, sources, there)


@pytest.mark.long
def test_the_maker_is_asked_where_the_level_is_all_there_is(tmp_path: Path) -> None:
    """The commonest question at a counter ended with nothing yet, and nobody to ask."""
    first = asked(tmp_path, "rca:47k:1.5V").choices[0].why[0]
    # common practice, no source: what a dealer asks of a balanced output before he sells a lead
    assert "pins 2 and 3 of the XLR output are each driven against ground" in first
    assert first.endswith("xlr-to-rca/pin-3-open works")
    answer = 'kinds = ["differential", "impedance-balanced"]\n'
    assert asked(tmp_path, "rca:47k:1.5V", answer).chosen == "xlr-to-rca/pin-3-open"
    # closed form: between two rooms 100 mV behind 1 ohm leave 4.8 mV on 0.05 ohm of shield and
    # contacts, 50 dB below 1.5 V: no lead that has its signal return there does
    advice = asked(tmp_path, "rca:47k:1.5V", ground="two-rooms")
    assert advice.chosen is None
    first = advice.choices[0].why[0]
    # common practice, no source: what he asks before he sells a part
    assert "whether pin 3 of the XLR output is connected inside" in first
    assert "the output impedance of the XLR output" in first
    # by hand: 15 H at 20 Hz are 1885 ohm, 600 ohm of source and 120 of windings before them lose
    # 0.6 dB, less than the 1 dB of the rules; 1000 ohm lose 1.3
    assert "600 ohm or less" in first
    assert first.endswith("xlr-to-rca/transformer works")
    # what was promised comes with the answers: a driven pair of 600 ohm
    answers = 'kinds = ["differential"]\ndifferential_impedance_ohm = 600.0\n'
    known = asked(tmp_path, "rca:47k:1.5V", answers, ground="two-rooms")
    transformer = next(o for o in known.options if o.option.id == "xlr-to-rca/transformer")
    assert transformer.verdict in ("use", "works")


@pytest.mark.long
def test_an_xlr_lead_into_an_xlr_input_harms_nothing(tmp_path: Path) -> None:
    """With one kind that loses the signal, a lead was said to be able to do harm."""
    advice = asked(tmp_path, "xlr:10k/leg:4V", "differential_impedance_ohm = 150.0\n", "3m")
    assert advice.chosen is None
    # the maker first: pin 3 connected to nothing is what an input transformer passes nothing of
    assert "ask the maker of Quenby Pro" in advice.choices[0].why[0]
    assert advice.choices[0].best == "xlr-to-xlr"


@pytest.mark.long
def test_what_may_have_to_be_ruled_out_is_not_bought_to_be_tried(tmp_path: Path) -> None:
    # pin 2 to the centre joins no outputs; at worst a floating winding gives no bass
    advice = asked(tmp_path, "rca:47k:1.5V")
    assert advice.choices[0].best == "xlr-to-rca/pin-3-open"
    # Ohm's law: a driven cold leg of 1 ohm and less is a short circuit when it is tied
    tied = next(o for o in advice.options if o.option.id == "xlr-to-rca/pin-3-tied-at-source")
    assert not tied.loses_at_most
