"""Half a screen of text."""

from __future__ import annotations

import pytest

from probe.report import render_html, render_summary
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
        # closed form: two legs of 2.113 V in antiphase; lost: the figure a data sheet states
        "differential 4.226 +/- 0.017 V (+14.74 dBu)",
        "single-ended 2.1090 +/- 0.0084 V (+8.70 dBu, limited by the recorder)",
        "gain difference 6.037 +/- 0.030 dB (balanced over single-ended)",
        "hot 49.93 +/- 0.17 ohm; cold 178.51 +/- 0.56 ohm; differential 206.99 +/- 0.88 ohm",
        "output CMRR 58.4 dB (56.1 to 62.9)",
        "polarity pin 2 is hot",
        "faults Dried coupling capacitor of the cold leg, leg impedances unequal",
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
    assert "no fault found; cannot be ruled out: Cold leg dead" in text


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
        # the rule: what is too long ends behind a whole word
        ("word, " * 20, "word, " * 12 + "word…"),
        ("שלום", "שלום"),
    ],
)
def test_clean(given: str, shown: str) -> None:
    assert clean(given) == shown


def _metered(volts: float) -> dict[str, object]:
    document = samples.floating()
    document["sides"]["mono"]["facts"]["cold_direct_voltage"] = {"value": volts, "unit": "V"}
    return document


# limits of 0.1 V and 2 V: common practice, no source
@pytest.mark.parametrize(
    ("volts", "before", "after"),
    [(0.09, False, False), (-0.35, False, True), (2.5, True, False), (-48.0, True, False)],
)
def test_direct_voltage_is_loud(volts: float, before: bool, after: bool) -> None:
    text = " ".join(render_summary(_metered(volts)).split())
    head, _, rest = text.partition("MONO")
    assert ("DIRECT VOLTAGE" in head) is before
    assert ("Disconnect, and do not connect anything" in head) is before
    assert ("DIRECT VOLTAGE" in rest.partition("levels")[0]) is after
    page = render_html(_metered(volts))
    verdict = page.index('<div class="verdict">')
    place = page.find('class="alarm danger"')
    assert (0 < place < verdict) is before
    assert (place > verdict) is after


@pytest.mark.parametrize(("output", "word"), [("headphone", "HEADPHONE"), ("speaker", "LOUDSPEAK")])
def test_outputs_that_do_not_belong_here(output: str, word: str) -> None:
    document = samples.floating()
    document["device"]["output"] = output
    text = render_summary(document)
    assert text.index(f"!!! {word}") < text.index("MONO")
    page = render_html(document)
    assert 0 < page.find('class="alarm danger"') < page.index('<div class="verdict">')


def test_what_looks_like_power_is_asked_about_before_the_verdict() -> None:
    # lost: a headphone amplifier left as "line" by default is reported like any line output
    document = samples.floating()
    document["device"] |= {"kind": "headphone amplifier", "output": "line"}
    text = " ".join(render_summary(document).split())
    assert text.index("!!! IS THIS A LINE OUTPUT?") < text.index("MONO")
    assert 'it is called "headphone amplifier"' in text
    page = render_html(document)
    assert 0 < page.find('class="alarm danger"') < page.index('<div class="verdict">')
    document["device"]["output_declared"] = True
    text = render_summary(document)
    assert "!!!" not in text
    assert text.index("Not like a line output: Declared as one") < text.index("MONO")


def test_simulated_sessions_say_so() -> None:
    document = samples.floating()
    assert "Simulated" not in render_summary(document)
    document["made"]["bench"]["interface"] = "simulated bench, two line inputs"
    assert "Simulated session: Everything here was calculated" in render_summary(document)
    assert 'class="alarm remark"' in render_html(document)


def test_faults_possible_stay_beside_faults_stated() -> None:
    document = samples.differential()
    document["sides"]["right"]["stage"]["possible_faults"] = ["legs-unequal"]
    told = "Dried coupling capacitor of the cold leg, leg impedances unequal; cannot be ruled out: "
    assert f"{told}Legs" in " ".join(render_summary(document).split())
    # lost: "capacitor of the cold leg; confidence 99.9 %" is read as how sure the fault is
    assert "cannot be ruled out: Legs unequal; confidence in the kind" in render_html(document)


def test_nothing_looked_for_is_no_clean_bill() -> None:
    text = " ".join(render_summary(samples.open_only()).split())
    assert "not looked for yet: unequal leg impedances, dried coupling capacitors" in text
    page = render_html(samples.open_only())
    assert "no fault found" not in text + page
    assert "3 kinds still possible; not looked for yet: unequal leg impedances" in page


def test_same_impedance_is_claimed_only_where_seen() -> None:
    same = "is silent but has the same impedance"
    document = samples.impedance_balanced()
    assert same in render_html(document)
    for where in ("faults", "possible_faults"):
        document["sides"]["mono"]["stage"] |= {"faults": [], "possible_faults": []}
        document["sides"]["mono"]["stage"][where] = ["leg-impedances-unequal"]
        assert same not in render_html(document)
    document = samples.impedance_balanced()
    del document["sides"]["mono"]["facts"]["cold_impedance"]
    assert "these takes do not show" in render_html(document)


def test_reasons_say_what_they_rest_on() -> None:
    document = samples.floating()
    document["sides"]["mono"]["stage"]["reasons"] = [
        "both legs carry signal: cold is -2.42 dB and -180 degrees against hot",
        "-0.00 of what is put on one leg appears on the other (997 Hz): the legs are separate",
        "-0.01 of what is put on one leg appears on the other",
    ]
    page = render_html(document)
    assert "cold is -2.42 dB and 180 degrees against hot (as recorded, with" in page
    assert "<bdi>0.00 of what" in page
    assert "<bdi>-0.01 of what" in page


def test_quantities_do_not_break_across_lines() -> None:
    for make in samples.SAMPLES.values():
        for line in render_summary(make()).splitlines():
            assert not line.endswith((" +/-", "confidence above"))
            assert not line.lstrip().startswith(("mV ", "V (", "ohm;", "dBu", "+/-"))


def test_arrows_and_tiles_show_one_interval() -> None:
    document = samples.floating()
    side = document["sides"]["mono"]
    side["facts"]["hot_level"] |= {"value": 2.42, "u95": 0.0071}
    # regression only: the curve of the sample says 0.0097, the fact decides
    assert "hot leg: 2.4200 ± 0.0071 V" in render_html(document)


def test_the_impedance_of_the_single_ended_output_stands_where_it_was_measured() -> None:
    document = samples.differential()
    assert "; single-ended 49.93" not in " ".join(render_summary(document).split())
    facts = document["sides"]["right"]["facts"]
    facts["single_ended_impedance"] = facts["hot_impedance"]
    # source: the sample's own figure of the hot leg
    assert "; single-ended 49.93 +/- 0.17 ohm" in " ".join(render_summary(document).split())


def test_figures_of_several_tones_say_which() -> None:
    """Or two legs and their pair are read as one set, that are none: each has its tone."""
    document = samples.differential()
    facts = document["sides"]["left"]["facts"]
    assert "at 997 Hz" not in render_summary(document)
    for name in ("hot_impedance", "cold_impedance"):
        facts[name]["at_hz"] = 768.0  # an injected tone
    text = " ".join(render_summary(document).split())
    assert "hot 49.93 +/- 0.17 ohm (at 768 Hz); cold" in text
    assert "differential 99.85 +/- 0.45 ohm (at 997 Hz)" in text
    html = " ".join(render_html(document).split())
    assert "Values at 768 Hz or 997 Hz (which, the table has)" in html
