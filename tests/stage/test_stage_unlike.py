"""Sound stages with something between amplifiers and pins: no wrong kind, no false fault."""

from __future__ import annotations

import numpy as np
import pytest

from .analysed import analysed
from .forward import FULL, Errors, Stage, drawn_errors, floating, separate

QUIET = Errors(noise=1e-6)


def _pair(own, other, back=None, volts=1.0) -> Stage:
    """Legs of +- ``volts``: ohms of a leg, into hot and into cold, functions of frequency."""

    def z(f):
        out = np.zeros((len(f), 3, 3), dtype=complex)
        out[:, 0, 0] = out[:, 1, 1] = own(f)
        out[:, 0, 1] = other(f)
        out[:, 1, 0] = (back or other)(f)
        out[:, 2, 2] = 100.0
        return out

    return Stage(lambda f: np.tile(np.array([volts, -volts, volts], dtype=complex), (len(f), 1)), z)


def _beside(ohm: float, farad: float):
    """A resistor to pin 1 with a capacitor beside it."""
    return lambda f: 1.0 / (1.0 / ohm + 2j * np.pi * f * farad)


@pytest.mark.parametrize(
    ("ohm", "farad", "kind"),
    [
        # source: the kinds' definition and simulated stages: a cross-coupled one has 4 kohm, to
        # which two capacitors of 2.2 or 4.7 nF against radio lie parallel
        pytest.param(4.0e3, 4.4e-9, "electronically-floating", marks=pytest.mark.long),
        (4.0e3, 9.4e-9, "electronically-floating"),
        # closed form: two bleeders of 100 kohm beside each other, and a winding's 600 pF
        pytest.param(5.0e4, 6.0e-10, "transformer-coupled", marks=pytest.mark.long),
        # two resistors of 24 kohm on a winding, or an electronic stage of 12 kohm: the same
        (1.2e4, 4.4e-9, "undetermined"),
    ],
)
def test_a_capacitance_is_a_windings_where_nothing_else_leads_to_pin_1(ohm, farad, kind):
    found = analysed(floating(zd=50.0, zcm=_beside(ohm, farad)), FULL, errors=QUIET)
    assert found.codes == []
    assert found.kind == kind
    if kind == "undetermined":
        assert found.possible == {"electronically-floating", "transformer-coupled"}


@pytest.mark.parametrize(
    ("henry", "possible"),
    [
        # closed form: Z_hc/Z_hh = jwkL/(R + jwL) at 1 kHz: 0.99 in size of 100 mH, 0.66 of 10 mH
        (0.1, {"differential", "faulty"}),
        (
            0.01,
            {"differential", "electronically-floating", "transformer-coupled", "faulty"},
        ),
    ],
)
def test_a_common_mode_choke_is_no_floating_stage_and_no_fault(henry, possible):
    def own(f):
        return 47.0 + 2j * np.pi * f * henry

    stage = _pair(own, lambda f: 2j * np.pi * f * 0.999 * henry)
    found = analysed(stage, FULL, errors=QUIET)
    assert found.kind == "undetermined"
    assert found.possible == possible
    assert found.next.take is None


def test_a_resistor_between_the_legs_is_no_fault_by_itself():
    # closed form: 8 kohm legs with 3 kohm between them: 8/11 appears on the other leg
    between = np.linalg.inv(
        np.array([[1 / 8e3 + 1 / 3e3, -1 / 3e3], [-1 / 3e3, 1 / 8e3 + 1 / 3e3]])
    )
    stage = _pair(lambda f: between[0, 0] + 0 * f, lambda f: between[0, 1] + 0 * f)
    found = analysed(stage, FULL, errors=QUIET)
    assert found.kind == "undetermined"
    assert {"differential", "faulty"} < found.possible
    assert "no fault that has a name" in found.verdict.reasons[-1]


@pytest.mark.parametrize("situation", ["reference", "none"])
@pytest.mark.long
def test_legs_that_share_one_current_are_no_floating_pair(situation):
    # closed form of a triode with 22 kohm at cathode and anode, 500 ohm seen at the cathode: what
    # is put there appears 42 times as high at the anode, and nothing comes back
    z = np.array([[489.0, 0.0, 0.0], [20474.0, 20970.0, 0.0], [0.0, 0.0, 100.0]], dtype=complex)

    def impedance(f):
        out = np.tile(z, (len(f), 1, 1))
        # closed form: 2.2 uF in series with either leg
        out[:, 0, 0] += 1.0 / (2j * np.pi * f * 2.2e-6)
        out[:, 1, 1] += 1.0 / (2j * np.pi * f * 2.2e-6)
        return out

    stage = Stage(lambda f: np.tile(np.array([1, -1, 1], dtype=complex), (len(f), 1)), impedance)
    errors, rng = drawn_errors(1, FULL), np.random.default_rng(1)
    found = analysed(stage, FULL, errors=errors, rng=rng, situation=situation)
    # source: the takes are right; none may be accused, though a load on hot turns cold as it likes
    assert found.codes == []
    assert found.kind == "undetermined"
    assert "differential" in found.possible


def _behind(farad: float):
    return lambda f: 100.0 + 1.0 / (2j * np.pi * f * farad)


@pytest.mark.parametrize(
    ("farad", "found", "possible"),
    [
        # closed form, corner with 10 kohm: 1.6 Hz and 0.7 Hz cost 0.03 dB and less at 20 Hz
        (1.0e-5, False, False),
        (2.2e-5, False, False),
        # 7.2 Hz: 0.5 dB at 20 Hz, a small one or a dried one
        (2.2e-6, False, True),
        # 34 Hz: inside the band
        (4.7e-7, True, False),
    ],
)
@pytest.mark.parametrize("cold_volts", [-2.0, 0.0])
@pytest.mark.long
def test_a_capacitor_in_one_leg_alone_is_judged_by_what_it_costs(
    farad, found, possible, cold_volts
):
    stage = separate(2.0, cold_volts, _behind(farad), 100.0)
    said = analysed(stage, FULL, errors=QUIET)
    fault = "coupling-capacitor-hot"
    assert said.kind == ("differential" if cold_volts else "impedance-balanced")
    assert (fault in said.faults.found) == found
    assert (fault in {told.fault for told in said.faults.possible}) == possible
