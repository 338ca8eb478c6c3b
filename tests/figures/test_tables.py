"""Flat tables: every number of the document is there, and no text becomes a formula."""

from __future__ import annotations

import csv
import io

import pytest

from probe.facts.named_curve import named_curve
from probe.facts.tables import CURVE_COLUMNS, FACT_COLUMNS, csv_text, curve_rows, fact_rows, frame

from .documents import DOCUMENT


def test_every_fact_is_a_row() -> None:
    rows = fact_rows(DOCUMENT)
    found = {(r["side"], r["condition"], r["fact"]) for r in rows}
    # The document below, counted by hand.
    assert len(rows) == len(found) == 6
    assert ("left", "volume 9 o'clock", "gain_difference") in found
    assert ("both", "", "channel_balance") in found


def test_a_complex_curve_keeps_both_parts_and_the_unknown_point_is_left_out() -> None:
    rows = [r for r in curve_rows(DOCUMENT) if r["curve"] == "hot_impedance"]
    # 3 + 4i has magnitude 5, the Pythagorean triple; the second point is null in the document.
    assert [(r["hz"], r["magnitude"]) for r in rows] == [(20.0, 5.0), (20000.0, 10.0)]
    assert rows[0]["imag"] == 4.0


def test_what_is_between_the_sides_is_there_too() -> None:
    (row,) = [r for r in curve_rows(DOCUMENT) if r["side"] == "both"]
    # the document: 0.1 dB at 1 kHz
    assert (row["curve"], row["hz"], row["magnitude"]) == ("channel_balance", 1000.0, 0.1)


def test_a_row_says_whether_it_was_measured_at_all() -> None:
    made = {"bench": {"interface": "Simulated bench, two inputs"}}
    for rows in (fact_rows, curve_rows):
        # by design: a simulated session names its recorder as simulated
        assert {r["simulated"] for r in rows(DOCUMENT)} == {"no"}
        assert {r["simulated"] for r in rows({**DOCUMENT, "made": made})} == {"yes"}


def test_a_curve_with_its_own_axis_stands_on_that() -> None:
    curve = named_curve(DOCUMENT["sides"]["left"], "hot_noise_density")
    assert curve is not None
    assert curve.hz == (100.0, 1000.0)
    assert curve.limit == (1e-9, None)


@pytest.mark.parametrize("text", ["=1+1", "+1", "-2", "@SUM(A1)", "\t=1", "\r=1", "=cmd|' /C'!A0"])
def test_no_cell_starts_a_formula(text: str) -> None:
    # Characters that start a formula in common spreadsheets: common practice, no source.
    for line in csv.reader(io.StringIO(csv_text([{"fact": text}], ["fact"]))):
        assert not line[0].startswith(("=", "+", "-", "@", "\t", "\r"))


def test_text_comes_back_from_csv() -> None:
    rows = fact_rows(DOCUMENT)
    back = list(csv.DictReader(io.StringIO(csv_text(rows, FACT_COLUMNS))))
    assert [r["fact"] for r in back] == [r["fact"] for r in rows]
    # Python's own repr of a float reads back as the same float.
    assert [float(r["value"]) for r in back] == [r["value"] for r in rows]
    assert (
        csv_text(curve_rows(DOCUMENT), CURVE_COLUMNS).count("\n") == len(curve_rows(DOCUMENT)) + 1
    )


def test_a_data_frame_holds_the_same() -> None:
    pytest.importorskip("pandas")
    table = frame(curve_rows(DOCUMENT))
    assert list(table.columns) == list(CURVE_COLUMNS)
    assert len(table) == len(curve_rows(DOCUMENT))
