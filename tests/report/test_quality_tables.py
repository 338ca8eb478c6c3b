"""Hum lines and harmonics as tables of the page."""

from __future__ import annotations

from probe.report.quality import quality_tables

HUM = {"output": "hot", "order": 3, "hz": 150.0, "value": 8e-6, "u95": 1e-7, "unit": "V"}
SECOND = {"order": 2, "hz": 1994.0, "value": 0.0087, "u95": 0.0003, "unit": "%", "limit": 4e-4}
HIDDEN = {"value": 2e-4, "u95": 0.0, "unit": "%", "bound": "below", "limited_by_bench": True}


def test_lines_stand_by_order_then_output_with_their_limit() -> None:
    cold = {**HUM, "output": "cold", "limit": 1.7e-6}
    first = {**HUM, "output": "differential", "order": 1, "hz": 50.0}
    (table,) = quality_tables({"hum_lines": [cold, HUM, first]})
    # by hand: the caption's order
    assert [row[:2] for row in table.rows] == [
        ("1 · 50 Hz", "between the legs"),
        ("3 · 150 Hz", "hot leg"),
        ("3 · 150 Hz", "cold leg"),
    ]
    assert table.rows[1][3] == "–"
    assert "1.7" in table.rows[2][3]
    assert "8.0" in table.rows[2][2]
    assert "0.1" in table.rows[2][2]


def test_harmonics_that_are_bounds_on_every_output_are_named_once() -> None:
    told = {**SECOND, "output": "hot", "phase_deg": 3.0, "phase_u95_deg": 2.0}
    rest = [{**HIDDEN, "output": "hot", "order": n, "hz": 997.0 * n} for n in range(3, 21)]
    (table,) = quality_tables({"harmonics": [told, *rest]})
    # second and third are always shown
    assert [row[0].split(" ")[0] for row in table.rows] == ["2", "3"]
    assert "3° ± 2°" in table.rows[0]
    assert "4 to 20" in table.caption


def test_rubbish_makes_no_row() -> None:
    rows = [None, 3, {}, {**HUM, "output": "elsewhere"}, {**HUM, "hz": None}, {**HUM, "value": "x"}]
    assert quality_tables({"hum_lines": rows, "harmonics": rows}) == ()
