"""Half a screen of text."""

from __future__ import annotations

import pytest

from probe.report import render_summary
from probe.report.summary import widest
from probe.report.text import clean, columns, hanging
from tests.report import samples


@pytest.mark.parametrize("name", sorted(samples.SAMPLES))
def test_fits_eighty_columns_and_half_a_screen(name: str) -> None:
    document = samples.SAMPLES[name]()
    text = render_summary(document)
    assert widest(text) <= 80
    assert text.endswith("\n")
    assert "\x1b" not in text
    if name != "hostile":
        # half of a tall terminal of 50 lines for each side
        assert len(text.splitlines()) <= 25 * max(1, len(document["sides"]))
        assert text.isascii()


def test_says_what_was_asked_for() -> None:
    text = " ".join(render_summary(samples.differential()).split())
    for part in (
        "Larkfield LP-2 preamplifier, serial LF-00417",
        "LEFT Both legs driven, ground-referenced, confidence above 99.9 %",
        "also possible faulty [0.2 %]",
        "hot 2.1130 +/- 0.0085 V (+8.72 dBu)",
        "single-ended 2.1090 +/- 0.0084 V (+8.70 dBu, limited by the recorder)",
        "gain difference 6.037 +/- 0.030 dB (balanced over single-ended)",
        "hot 49.93 +/- 0.17 ohm; cold 178.51 +/- 0.56 ohm; differential 206.99 +/- 0.88 ohm",
        "output CMRR 58.4 +4.5 -2.3 dB",
        "polarity pin 2 is hot",
        "faults Coupling capacitor of the cold leg; Leg impedances unequal",
        "right-604-on-cold.wav: The level moved by 0.04 dB",
    ):
        assert part in text, part


def test_open_take_alone() -> None:
    text = " ".join(render_summary(samples.open_only()).split())
    for part in (
        "LEFT Cannot tell yet",
        "transformer-coupled [not measured]",
        "settled by load on pin 3 (load-cold)",
        "Read the cautions in the report first.",
        "(+4.56 dBu) as recorded",
        "single-ended not known",
        "no warnings",
    ):
        assert part in text, part


def test_what_cannot_be_ruled_out_is_named() -> None:
    text = " ".join(render_summary(samples.impedance_balanced()).split())
    assert "none found; cannot be ruled out: Cold leg dead" in text


def test_more_warnings_than_fit_are_counted() -> None:
    document = samples.open_only()
    document["warnings"] = [{"code": "c", "take": None, "message": f"number {i}"} for i in range(9)]
    text = render_summary(document)
    # closed form: four shown, five left
    assert "and 5 more, in the report" in text


def test_wide_characters_take_two_columns() -> None:
    # Unicode Standard Annex #11: wide characters; combining marks take none
    assert columns("調音e\u0301") == 5
    assert all(columns(line) <= 80 for line in hanging("x", "調" * 200))


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        # regression only
        ("a\u202eb\u0000c\nd", "ab c d"),
        ("\ud800x", "x"),
        ("e" + "\u0301" * 9, "e" + "\u0301" * 3),
        ("x" * 100, "x" * 79 + "…"),
        ("שלום", "שלום"),
    ],
)
def test_clean(given: str, shown: str) -> None:
    assert clean(given) == shown
