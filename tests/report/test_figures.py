"""The drawings: geometry against closed forms, and what each kind's schematic says."""

from __future__ import annotations

import itertools
import math
import re
from typing import Any

import pytest

from probe.report.chart import Curve, chart
from probe.report.curves import (
    capacitor,
    curve_table,
    impedance_figure,
    level_figure,
    phasor_figure,
)
from probe.report.phasor import Arrow, phasors
from probe.report.view import page_view
from tests.report import samples


def _lines(svg: str, style: str) -> list[list[tuple[float, float]]]:
    """Corner points of the data lines of one style, the samples of the legend left out."""
    groups = re.findall(rf'<g class="{style}">(.*?)</g>', svg)
    found = [re.findall(r'<polyline points="([^"]*)" class="line"', g) for g in groups]
    lines = [
        [tuple(map(float, p.split(","))) for p in text.split()] for one in found for text in one
    ]
    return [line for line in lines if not (len(line) == 2 and line[1][0] - line[0][0] == 44.0)]


def _draw(values: list[float | None], *, logarithmic: bool) -> str:
    hz = [10.0 * 10.0**i for i in range(len(values))]
    curve = Curve("hot", "hot leg", hz, values, values, values)
    return str(chart("k", "t", "d", [curve], unit="u", logarithmic=logarithmic))


def test_decades_are_equally_far_apart() -> None:
    (line,) = _lines(_draw([1.0, 10.0, 100.0, 1000.0], logarithmic=True), "hot")
    steps = [(b[0] - a[0], b[1] - a[1]) for a, b in itertools.pairwise(line)]
    # closed form: equal ratios are equal distances on logarithmic axes, up to the rounding of
    # coordinates to hundredths
    assert all(math.isclose(s[0], steps[0][0], abs_tol=0.02) for s in steps)
    assert all(math.isclose(s[1], steps[0][1], abs_tol=0.02) for s in steps)
    assert steps[0][1] < 0.0  # upward


def test_a_gap_in_what_is_known_is_a_gap_in_the_line() -> None:
    lines = _lines(_draw([1.0, 1.0, None, 2.0, 2.0], logarithmic=False), "hot")
    # closed form: two stretches of two points
    assert [len(line) for line in lines] == [2, 2]


def test_the_band_is_as_wide_as_the_interval() -> None:
    hz, value = [10.0, 100.0], [0.0, 4.0]
    curve = Curve("hot", "hot leg", hz, value, [v - 1.0 for v in value], [v + 1.0 for v in value])
    svg = str(chart("k", "t", "d", [curve], unit="u", logarithmic=False))
    ((x0, y0), (_, y1)) = _lines(svg, "hot")[0]
    band = re.search(r'<polygon points="([^"]*)" class="band"', svg)
    assert band is not None
    corners = [tuple(map(float, p.split(","))) for p in band.group(1).split()]
    at_first = sorted(y for x, y in corners if abs(x - x0) < 0.02)
    # closed form: plus and minus one unit, where four units lie between the two points
    per_unit = (y0 - y1) / 4.0
    assert at_first == pytest.approx([y0 - per_unit, y0 + per_unit], abs=0.03)


def test_everything_drawn_stays_inside_the_figure() -> None:
    for name, make in samples.SAMPLES.items():
        for side in page_view(make()).sides:
            for figure in (*side.drawings, *side.charts):
                size = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', figure.drawing)
                assert size is not None
                width, height = float(size.group(1)), float(size.group(2))
                for text in re.findall(r'points="([^"]*)"', figure.drawing):
                    for point in text.split():
                        x, y = map(float, point.split(","))
                        # closed form: the view box
                        assert 0.0 <= x <= width, (name, figure.name)
                        assert 0.0 <= y <= height, (name, figure.name)


def test_opposite_legs_point_apart_and_the_first_to_the_right() -> None:
    turned = 1.0 * complex(math.cos(1.0), math.sin(1.0))
    arrows = [Arrow("hot", "hot leg", turned, 0.01), Arrow("cold", "cold leg", -turned, 0.01)]
    svg = str(phasors("k", "t", arrows))
    tips = {
        style: tuple(map(float, points.split()[0].split(",")))
        for style, points in re.findall(
            r'<g class="(\w+)"><polyline[^>]*></polyline><polygon points="([^"]*)"', svg
        )
    }
    # closed form: a common phase turns away; unit circle around (220, 140) with radius 122
    assert tips["hot"] == pytest.approx((342.0, 140.0), abs=0.1)
    assert tips["cold"] == pytest.approx((98.0, 140.0), abs=0.1)


def test_an_arrow_says_both_ends_as_the_table_does() -> None:
    arrow = Arrow("single", "single-ended", 0.1245 + 0j, 0.0063, (0.1239, 0.1365))
    svg = str(phasors("k", "t", [arrow]))
    # as written: the ends of the interval the arrow was given
    assert "124.5 mV (123.9 to 136.5)" in svg
    assert "± 6.3" not in svg


def test_no_signal_no_arrows() -> None:
    assert phasors("k", "t", [Arrow("hot", "hot leg", 0j, 0.01)]) is None
    assert phasors("k", "t", []) is None


