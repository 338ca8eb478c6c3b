"""Words of data sheets for a kind of output stage."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest

from probe.advice.source_file import Kind, read_source
from probe.errors import BadInput
from probe.formats.kinds import KINDS, MAY_MEAN, MEANS
from probe.verify.specification import read_specification

SHEET = 'format = "probe-source/1"\ndifferential_level_v = 4.0\nkinds = ["{}"]\n'


def sheet(folder: Path, word: str) -> Path:
    path = folder / "source.toml"
    path.write_text(SHEET.format(word), "utf-8")
    return path


@pytest.mark.parametrize(
    ("word", "kind"),
    # common practice, no source: what the trade calls them
    [
        ("servo-balanced", "electronically-floating"), ("Cross-coupled", "electronically-floating"),
        ("cross coupled", "electronically-floating"), ("transformer", "transformer-coupled"),
        ("transformer-balanced", "transformer-coupled"), ("ground cancelling", "ground-sensing"),
        ("differential", "differential"),
    ],
)  # fmt: skip
def test_a_word_that_names_one_kind_is_taken(tmp_path: Path, word: str, kind: str) -> None:
    """Lost: who copies the sheet word for word is refused, or sent to another kind."""
    facts, sources = read_source(sheet(tmp_path, word))
    assert list(sources["mono"]) == [kind]
    assert facts["stated"]["kinds"] == (kind,)


@pytest.mark.parametrize(
    ("word", "hint"),
    [
        ("floating", "electronically-floating or transformer-coupled"),
        ("active balanced", "differential or electronically-floating"),
        ("pseudo-balanced", "impedance-balanced, ground-sensing or unbalanced"),
        ("single-ended", "impedance-balanced, unbalanced or pin-3-unconnected"),
        ("line", "take the line out"),
    ],
)
def test_a_word_of_several_kinds_is_asked_about(tmp_path: Path, word: str, hint: str) -> None:
    """Lost: pin 3 of a driven leg is tied, because a word was taken for another kind."""
    with pytest.raises(BadInput, match=hint) as found:
        read_source(sheet(tmp_path, word))
    assert "did you mean" not in str(found.value)
    assert f'not "{word}"' in str(found.value)


@pytest.mark.parametrize("word", ["balanced", "Fully balanced", "symmetrical"])
def test_a_sheet_that_says_balanced_is_read_and_leaves_all_open(tmp_path: Path, word: str) -> None:
    """Lost: a sheet is refused for what most sheets say, or pin 3 is trusted for a word."""
    facts, sources = read_source(sheet(tmp_path, word))
    without = tmp_path / "without.toml"
    without.write_text('format = "probe-source/1"\ndifferential_level_v = 4.0\n', "utf-8")
    assert list(sources["mono"]) == list(read_source(without)[1]["mono"])
    assert {"unbalanced", "pin-3-unconnected"} <= set(sources["mono"])
    assert "leaves every kind open" in facts["taken_as"]
    assert "whether both legs have like impedances" in facts["taken_as"]


def test_a_kind_beside_balanced_is_the_kind(tmp_path: Path) -> None:
    _, sources = read_source(sheet(tmp_path, 'balanced", "cross-coupled'))
    assert list(sources["mono"]) == ["electronically-floating"]


def test_every_word_stands_for_kinds_that_there_are() -> None:
    kinds = set(get_args(Kind))
    assert set(KINDS) == kinds
    assert set(MEANS.values()) <= kinds
    assert {kind for several in MAY_MEAN.values() for kind in several} <= kinds
    assert not kinds & {*MEANS, *MAY_MEAN}


def test_a_kind_that_is_said_twice_is_one(tmp_path: Path) -> None:
    path = sheet(tmp_path, 'servo-balanced", "cross-coupled')
    facts, _ = read_source(path)
    assert facts["sides"]["mono"]["stage"]["kind"] == "electronically-floating"


def test_a_specification_takes_the_same_words(tmp_path: Path) -> None:
    path = tmp_path / "spec.toml"
    text = (
        'format = "probe-specification/1"\n[device]\nmaker = "Harrowgate"\nmodel = "Siskin"\n'
        '[[line]]\nquantity = "kind"\nsays = "{}"\n'
    )
    path.write_text(text.format("cross-coupled"), "utf-8")
    assert read_specification(path).line[0].says == "electronically-floating"
    path.write_text(text.format("balanced"), "utf-8")
    with pytest.raises(BadInput, match="names none"):
        read_specification(path)


@pytest.mark.parametrize(
    ("slip", "kind"),
    [("cross-coupeled", "electronically-floating"), ("transfomer", "transformer-coupled"),
     ("grond cancelling", "ground-sensing"),
     ("electronically-balancd", "differential or electronically-floating")],
)  # fmt: skip
def test_a_slip_in_a_word_of_the_trade_is_told_what_it_stands_for(
    tmp_path: Path, slip: str, kind: str
) -> None:
    """Lost: "cross-coupeled" was asked whether a transformer is meant."""
    with pytest.raises(BadInput) as found:
        read_source(sheet(tmp_path, slip))
    assert f"must be {kind} if " in str(found.value)


@pytest.mark.parametrize("word", ["", "blanced"])
def test_a_word_that_names_nothing_gets_one_clear_line(tmp_path: Path, word: str) -> None:
    """Lost: a library's own words, cut short, where the allowed ones should stand."""
    with pytest.raises(BadInput) as found:
        read_source(sheet(tmp_path, word))
    says = str(found.value)
    assert "kinds[0]" in says
    assert "literal" not in says
    assert "Input should be" not in says
    assert "must be differential, electronically-floating" in says
    assert f'not "{word}"' in says
