"""Windings whose capacitance is as large as what hangs beside it: injections and loads agree."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from probe.phasors.model import Remark
from probe.stage.fitted import LEGS
from probe.stage.inject import solve_injected

from .analysed import analysed, from_phasors, judged
from .forward import FULL, OPEN, SECOND, Errors, drawn_errors, floating, record


def _winding(farad: float):
    """90 ohm between the legs, so many farad to pin 1 behind 5 ohm."""
    return floating(zd=90.0, zcm=lambda f: 5.0 + 1.0 / (2j * np.pi * f * farad), lean=0.2)


def test_injections_do_not_contradict_the_loads_of_a_winding():
    stage = _winding(3e-9)
    found = analysed(stage, FULL, errors=drawn_errors(1, FULL), rng=np.random.default_rng(1))
    assert found.codes == []
    assert found.kind == "transformer-coupled"
    # source: definition of the stage; errors of the bench drawn from what is declared of it
    assert [str(j) for j in judged(found.facts, stage) if j.off > 1.3] == []


def test_the_angle_of_an_injected_leg_is_found_where_size_and_angle_hang_together():
    # 9 nF: at 2 kHz as large as the recorder's input and the injector beside it
    _, phasors = record(_winding(9e-9), FULL, errors=Errors(noise=1e-6))
    injected = solve_injected(phasors, LEGS, level=1e-4)
    assert injected is not None
    hz = injected.group.hz
    into = next(t for t, o in enumerate(injected.group.takes) if o.generators)
    # source: closed form: one leg meets the capacitor with the other leg's input of 20 kohm and
    # 150 pF beside it
    meets = 1.0 / (1.0 / 2.0e4 + 2j * np.pi * hz * (9e-9 + 1.5e-10))
    found = injected.angles[f"angle/{into}"][0]
    # the slope law holds within its stated doubt here; whole steps of the search swung by 0.7 rad
    doubt = injected.angle_u[f"angle/{into}"]
    assert np.all(np.abs(found - np.angle(meets)) < 1.5 * doubt)


def test_takes_that_clip_are_asked_for_again_at_a_lower_drive():
    session, phasors = record(floating(), (OPEN, SECOND), errors=Errors(noise=1e-6))
    said = (Remark("clipped-take", "open", "its tops are flattened"),)
    refused = tuple(replace(p, usable=False, remarks=said) for p in phasors)
    found = from_phasors(session, refused)
    # common practice, no source: what clips at one drive may not at half of it
    assert found.next.take == "second-open"
    assert "half as loud" in str(found.next.reason)


def test_no_angle_is_stated_of_a_leg_that_hardly_stands_out_of_its_scatter():
    # a winding of 266 kohm at 1 kHz beside two inputs of 20 kohm; the cold leg's 21 mV hang on
    # those inputs, whose true values lie three standard deviations out in this draw
    stage = floating(
        vd=0.25, zd=90.0, zcm=lambda f: 5.0 + 1.0 / (2j * np.pi * f * 6e-10), lean=0.4167, vs=0.25
    )
    found = analysed(
        stage,
        FULL,
        errors=drawn_errors(23, FULL),
        rng=np.random.default_rng(23),
        seed=23,
        situation="timebase",
        tones=np.array([200.0, 997.0, 4000.0]),
    )
    assert found.kind == "transformer-coupled"
    # source: definition of the stage; the angle found was 68 degrees from its truth
    assert "leg_phase" not in found.facts
    assert "cold_level" in found.facts


def test_legs_of_a_joined_winding_stand_as_they_are_without_the_recorder():
    """5 ohm across 90: what is left between the legs is less than their mean, open circuit."""
    stage = floating(
        vd=0.013, zd=90.0 * 5.0 / 95.0, zcm=lambda f: 1.0 / (2j * np.pi * f * 6e-10), lean=7.0
    )
    errors = drawn_errors(2, FULL)
    found = analysed(stage, FULL, errors=errors, rng=np.random.default_rng(2))
    facts = found.facts
    assert facts["leg_ratio"]["limited_by_bench"]
    # source: definition: 6.5 and 7.5 times what is between them, in phase; on the recorder their
    # mean is a twenty-seventh of that (266 kohm at 1 kHz beside 10 kohm of both inputs)
    ratio, phase = 20.0 * np.log10(6.5 / 7.5), 0.0
    recorded = facts["cold_recorded"]["value"] / facts["hot_recorded"]["value"]
    assert abs(20.0 * np.log10(recorded) - ratio) > 0.5
    assert abs(facts["leg_ratio"]["value"] - ratio) < 2.0 * facts["leg_ratio"]["u95"]
    assert abs(facts["leg_phase"]["value"] - phase) < 2.0 * facts["leg_phase"]["u95"]
