"""Rejection and balance against published tables, closed forms and the circuit simulator."""

from __future__ import annotations

import numpy as np
import pytest

from probe.measures.rejection import (
    RECEIVERS,
    Receiver,
    added,
    balance_entry,
    connection_entry,
    heard_ground,
    heard_signal,
    lead_admittance,
)
from probe.stage.source import TO_MODAL
from tests.spice import ngspice
from tests.spice.circuits import draw
from tests.spice.ngspice import Tone
from tests.spice.truth import solve_truth

T = TO_MODAL[:2, :2]


def modal(hot: float, cold: float) -> np.ndarray:
    """Modal impedance of two separate legs."""
    return (T @ np.diag([hot, cold]) @ T.T).astype(complex)


# Whitlock, "Balanced Lines in Audio Systems", J. Audio Eng. Soc. 43(6), 1995: the bridge
#   Vdm/Vcm = Zc1/(Zc1+Rs1) - Zc2/(Zc2+Rs2), evaluated for a source imbalance into a receiver.
# First row published (SSM2143 data sheet rev. 0, p. 7: "a 5 ohm source imbalance will result in a
# CMRR of 71 dB"); the others are arithmetic from the formula. Columns: imbalance, receiver per leg,
# exact with the other leg 0 ohm, exact with the other leg 100 ohm; dB.
BRIDGE = [
    (5.0, 18e3, 71.13, 71.22),
    (1.0, 10e3, 80.00, 80.17),
    (10.0, 5e3, 54.00, 54.34),
    (10.0, 10e3, 60.01, 60.18),
    (10.0, 20e3, 66.02, 66.11),
    (10.0, 25e3, 67.96, 68.03),
    (10.0, 50e3, 73.98, 74.02),
    (100.0, 10e3, 40.09, 40.26),
    (600.0, 10e3, 24.94, 25.11),
    (10.0, 1e6, 100.00, 100.00),
    (10.0, 10e6, 120.00, 120.00),
    (600.0, 10e6, 84.44, 84.44),
]


@pytest.mark.parametrize(("ohm", "receiver", "alone", "with_100"), BRIDGE)
def test_ground_difference_through_the_bridge(
    ohm: float, receiver: float, alone: float, with_100: float
) -> None:
    y = Receiver("", receiver).admittance(1000.0, 0.0)
    for base, expected in ((0.0, alone), (100.0, with_100)):
        heard = heard_ground(modal(base + ohm, base), y)
        # source: the table above, printed to 0.01 dB
        assert -20 * np.log10(abs(heard)) == pytest.approx(expected, abs=0.006)


def test_signal_through_the_bridge_is_a_divider() -> None:
    y = Receiver("", 10e3).admittance(1000.0, 0.0)
    voc = np.array([2.0, 0.0], complex)
    # closed form: 10 kohm / (10 kohm + 100 ohm) on each leg
    assert heard_signal(modal(100.0, 100.0), voc, y) == pytest.approx(10e3 / 10.1e3)


def test_ten_ohm_in_either_leg_reports_the_worse() -> None:
    z = np.repeat(modal(103.0, 100.0)[None], 5, axis=0)
    voc = np.tile(np.array([2.0, 0.0], complex), (5, 1))
    found = connection_entry(z, voc, RECEIVERS[0], 1000.0, 0.0, 10.0)
    y = RECEIVERS[0].admittance(1000.0, 0.0)
    # closed form: 113 against 100 ohm is worse than 103 against 110
    worst = heard_signal(modal(113.0, 100.0), voc[0], y) / heard_ground(modal(113.0, 100.0), y)
    assert found["value"] == pytest.approx(20 * np.log10(abs(worst)), abs=1e-9)
    assert added(modal(103.0, 100.0), 10.0, 0) == pytest.approx(modal(113.0, 100.0))


def test_a_mismatch_that_may_be_nothing_gives_a_bound_that_holds() -> None:
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(200):
        truth = rng.normal(0.0, 0.2)
        seen = truth + rng.normal(0.0, 1.0)
        draws = np.concatenate([[seen], seen + rng.normal(0.0, 1.0, 400)])
        z = np.stack([modal(100.0 + m, 100.0) for m in draws])
        voc = np.tile(np.array([2.0, 0.0], complex), (401, 1))
        entry = connection_entry(z, voc, RECEIVERS[0], 1000.0, 0.0, 0.0)
        y = RECEIVERS[0].admittance(1000.0, 0.0)
        ratio = heard_signal(modal(100 + truth, 100.0), voc[0], y)
        true = 20 * np.log10(abs(ratio / heard_ground(modal(100 + truth, 100.0), y)))
        if entry.get("bound") == "above":
            held += true >= entry["value"]
        else:
            low = entry.get("low", entry["value"] - entry["u95"])
            held += low <= true
    # binomial: 95 % wanted of 200, 99.9 % limit
    assert held >= 179


