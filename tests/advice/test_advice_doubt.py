"""Of an output that is known only in part no verdict and no digit is given beyond what is known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from probe.advice.advise import advise, ask
from probe.advice.memory import Memory
from probe.advice.model import Advice, OptionAdvice
from probe.advice.quantity import OUTERMOST, PERHAPS_BEYOND, Quantity, spanning
from probe.advice.settle import settlings
from probe.advice.source_file import is_source, read_source
from probe.advice.subject import device_of, side_of
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.advice.words import decibels, figure, signed_decibels, span
from probe.errors import BadInput
from probe.formats.toml import LARGEST_FILE
from tests.advice.stages import cross_coupled, facts, legs, symmetrical

SHEET = """\
format = "probe-source/1"
differential_level_v = {pair}
single_ended_level_v = 2.0
[device]
maker = "Harrowgate"
model = "Siskin"
connectors = ["xlr", "rca"]
"""


def sheet(folder: Path, to: str, pair: float = 4.0) -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET.format(pair=pair))
    document, sources = read_source(path)
    return ask(document, sources, typed_destination(to, 50.0))


def of(advice: Advice, option: str) -> OptionAdvice:
    (found,) = [o for o in advice.options if o.option.id == option]
    return found


def test_a_large_facts_file_is_not_refused_as_a_source(tmp_path: Path) -> None:
    # closed form: facts of a stereo session with curves are larger than a file people write
    path = tmp_path / "facts.json"
    path.write_bytes(b" " * (LARGEST_FILE + 1))
    assert not is_source(path)


@pytest.mark.long
def test_twice_the_level_of_the_rca_means_two_legs(tmp_path: Path) -> None:
    # common practice, no source: a data sheet with twice the volts on the XLR speaks of two legs
    advice = sheet(tmp_path, "xlr:10k/leg:2V")
    assert advice.chosen == "xlr-to-xlr"
    (typed,) = [c.message for c in advice.cautions if c.code == "typed"]
    assert "kinds that drive one leg are left out" in typed


@pytest.mark.long
def test_a_kind_that_merely_is_possible_forbids_nothing(tmp_path: Path) -> None:
    # closed form: 2 V on both leave every kind; one of them opens pin 3 of an input transformer
    advice = sheet(tmp_path, "xlr:10k/leg:2V", pair=2.0)
    plain = of(advice, "xlr-to-xlr")
    assert plain.verdict == "cannot-tell"
    assert "if the stage is unbalanced with pin 3 connected to nothing" in plain.reasons[0]
    assert "measuring the output" in plain.reasons[0]


@pytest.mark.long
def test_what_may_harm_stays_forbidden_while_it_is_possible(tmp_path: Path) -> None:
    # closed form: 2 V behind nobody knows how few ohms, into a short, may be far above 20 mA
    advice = sheet(tmp_path, "rca:47k:0.5V", pair=2.0)
    tied = of(advice, "xlr-to-rca/pin-3-tied-at-source")
    assert tied.verdict == "cannot-tell"
    assert "more than 20 mA peak may flow in the tied pin 3" in tied.reasons[0]
    assert advice.chosen == "rca-to-rca"
    known = SHEET.format(pair=4.0) + "hot_impedance_ohm = 50.0\ncold_impedance_ohm = 50.0\n"
    path = tmp_path / "known.toml"
    path.write_text(_ordered(known))
    document, sources = read_source(path)
    told = ask(document, sources, typed_destination("rca:47k:0.5V", 50.0))
    # closed form: sqrt(2) x 2 V / 50 ohm is 57 mA
    assert of(told, "xlr-to-rca/pin-3-tied-at-source").verdict == "never"


@pytest.mark.long
def test_what_is_remembered_changes_no_answer(tmp_path: Path) -> None:
    path = tmp_path / "source.toml"
    path.write_text(SHEET.format(pair=4.0))
    document, sources = read_source(path)
    destination = typed_destination("xlr:20k/leg:2V+rca:47k:1V", 50.0)
    memory = Memory()
    ask(document, sources, destination, memory)
    buffered = replace(destination, inputs=tuple(
        replace(s, circuit="buffered") if s.connector == "xlr" else s for s in destination.inputs
    ))  # fmt: skip
    # the same question with nothing remembered
    assert (
        ask(document, sources, buffered, memory).to_json()
        == ask(document, sources, buffered).to_json()
    )
    found = advise(document, sources, destination)
    device, side = device_of(document), side_of(document, "mono")
    again = settlings(ask, ask, document, sources, destination, device, [side], found)
    assert found.would_change == again


def _ordered(text: str) -> str:
    """Put keys that came after the table of the device before it, where they belong."""
    head, table = text.split("[device]")
    lines = table.strip().splitlines()
    own = [line for line in lines if line.startswith(("maker", "model", "connectors"))]
    rest = [line for line in lines if line not in own]
    return "\n".join([head, *rest, "[device]", *own]) + "\n"


def test_the_stated_kind_still_forbids() -> None:
    # closed form: 10 V through a leg of 50 ohm into a short is far above 20 mA
    also = ({"kind": "electronically-floating", "confidence": 0.3},)
    advice = advise(
        facts("differential", also=also),
        {"left": symmetrical()},
        typed_destination("rca:47k:1V", 50.0),
    )
    assert of(advice, "xlr-to-rca/pin-3-tied-at-source").verdict == "never"


def test_no_absurd_figures_of_an_unknown_impedance(tmp_path: Path) -> None:
    text = render(sheet(tmp_path, "rca:47k:0.5V"), details=True).replace("\n", " ")
    assert "more than 20 mA peak may flow" in " ".join(text.split())
    assert " A peak" not in text
    assert "e+0" not in text


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        (decibels(Quantity(197.6, "dB", 190.0, 199.0)), "more than 120 dB"),
        (decibels(Quantity(118.0, "dB", 98.0, 151.0)), "118.0 dB (98.0 to more than 120)"),
        (signed_decibels(Quantity(-6.0, "dB", -6.0, -6.0)), "-6.0 dB"),
        (span(Quantity(71.0, "A", 1.29e-3, 141.0)), "1.3 mA or more"),
        (span(Quantity(1.4, "dB", 0.00454, 2.84)), "0.0 to 2.8 dB"),
        (figure(Quantity(3.97530, "V", 3.97513, 3.97547)), "3.975 V"),
        (figure(Quantity(71.0, "A", 1.29e-3, 141.0)), "1.3 mA or more"),
    ],
)
def test_no_digit_beyond_what_is_known(told: str, expected: str) -> None:
    # our own judgement: see MOST_DB, MOST_AMPERES and SURE_DIGITS
    assert told == expected


def test_an_assumption_has_no_six_digits() -> None:
    advice = advise(
        facts("electronically-floating"),
        {"left": cross_coupled()},
        typed_destination("rca:47k:1V:max=2V", 50.0),
    )
    told = [h.message for o in advice.options for h in o.hazards if "an assumed 10 V" in h.message]
    assert told
    assert all("+/-" not in message for message in told)


def test_a_fault_is_named_before_anything_is_connected() -> None:
    advice = advise(
        facts("differential", stage={"faults": ["coupling-capacitor-cold"]}),
        {"left": symmetrical()},
        typed_destination("xlr:10k/leg:2V", 50.0),
    )
    (note,) = [c.message for c in advice.cautions if c.code == "stage-fault"]
    assert "dried coupling capacitor on the cold leg" in note
    assert "repaired first" in note
    assert " ".join(render(advice).split()).count("Have it repaired first") == 1


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("rca:47:1.5V", "write 47k, or 47ohm if it is meant"),
        ("xlr:10k:1.2V", "10k/leg (each leg to ground, the usual figure) or 10k/between"),
        ("xlr:1.2V", "20k/leg"),
        ("rca:47k:1e300V", "no level of an audio input"),
        ("rca:47k:max=1e9V", "no level of an audio input"),
        ("rca:4k7:1V", "an impedance is written 47k, 4.7k, 47000 or 600ohm"),
        ("rca:" + "9" * 5000, "too long"),
        ("", "a destination is empty"),
    ],
)
def test_what_is_typed_wrongly_is_told_in_the_form_typed(typed: str, expected: str) -> None:
    with pytest.raises(BadInput) as told:
        typed_destination(typed, 50.0)
    assert expected in str(told.value)
    assert len(str(told.value)) < 400


def test_the_name_keeps_what_was_typed() -> None:
    assert typed_destination("rca:47k:0.5V:max=2V", 50.0).name == "rca:47k:0.5V:max=2V"
    assert typed_destination("rca:47 kΩ:1V", 50.0).inputs[0].impedance_ohm == 47e3
    assert typed_destination("rca:47ohm:1V", 50.0).inputs[0].impedance_ohm == 47.0


def test_a_refused_output_is_not_said_to_be_measured_first() -> None:
    document = facts(connectors=("rca",), device={"output": "headphone"})
    document["typed"] = True
    advice = ask(document, {}, typed_destination("rca:47k:1V", 50.0))
    # common practice, no source: of a headphone output nothing is judged, measured or not
    assert [c.code for c in advice.cautions] == ["headphone-output"]


@pytest.mark.parametrize(("kind", "listed"), [("unbalanced", True), ("differential", False)])
def test_a_tie_that_harms_nothing_is_not_forbidden_beside_its_use(kind: str, listed: bool) -> None:
    # common practice, no source: a pin 3 that is ground already may meet it again
    driven = "both-legs" if kind == "differential" else "one-leg"
    stage = legs(hot=2.0, cold=0.0, z=((100.0, 0.0), (0.0, 1.0)))
    advice = ask(facts(kind, driven=driven, connectors=("xlr",)), {"left": stage},
                 typed_destination("rca:47k:1V", 50.0))  # fmt: skip
    (tie,) = [c.message for c in advice.cautions if c.code == "pin-3-tie"]
    assert ("only as listed above" in tie) == listed


def test_what_is_not_known_of_other_ways_leaves_the_screen_to_the_answer(tmp_path: Path) -> None:
    # half a screen is what the adviser reads on the telephone: 48 lines, our judgement
    advice = sheet(tmp_path, "rca:47k:0.5V")
    short, long = render(advice), render(advice, details=True)
    assert short.count("\n") <= 48 < long.count("\n")
    assert short.count("\ncannot-tell ") == long.count("\ncannot-tell ") > 0
    assert "marked cannot-tell: why, and what would settle it, --details" in short
    # the box for which nothing is chosen yet keeps its reasons
    path = tmp_path / "source.toml"
    document, sources = read_source(path)
    far = changed(typed_destination("rca:47k:1.5V:sub", 50.0), ground="two-rooms", cable="5m")
    nothing = render(ask(document, sources, far))
    assert "USE NOTHING YET" in nothing
    assert "--details" not in nothing


def test_a_bound_that_is_not_the_outermost_frequency_is_not_called_so() -> None:
    """Who reads that nothing was measured below 21.17 Hz buys another take for nothing."""
    outermost = Quantity(20.5, "Hz", 20.5, 20.5, bound="below", note=OUTERMOST)
    found = spanning([outermost, Quantity(20.9, "Hz", 20.6, 21.17)])
    assert found is not None
    # the rule: of a bound and an interval the further end is left
    assert (found.value, found.bound, found.note) == (21.17, "below", PERHAPS_BEYOND)
    alone = spanning([outermost, outermost])
    assert alone is not None
    assert alone.note == OUTERMOST
