"""Numbers as text."""

from __future__ import annotations

import math

import pytest

from probe.numbers import (
    interval,
    number,
    ohms,
    says_alike,
    without_figures,
    worst_told,
    write,
    write_dbu,
    write_hz,
    write_share,
    write_signed,
)


def test_digits_follow_the_uncertainty() -> None:
    # JCGM 100:2008, 7.2.4: m_S = (100.021 47 ± 0.000 79) g
    assert write({"value": 100.02147, "unit": "g", "u95": 0.00079}).whole == (
        "100.02147 ± 0.00079 g"
    )


def test_interval_is_written_to_the_same_place() -> None:
    # closed form: 2.113 - 0.012 and 2.113 + 0.012
    assert write({"value": 2.113, "unit": "V", "u95": 0.012}).interval == "2.101 to 2.125"


@pytest.mark.parametrize(
    ("entry", "text"),
    [
        # closed form: SI prefixes, two digits of the doubt (JCGM 100:2008, 7.2.6)
        ({"value": 3993.0, "unit": "ohm", "u95": 120.0}, "3.99 ± 0.12 kΩ"),
        ({"value": 0.03, "unit": "ohm", "u95": 0.02}, "30 ± 20 mΩ"),
        ({"value": 0.0, "unit": "ohm", "u95": 0.11}, "0 ± 110 mΩ"),
        ({"value": -0.00001, "unit": "dB", "u95": 0.021}, "0.000 ± 0.021 dB"),
        ({"value": -3.016, "unit": "dB", "u95": 0.021}, "−3.016 ± 0.021 dB"),
        ({"value": 1e-6, "unit": "F", "u95": None}, "1.000 µF"),
        ({"value": 1e5, "unit": "ohm", "bound": "above"}, "above 100 kΩ"),
        ({"value": 2e5, "unit": "Hz", "bound": "above"}, "above 200 kHz"),
        ({"value": 0.5, "unit": "Hz", "u95": 0.1}, "0.50 ± 0.10 Hz"),
        ({"value": 0.3, "unit": "ohm", "u95": 0.1, "bound": "below"}, "below 300 mΩ"),
        (
            {"value": 58.4, "unit": "dB", "u95": 3.4, "low": 56.1, "high": 62.9},
            "58.4 dB (56.1 to 62.9)",
        ),
        ({"value": 2.0, "unit": "V", "u95": 0.0}, "2.000 V"),
        ({"unit": "V"}, "not known"),
        ({"value": math.nan, "unit": "V"}, "not known"),
    ],
)
def test_written(entry: dict[str, object], text: str) -> None:
    assert write(entry, positive=entry.get("unit") == "ohm").whole == text


def test_a_magnitude_does_not_go_below_zero_but_its_doubt_is_kept() -> None:
    told = write({"value": 0.0001, "unit": "V", "u95": 0.0004}, positive=True)
    # closed form: the interval of a magnitude is cut at zero, the half-width is not
    assert (told.doubt, told.interval) == ("± 400", "0 to 500")


def test_interval_prefers_stated_ends() -> None:
    # by definition of the facts document: low and high where the interval is lopsided
    assert interval({"value": 1.0, "u95": 0.5, "low": 0.9, "high": 3.0}) == (0.9, 3.0)


@pytest.mark.parametrize("value", [True, None, "1", math.inf, math.nan])
def test_what_is_no_number_is_none(value: object) -> None:
    assert number({"value": value}) is None


@pytest.mark.parametrize(
    ("volts", "text"),
    [
        # 0 dBu = sqrt(0.6) V by definition; +4 dBu = 1.228 V, the usual professional level
        (math.sqrt(0.6), "+0.00 dBu"),
        (1.2277, "+4.00 dBu"),
        (0.0, ""),
    ],
)
def test_dbu(volts: float, text: str) -> None:
    assert write_dbu({"value": volts, "unit": "V"}) == text


def test_only_volts_have_a_level() -> None:
    assert write_dbu({"value": 1.0, "unit": "ohm"}) == ""


@pytest.mark.parametrize(
    ("share", "text"),
    [
        # regression only: a share of finite draws is never shown as certainty
        (1.0, "above 99.9\u00a0%"),
        (0.998, "99.8\u00a0%"),
        (0.64, "64\u00a0%"),
        (0.0, "below 0.1\u00a0%"),
        (None, "not measured"),
    ],
)
def test_share(share: float | None, text: str) -> None:
    assert write_share(share) == text


@pytest.mark.parametrize(("hz", "text"), [(997.0, "997 Hz"), (19997.0, "20 kHz"), (20.0, "20 Hz")])
def test_hz(hz: float, text: str) -> None:
    # closed form, four significant digits
    assert write_hz(hz) == text


@pytest.mark.parametrize(
    ("value", "doubt", "text"),
    [
        # two digits of the doubt (JCGM 100:2008, 7.2.6), at most two places; zero has no minus
        (-0.004, 0.03, "+0.00 dB"),
        (1.234, 1.2, "+1.2 dB"),
        (-17.3, 14.0, "−17 dB"),
        (3.456, 0.0, "+3.46 dB"),
    ],
)
def test_signed_numbers_have_the_digits_of_their_doubt(
    value: float, doubt: float, text: str
) -> None:
    assert write_signed(value, "dB", doubt, 2) == text


@pytest.mark.parametrize(
    ("left", "right", "worse"),
    [
        # one sentence of both sides: the interval is written in any of the ways of this room
        ("70.91 to 71.87 mA flow", "70.71 +/- 0.42 mA flow", 0),
        ("1.3 dB (0.9 to 1.7) is lost", "1.5 dB is lost", 1),
        ("hum 92.1 dB (87.1 to 96.8) below full output", "hum 90.0 dB below full output", 1),
        ("the device clips at 3.20 to 3.26 V", "the device clips at 3.1 V", 1),
    ],
)
def test_of_both_sides_the_worse_one_is_told(left: str, right: str, worse: int) -> None:
    assert without_figures(left) == without_figures(right)
    assert worst_told([left, right]) == (left, right)[worse]


def test_other_words_are_another_sentence() -> None:
    assert without_figures("2 mA flow in pin 3") != without_figures("2 mA flow in the centre")


@pytest.mark.parametrize(
    ("ohm", "words"),
    # source: SI prefixes, three digits
    [(47.04, "47 ohm"), (999.6, "1 kohm"), (4034.0, "4.03 kohm"), (1e6, "1 Mohm")],
)
def test_impedances_in_sentences(ohm, words):
    assert ohms(ohm) == words


@pytest.mark.parametrize(
    ("other", "alike"),
    [
        # our judgement: within 2 %
        ("23.5 to 35.2 mA flow", True),
        ("23.5 to 36.5 mA flow", False),
        # another unit, another sentence, a figure without its interval
        ("23.5 to 35.2 A flow", False),
        ("23.5 to 35.2 mA are lost", False),
        ("23.5 mA flow", False),
    ],
)
def test_sentences_are_alike_where_their_figures_hardly_differ(other: str, alike: bool) -> None:
    assert says_alike("23.5 to 35.3 mA flow", other) is alike