# Analog Devices AD8131 data sheet rev. B p. 15 defines Vdm = V2 - V3, Vcm = (V2 + V3)/2; one leg
# smaller by e gives Vdm/Vcm = (2 - e)/(e/2), evaluated: e, dB.
BALANCE = [(0.001, 72.04), (0.01, 52.00), (0.02, 45.93), (0.05, 37.84), (0.10, 31.60), (1.0, 6.02)]


@pytest.mark.parametrize(("e", "db"), BALANCE)
def test_signal_balance_table(e: float, db: float) -> None:
    hot, cold = 1.0, -(1.0 - e)
    difference = np.full(3, hot - cold, complex)
    mean = np.full(3, (hot + cold) / 2, complex)
    # source: the table above, printed to 0.01 dB
    assert balance_entry(difference, mean)["value"] == pytest.approx(db, abs=0.006)


CONNECTIONS = [
    (name, seed, receiver, mismatch)
    for name, seed in (("1", 1), ("2", 2), ("1b", 1), ("3", 1), ("3b", 2), ("4", 1), ("5", 2),
                       ("6", 1), ("9", 1), ("unequal", 1), ("8f", 1))
    for receiver in (0, 1, 3)
    for mismatch in (0.001, -0.01)
]  # fmt: skip


@pytest.mark.spice
@pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed")
@pytest.mark.parametrize(("name", "seed", "which", "mismatch"), CONNECTIONS)
@pytest.mark.long
def test_connection_against_the_circuit_simulator(
    name: str, seed: int, which: int, mismatch: float
) -> None:
    """Source, lead, receiver with unequal legs, ground voltage; floating and grounded stages."""
    circuit, receiver, hz = draw(name, seed), RECEIVERS[which], [50.0, 997.0, 15000.0]
    extra = 10.0
    heard = _simulated(circuit, receiver, mismatch, extra, hz)
    truth = solve_truth(circuit, hz)
    for k, f in enumerate(hz):
        legs = np.array(
            [[truth.z[(a, b)][k] for b in ("hot", "cold")] for a in ("hot", "cold")], complex
        )
        z = T @ legs @ T.T
        z[0, 0] = truth.differential_impedance[k]
        voc = T @ np.array([truth.hot[k], truth.cold[k]])
        y = receiver.admittance(f, mismatch)
        z = added(z, extra, 0)
        lead = lead_admittance(f, 100e-12)
        ours = heard_signal(z, voc, y, lead) / heard_ground(z, y, lead)
        # source: ngspice, netlist below; 0.3 dB allowed, of which the lead's ohms are some
        assert 20 * np.log10(abs(ours / heard[k])) == pytest.approx(0.0, abs=0.3), f


def _simulated(circuit, receiver, mismatch, extra, hz):
    """Rejection of a whole connection: signal over ground difference at the receiver."""
    lines = [circuit.includes(), "vdrive drive 0 dc 0 ac 0", "vg g 0 dc 0 ac 0"]
    lines.append(circuit.instance("s", "drive", "h", "c", "r"))
    lines.append(circuit.instance("o", "drive", "ho", "co", "ro"))
    lines += [f"rextra h hx {extra}", "rcold c cx 1u", "rlead1 hx h2 0.08", "rlead2 cx c2 0.08"]
    # one metre of lead: 100 pF a conductor to the screen, which is at pin 1 at the source
    lines += ["clead1 h2 0 100p", "clead2 c2 0 100p"]
    lines += [f"rin1 h2 g {receiver.leg_ohm * (1 + mismatch / 2)!r}"]
    lines += [f"rin2 c2 g {receiver.leg_ohm * (1 - mismatch / 2)!r}"]
    if receiver.farad:
        lines += [f"cin1 h2 g {receiver.farad / (1 + mismatch / 2)!r}"]
        lines += [f"cin2 c2 g {receiver.farad / (1 - mismatch / 2)!r}"]
    if np.isfinite(receiver.between_ohm):
        lines.append(f"rbetween h2 c2 {receiver.between_ohm!r}")
    tones = [Tone(f, (source,)) for f in hz for source in ("vdrive", "vg")]
    out = ngspice.solve("\n".join(lines), ("vdrive", "vg"), tones,
                        ["v(h2)", "v(c2)", "v(ho)", "v(co)"])  # fmt: skip
    across = out["v(h2)"] - out["v(c2)"]
    signal = across[0::2] / (out["v(ho)"] - out["v(co)"])[0::2]
    return signal / across[1::2]
