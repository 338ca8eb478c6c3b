"""Typed results of a facts document."""

from __future__ import annotations

import pytest

from probe.errors import BadInput
from probe.facts import results
from tests.figures.documents import DOCUMENT


def test_figures_come_with_their_interval() -> None:
    side = results(DOCUMENT).sides["left"]
    fact = side.fact("hot_impedance")
    # 5.0 with a half-width of 0.1, as written in the document
    assert (fact.value, fact.unit) == (5.0, "ohm")
    assert (fact.low, fact.high) == pytest.approx((4.9, 5.1))
    assert fact.u95 == pytest.approx(0.1)
    assert fact.text == "5.00 ± 0.10 Ω"


def test_a_name_that_is_not_there_names_the_nearest() -> None:
    side = results(DOCUMENT).sides["left"]
    with pytest.raises(BadInput, match='did you mean "hot_impedance"'):
        side.fact("hot_impedence")


def test_curves_and_warnings() -> None:
    found = results(DOCUMENT)
    curve = found.sides["left"].curve("hot_impedance")
    assert curve is not None
    # 3 + 4i and 6 + 8i: Pythagorean triples
    assert curve.magnitude == (5.0, 10.0)
    assert found.sides["left"].curve("nothing") is None
    assert found.warnings == ("clipped-take",)
