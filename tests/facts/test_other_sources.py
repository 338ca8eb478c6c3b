"""A source that holds any of several answers, and one without the tones nothing was solved at."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from probe.facts.other_sources import source_holding
from probe.stage.as_source import source_of
from tests.advice.stages import source
from tests.stage.analysed import analysed
from tests.stage.forward import FULL, Errors
from tests.stage.stages import STAGES


def test_draws_are_of_every_answer():
    one = source(diff=2.0, draws=90)
    held = source_holding(one, [source(diff=3.0, draws=40), source(diff=4.0, draws=90)])
    # closed form: of 90 draws a third are 2 V, a third 3 V, a third 4 V
    volts, count = np.unique(np.abs(held.voc_draws[:, 0, 0]), return_counts=True)
    assert volts.tolist() == [2.0, 3.0, 4.0]
    assert count.tolist() == [30, 30, 30]
    # the values are those with the inputs as declared
    assert held.voc[0, 0] == 2.0


def test_what_one_answer_does_not_know_is_not_known():
    one, other = source(single=1.0, draws=20), source(draws=20)
    held = source_holding(one, [other])
    assert np.isnan(held.voc[:, 2]).all()
    assert np.isfinite(held.voc[:, :2]).all()


def test_a_tone_the_other_lacks_stands_by_itself():
    one = source(diff=2.0, hz=[100.0, 1000.0], draws=20)
    held = source_holding(one, [source(diff=3.0, hz=[1000.0], draws=20)])
    assert np.unique(np.abs(held.voc_draws[:, 0, 0])).tolist() == [2.0]
    assert np.unique(np.abs(held.voc_draws[:, 1, 0])).tolist() == [2.0, 3.0]


def test_a_tone_without_solution_is_not_known():
    """What the solve left at a tone whose takes it foretells thirty times too badly is nothing."""
    found = analysed(STAGES["transformer"], FULL, errors=Errors(noise=1e-6)).identified
    residual = found.legs.fit.residual.copy()
    residual[:, 0] += 1e4
    stuck = replace(found, legs=replace(found.legs, fit=replace(found.legs.fit, residual=residual)))
    assert np.isfinite(source_of(found).voc[0, 0])
    assert np.isnan(source_of(stuck).voc[0, :2]).all()
    assert np.isnan(source_of(stuck).z[0, :2, :2]).all()
    assert np.isfinite(source_of(stuck).voc[1, :2]).all()