def test_arrows_from_facts_need_a_phase() -> None:
    facts = {"hot_level": {"value": 1.0, "unit": "V"}, "cold_level": {"value": 1.0, "unit": "V"}}
    assert phasor_figure("k", "Left", {}, facts) is None
    facts["leg_phase"] = {"value": 90.0, "unit": "deg"}
    figure = phasor_figure("k", "Left", {}, facts)
    assert figure is not None
    # closed form: the phase given
    assert "cold leg: 1.000 V, 90.0°" in figure.drawing


def _impedance(farad: float, ohm: float) -> dict[str, Any]:
    z = [ohm + 1.0 / (2j * math.pi * f * farad) for f in samples.HZ]
    return {
        "hz": list(samples.HZ),
        "hot_impedance": {
            "unit": "ohm",
            "real": [v.real for v in z],
            "imag": [v.imag for v in z],
            "u95": [0.01 * abs(v) for v in z],
        },
    }


def test_a_coupling_capacitor_is_read_from_the_reactance() -> None:
    # closed form: C = 1 / (2 pi f |Im Z|) at the lowest tone
    assert capacitor(_impedance(47e-6, 100.0), "hot_impedance").startswith("47.00")


@pytest.mark.parametrize(
    ("farad", "ohm"),
    [
        (1e-1, 100.0),  # as good as none: no reactance to read
        (80e-12, 100.0),  # strays of an open pin, not a coupling capacitor
    ],
)
def test_no_capacitor_is_invented(farad: float, ohm: float) -> None:
    assert capacitor(_impedance(farad, ohm), "hot_impedance") == ""


def test_a_suspect_capacitor_may_be_small() -> None:
    curves = _impedance(1e-6, 30.0)
    # closed form, as above; 8 kilohm at 20 Hz
    assert capacitor(curves, "hot_impedance", suspect=True).startswith("1.00")
    assert capacitor(curves, "hot_impedance") == ""


@pytest.mark.parametrize(
    ("sample", "said", "values"),
    [
        # the descriptions name the parts a stage of that kind consists of; values as in the facts
        ("differential", "Two amplifiers of opposite sign", ["49.93 ± 0.17 Ω"]),
        ("floating", "each also listening to the other", ["50.10 ± 0.25 Ω", "3.99 ± 0.12 kΩ"]),
        ("transformer", "A transformer whose secondary", ["90.00 ± 0.41 Ω", "266.0 ± 8.0 kΩ"]),
        ("tapped", "A transformer whose secondary", ["90.00 ± 0.41 Ω", "10.00 ± 0.35 Ω"]),
        ("ground-sensing", "pin 3 leads into its summing input", ["99.50 ± 0.32 Ω"]),
        ("impedance-balanced", "pin 3 goes through a like impedance", ["99.96 ± 0.32 Ω"]),
        ("impedance-balanced-on-pin-3", "amplifier drives pin 3; pin 2 goes", ["99.96 ± 0.32 Ω"]),
        ("unbalanced", "pin 3 is joined to pin 1", ["30 ± 20 mΩ"]),
        ("pin-3-unconnected", "pin 3 leads nowhere", ["above 100 kΩ"]),
        ("faulty", "fits no kind", ["100.00 ± 0.32 Ω"]),
        ("open-only", "A box of question marks", ["?"]),
    ],
)
def test_schematic_of_every_kind(sample: str, said: str, values: list[str]) -> None:
    side = page_view(samples.SAMPLES[sample]()).sides[0]
    drawing = side.drawings[0].drawing
    assert said in drawing
    for value in values:
        assert f">{value}</text>" in drawing


def test_every_kind_has_a_drawing_of_its_own() -> None:
    shapes = set()
    kinds = [n for n in samples.SAMPLES if n not in {"bare", "hostile"}]
    for name in kinds:
        drawing = page_view(samples.SAMPLES[name]()).sides[0].drawings[0].drawing
        shapes.add(re.sub(r"<(text|title|desc)[^>]*>[^<]*</\1>| id=\"[^\"]*\"", "", drawing))
    # closed form: as many shapes as samples, texts and ids aside
    assert len(shapes) == len(kinds)


def test_in_phase_amplifiers_have_the_same_sign() -> None:
    drawing = page_view(samples.faulty()).sides[0].drawings[0].drawing
    assert drawing.count(">+1</text>") == 2
    assert ">−1</text>" not in drawing


def test_a_dead_leg_is_crossed_out() -> None:
    document = samples.faulty()
    document["sides"]["mono"]["stage"]["faults"] = ["cold-leg-dead"]
    assert 'class="broken"' in page_view(document).sides[0].drawings[0].drawing


def test_level_falls_back_to_what_was_recorded_and_says_so() -> None:
    curves = samples.open_only()["sides"]["left"]["curves"]
    figure = level_figure("k", "Left", curves)
    assert figure is not None
    assert "hot leg, as recorded" in figure.drawing
    assert impedance_figure("k", "Left", curves) is None


def test_unknown_points_are_no_points() -> None:
    curves = samples.open_only()["sides"]["left"]["curves"]
    for part in ("real", "imag", "u95"):
        curves["hot_recorded"][part] = [None] * len(samples.HZ)
        curves["cold_recorded"][part][0] = None
    figure = level_figure("k", "Left", curves)
    assert figure is not None
    assert "hot leg" not in figure.drawing
    table = curve_table(curves)
    assert table is not None
    # closed form: the first tone is unknown, the second is 1.31 V
    assert [row[1] for row in table.rows[:2]] == ["–", "1.3100 ± 0.0053 V"]
