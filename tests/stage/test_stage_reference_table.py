"""The reference table of output classes: two volts open circuit, a 10 kohm meter on each leg.

Every printed voltage (five digits) goes in as if recorded; what comes out must be the stage that
the table was worked out from, and its voltage with pin 3 tied.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from probe.session.model import RecorderInput
from probe.stage.source import modal_to_legs_impedance, modal_to_legs_voltage

from .analysed import Analysed, from_phasors
from .forward import COLD, HOT, Errors, G, Plan, injection, load, record, separate

METER = RecorderInput(8.7, 1e-7, 10000.0, 1e-7, 0.0, 0.0)
"""The meter of the table is exact: 10 kohm, no capacitance."""

ROUNDING = 5e-6 / 3**0.5
"""Standard deviation of a figure printed with five digits (uniform over one unit)."""

ON_HOT = load(HOT, G, 1000.0, "R1", 1e-7)
ON_COLD = load(COLD, G, 1000.0, "R1", 1e-7)
PLANS = {
    "bridging": Plan("bridging"),
    "on 2": Plan("on 2", loads=(ON_HOT,)),
    "on 3": Plan("on 3", loads=(ON_COLD,)),
    "both": Plan("both", loads=(ON_HOT, replace(ON_COLD, part="R2"))),
}

# source of every voltage: reference table of ideal models, E = 2.000 V (arithmetic, closed form)
SYMMETRICAL = {
    "bridging": (0.99502, -0.99502),
    "on 2": (0.94787, -0.99502),
    "on 3": (0.99502, -0.94787),
    "both": (0.94787, -0.94787),
}
TRANSFORMER = {
    "bridging": (0.99502, -0.99502),
    "on 2": (0.16529, -1.81653),
    "on 3": (1.81653, -0.16529),
    "both": (0.94786, -0.94786),
}
CROSS_COUPLED = {
    "bridging": (0.99010, -0.99010),
    "on 2": (0.28090, -1.68539),
    "on 3": (1.68539, -0.28090),
    "both": (0.94340, -0.94340),
}
ONE_LEG = {
    "bridging": (1.98020, 0.0),
    "on 2": (1.80180, 0.0),
    "on 3": (1.98020, 0.0),
    "both": (1.80180, 0.0),
}
ONE_LEG_DEAD = {
    "bridging": (0.99502, 0.0),
    "on 2": (0.94787, 0.0),
    "on 3": (0.99502, 0.0),
    "both": (0.94787, 0.0),
}
SAME_POLARITY = {
    "bridging": (0.99502, 0.99502),
    "on 2": (0.94787, 0.99502),
    # the table leaves this cell open ("..."): the mirror image of the one before
    "on 3": (0.99502, 0.94787),
    "both": (0.94787, 0.94787),
}


def from_table(row: dict[str, tuple[float, float]], extra=()) -> Analysed:
    """Takes whose voltages are the printed numbers, at every tone; ``extra`` come as they are."""
    session, phasors = record(
        separate(), tuple(PLANS.values()), recorder=METER, repeatability_db=0.001
    )
    made = []
    for p in phasors:
        volts = p.volts.copy()
        volts[:, :2] = row[p.take.name]
        volts[:, 2] = 0.5
        noise = ROUNDING**2 * np.tile(np.eye(3), (len(p.hz), 1, 1)).astype(complex)
        made.append(replace(p, volts=volts, noise=noise))
    session = replace(session, takes=(*session.takes, *[p.take for p in extra]))
    return from_phasors(session, (*made, *extra))


def injected(zc) -> tuple:
    """An injection into pin 3 of a stage that is two volts behind 100 ohm on pin 2."""
    plan = Plan("inject", injections=(injection(COLD, u95=1e-7),))
    errors = Errors(noise=ROUNDING)
    _, phasors = record(separate(2.0, 0.0, 100.0, zc), (plan,), recorder=METER, errors=errors)
    return phasors


def solved(found: Analysed) -> tuple[np.ndarray, np.ndarray]:
    """Open-circuit voltages (2,) and impedances (2, 2) of the legs, at the tone nearest 1 kHz."""
    legs = found.identified.legs
    k = int(np.argmin(np.abs(legs.hz - 1000.0)))
    theta = legs.theta[0, k]
    voc = modal_to_legs_voltage(np.append(theta[:, 0], 0.0))[:2]
    padded = np.zeros((3, 3), dtype=complex)
    padded[:2, :2] = theta[:, 1:3]
    return voc, modal_to_legs_impedance(padded)[:2, :2]


def tied_into_meter(found: Analysed) -> float:
    """Hot with pin 3 tied to pin 1 and the meter still on hot, from the solved stage at 1 kHz.

    Closed form, two nodes: cold is 0, so its current is ``-(Voc_c + Z_ch I_h)/Z_cc``.
    """
    voc, z = solved(found)
    hot = voc[0] - z[0, 1] / z[1, 1] * voc[1]
    own = z[0, 0] - z[0, 1] * z[1, 0] / z[1, 1]
    return abs(hot / (1.0 + own / METER.impedance_ohm))


def value(found: Analysed, name: str) -> float:
    assert "bound" not in found.facts[name], found.facts[name]
    return found.facts[name]["value"]


def test_symmetrical_ground_referenced():
    found = from_table(SYMMETRICAL)
    # source: reference table, "+-1 V behind 50 ohm"; a digit of 5e-6 V in 0.05 V is 0.01 ohm
    assert found.kind == "differential"
    assert value(found, "hot_level") == pytest.approx(1.0, abs=1.5e-5)
    assert value(found, "cold_level") == pytest.approx(1.0, abs=1.5e-5)
    assert value(found, "differential_level") == pytest.approx(2.0, abs=3e-5)
    assert value(found, "hot_impedance") == pytest.approx(50.0, abs=0.02)
    assert value(found, "cold_impedance") == pytest.approx(50.0, abs=0.02)
    assert found.facts["coupling_cold_into_hot"]["value"] == pytest.approx(0.0, abs=3e-4)
    # source: reference table, pin 3 tied to 1: V2 = +0.99502
    assert tied_into_meter(found) == pytest.approx(0.99502, abs=1e-5)
    # source: closed form, separate legs: the open-circuit hot level does not change
    assert value(found, "hot_level_pin_3_tied") == pytest.approx(1.0, abs=1.5e-5)
    # source: reference table, "-6.02 dB re differential"
    tied, full = value(found, "hot_level_pin_3_tied"), value(found, "differential_level")
    assert 20 * np.log10(tied / full) == pytest.approx(-6.0206, abs=5e-4)


def test_floating():
    found = from_table(TRANSFORMER)
    # source: reference table, "2 V between legs, Zdiff 100 ohm"; its ideal 10 Mohm to pin 1 is a
    # resistance, so that nothing but the coupling of 1 speaks of a winding
    assert found.possible == {"electronically-floating"} or found.possible == {
        "electronically-floating",
        "transformer-coupled",
    }
    assert value(found, "differential_level") == pytest.approx(2.0, abs=1e-4)
    assert value(found, "differential_impedance") == pytest.approx(100.0, abs=0.2)
    # source: closed form: equal legs, both 10 Mohm to pin 1, so Z_hc/Z_cc is 10.0 M over 10.0001 M
    _, z = solved(found)
    assert z[0, 1] / z[1, 1] == pytest.approx(1.0, abs=1e-3)
    assert z[1, 0] / z[0, 0] == pytest.approx(1.0, abs=1e-3)
    # source: closed form, 10 Mohm || 10.0001 Mohm = 5 Mohm: five digits leave a bound or nothing,
    # no number
    for leg in ("hot_impedance", "cold_impedance"):
        entry = found.facts.get(leg, {"bound": "above", "value": 0.0})
        assert entry["bound"] == "above"
        assert entry["value"] <= 5.0e6
    # source: reference table, pin 3 tied to 1: V2 = +1.98018
    assert tied_into_meter(found) == pytest.approx(1.98018, abs=1.5e-4)


def test_cross_coupled():
    found = from_table(CROSS_COUPLED)
    # source: reference table, 10 kohm per leg to pin 1 and 100 ohm between: closed form
    own = 10000.0 * 10100.0 / 20100.0
    shared = 10000.0 * 10000.0 / 20100.0
    assert found.kind == "electronically-floating"
    assert value(found, "hot_impedance") == pytest.approx(own, rel=1e-3)
    assert value(found, "cold_impedance") == pytest.approx(own, rel=1e-3)
    coupling = found.facts["coupling_cold_into_hot"]["value"]
    assert coupling == pytest.approx(shared / own, abs=3e-4)
    # source: closed form: both legs tied together are 10 kohm over two
    assert value(found, "common_mode_impedance") == pytest.approx(5000.0, rel=1e-3)
    # source: closed form: 100 ohm across 20 kohm
    assert value(found, "differential_impedance") == pytest.approx(100 / 1.005, abs=0.1)
    # source: closed form, 2 V * 20 kohm / 20.1 kohm
    assert value(found, "differential_level") == pytest.approx(2 / 1.005, abs=1e-4)
    # source: reference table, pin 3 tied to 1: V2 = +1.96078
    assert tied_into_meter(found) == pytest.approx(1.96078, abs=1e-4)
    # source: closed form, the meter off: 2 V * 10 kohm / 10.1 kohm
    assert value(found, "hot_level_pin_3_tied") == pytest.approx(2 / 1.01, abs=1e-4)


def test_loads_cannot_tell_three_one_legged_classes_apart():
    found = from_table(ONE_LEG)
    # source: reference table, "same voltages" in three rows: loads to pin 1 cannot tell
    assert found.kind == "undetermined"
    assert {"impedance-balanced", "unbalanced", "pin-3-unconnected"} <= found.possible
    assert value(found, "hot_impedance") == pytest.approx(100.0, abs=0.02)
    assert value(found, "hot_level") == pytest.approx(2.0, abs=3e-5)
    assert not {"cold_impedance", "hot_level_pin_3_tied"} & set(found.facts)
    # source: reference table: "a current must be injected into pin 3"
    assert found.next.take == "inject-cold"


@pytest.mark.parametrize(
    ("zc", "kind"),
    [(100.0, "impedance-balanced"), (0.02, "unbalanced"), (2e6, "pin-3-unconnected")],
)
def test_an_injection_into_pin_3_tells_them_apart(zc, kind):
    found = from_table(ONE_LEG, injected(zc))
    # source: reference table, consequences: Z3 = Z2, about 0 ohm, above a megohm
    assert found.kind == kind
    assert value(found, "hot_level") == pytest.approx(2.0, abs=3e-5)
    if kind != "pin-3-unconnected":
        # source: reference table, pin 3 tied to 1: V2 = +1.98020, the meter still on hot
        tied, own = value(found, "hot_level_pin_3_tied"), value(found, "hot_impedance")
        assert tied / (1.0 + own / METER.impedance_ohm) == pytest.approx(1.98020, abs=2e-5)
    if kind == "impedance-balanced":
        # source: reference table, "impedance-balanced 100/100"; injected volts are good to 0.25 %
        assert value(found, "cold_impedance") == pytest.approx(100.0, abs=0.6)
        # source: reference table, pin 3 tied to 1: V2 = +1.98020
        assert tied_into_meter(found) == pytest.approx(1.98020, abs=2e-5)


def test_one_leg_dead_looks_like_any_other_one_legged_stage():
    found = from_table(ONE_LEG_DEAD)
    # source: reference table, consequences: "the tool should report ambiguity"
    assert found.kind == "undetermined"
    assert {"impedance-balanced", "unbalanced", "pin-3-unconnected"} <= found.possible
    assert value(found, "hot_level") == pytest.approx(1.0, abs=1.5e-5)
    assert value(found, "hot_impedance") == pytest.approx(50.0, abs=0.02)


def test_both_legs_of_one_polarity():
    found = from_table(SAME_POLARITY)
    # source: reference table, "Vdm about 0 bridging": no kind has separate legs in phase
    assert found.kind == "faulty"
    assert "legs-in-phase" in found.faults.found
    assert found.facts["differential_level"]["bound"] == "below"
    assert value(found, "common_mode_level") == pytest.approx(1.0, abs=1.5e-5)


def test_two_loads_give_the_impedance():
    """R = R1 R2 (V1 - V2) / (V2 R1 - V1 R2): E = 1, R1 = 10 kohm, R2 = 10 kohm || 1 kohm."""
    r2 = 1.0 / (1.0 / 10000.0 + 1.0 / 1000.0)
    v1, v2 = 10000.0 / 10050.0, r2 / (r2 + 50.0)
    # source: reference table, consequences: 50.000 ohm
    assert 10000.0 * r2 * (v1 - v2) / (v2 * 10000.0 - v1 * r2) == pytest.approx(50.0, abs=5e-4)
    row = {"bridging": (v1, -v1), "on 2": (v2, -v1), "on 3": (v1, -v2), "both": (v2, -v2)}
    found = from_table(row)
    # source: the same figure, out of the solver
    assert value(found, "hot_impedance") == pytest.approx(50.0, abs=5e-4)
    assert value(found, "hot_level") == pytest.approx(1.0, abs=1e-7)
