"""Complete connections against a circuit simulator: every option, most kinds of stage."""

from __future__ import annotations

import numpy as np
import pytest

from probe.advice.advise import BY_ID
from probe.advice.destination import Cable, GroundPath, Input
from probe.advice.figures import Scale, figures
from probe.advice.sampled import sample
from probe.advice.solve import solve_option
from probe.facts.source import Source
from tests.advice.connections import Connection, simulate
from tests.spice import ngspice
from tests.spice.circuits import draw
from tests.spice.truth import solve_truth

pytestmark = [
    pytest.mark.spice,
    pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed"),
]

# The tones of a take, up to what a fast recorder hears
TONES = np.array([20.0, 31.0, 47.0, 71.0, 113.0, 179.0, 283.0, 449.0, 709.0, 997.0, 1583.0, 2503.0,
                  3989.0, 6311.0, 9973.0, 14009.0, 19997.0, 28001.0, 39989.0, 56003.0,
                  80021.0])  # fmt: skip


def lead(length: float, pf_per_m: float = 100.0) -> Cable:
    return Cable(length, pf_per_m * 1e-12 * length, 0.030 * length, 0.020)


def rca(ohm: float = 47e3) -> Input:
    return Input("rca", "rca", "single-ended", ohm)


def xlr(circuit: str, ohm: float, is_: str, pin_3: str = "input", **more: object) -> Input:
    return Input("xlr", "xlr", "balanced", ohm, circuit=circuit, impedance_is=is_, pin_3=pin_3,
                 **more)  # type: ignore[arg-type]  # fmt: skip


CASES = [
    ("1", 1, "xlr-to-rca/pin-3-open", rca(), lead(200.0, 300.0), 0.0),
    ("1", 2, "xlr-to-rca/pin-3-tied-at-source", rca(10e3), lead(2.0), 0.0),
    ("2", 1, "xlr-to-rca/pin-3-tied-at-destination", rca(22e3), lead(300.0, 150.0), 0.0),
    ("2", 3, "xlr-to-xlr", xlr("difference-amplifier", 20e3, "each-leg"), lead(300.0), 0.02),
    ("3", 1, "xlr-to-rca/pin-3-tied-at-source", rca(), lead(3.0), 0.0),
    ("3", 2, "xlr-to-rca/pin-3-open", rca(), lead(10.0), 0.0),
    ("3", 0, "xlr-to-xlr", xlr("buffered", 40e3, "between-legs"), lead(900.0, 200.0), -0.05),
    ("3b", 1, "xlr-to-rca/pin-3-tied-at-destination", rca(), lead(1.0), 0.0),
    ("3b", 2, "xlr-to-rca/transformer", rca(), lead(50.0), 0.0),
    ("4", 1, "xlr-to-rca/pin-3-open", rca(), lead(1.0), 0.0),
    ("4", 2, "xlr-to-rca/pin-3-tied-at-source", rca(), lead(100.0), 0.0),
    ("4", 3, "xlr-to-rca/pin-3-tied-at-destination", rca(), lead(10.0), 0.0),
    ("4", 0, "xlr-to-xlr", xlr("transformer", 10e3, "between-legs"), lead(20.0), 0.01),
    ("4", 1, "xlr-to-rca/transformer", rca(600.0), lead(10.0), 0.0),
    ("4b", 1, "xlr-to-rca/pin-3-tied-at-source", rca(), lead(1.0), 0.0),
    ("4b", 2, "xlr-to-xlr", xlr("difference-amplifier", 12e3, "between-legs"), lead(5.0), 0.0),
    ("5", 1, "xlr-to-xlr", xlr("difference-amplifier", 24e3, "each-leg"), lead(500.0), 0.01),
    ("5b", 1, "xlr-to-rca/pin-3-open", rca(600.0), lead(1.0), 0.0),
    ("5", 2, "xlr-to-xlr", xlr("buffered", 50e3, "each-leg", "ground"), lead(10.0), 0.0),
    ("6", 1, "xlr-to-rca/pin-3-tied-at-destination", rca(), lead(1.0), 0.0),
    ("7", 1, "xlr-to-xlr", xlr("difference-amplifier", 20e3, "each-leg"), lead(1.0), 0.0),
    ("9", 1, "xlr-to-rca/pin-3-tied-at-destination", rca(), lead(400.0), 0.0),
    ("9", 2, "xlr-to-rca/pin-3-open", rca(), lead(1.0), 0.0),
    ("8f", 1, "xlr-to-xlr", xlr("buffered", 10e3, "each-leg"), lead(10.0), 0.0),
    ("8f", 1, "xlr-to-rca/pin-3-tied-at-source", rca(), lead(1.0), 0.0),
    ("valve", 1, "rca-to-rca", rca(22e3), lead(100.0), 0.0),
    ("valve", 2, "rca-to-xlr/pin-3-tied-at-source",
     xlr("difference-amplifier", 20e3, "each-leg"), lead(100.0), 0.02),
    ("1", 1, "rca-to-xlr/pin-3-tied-at-destination",
     xlr("buffered", 20e3, "each-leg"), lead(500.0), 0.0),
    ("1", 1, "rca-to-xlr/pin-3-open",
     xlr("difference-amplifier", 20e3, "each-leg"), lead(2.0), 0.0),
    ("1", 1, "rca-to-xlr/transformer",
     xlr("transformer", 10e3, "between-legs"), lead(200.0), 0.0),
    ("5", 1, "rca-to-xlr/transformer", xlr("buffered", 10e3, "each-leg",
     ground=GroundPath(farad=10e-9)), lead(30.0), 0.0),
    ("3", 3, "xlr-to-xlr", xlr("buffered", 50e3, "each-leg", "open"), lead(10.0), 0.0),
]  # fmt: skip


def _source(name: str, seed: int) -> Source:
    """The stage as the simulator sees it at its terminals, without doubt."""
    truth = solve_truth(draw(name, seed), TONES.tolist())
    f = TONES.size
    voc, z = np.zeros((f, 3), complex), np.zeros((f, 3, 3), complex)
    voc[:, 0], voc[:, 1], voc[:, 2] = truth.hot, truth.cold, truth.single_ended
    names = ("hot", "cold", "single-ended")
    for i, row in enumerate(names):
        for j, column in enumerate(names):
            z[:, i, j] = truth.z[(row, column)]
    modal_voc, modal = voc.copy(), z.copy()
    modal_voc[:, 0], modal_voc[:, 1] = voc[:, 0] - voc[:, 1], (voc[:, 0] + voc[:, 1]) / 2.0
    hh, hc, ch, cc = z[:, 0, 0], z[:, 0, 1], z[:, 1, 0], z[:, 1, 1]
    modal[:, 0, 0] = truth.differential_impedance
    modal[:, 0, 1], modal[:, 1, 0] = (hh + hc - ch - cc) / 2.0, (hh - hc + ch - cc) / 2.0
    modal[:, 1, 1] = (hh + hc + ch + cc) / 4.0
    none_v, none_z = np.zeros((0, f, 3), complex), np.zeros((0, f, 3, 3), complex)
    return Source(TONES, modal_voc, modal, none_v, none_z, voc, z, none_v, none_z)


def _corners(hz: np.ndarray, level: np.ndarray) -> tuple[float | None, float | None]:
    """-3 dB points against 997 Hz by straight lines in dB over log f; None: not reached."""
    db = 20.0 * np.log10(np.abs(level) / np.abs(level[np.argmin(np.abs(hz - 997.0))]))
    limit, at = 20.0 * np.log10(0.5**0.5), int(np.argmin(np.abs(hz - 997.0)))
    found: list[float | None] = []
    for order in (range(at, 0, -1), range(at, hz.size - 1)):
        step = -1 if order.step < 0 else 1
        crossing = next((k for k in order if db[k] >= limit > db[k + step]), None)
        if crossing is None:
            found.append(None)
            continue
        t = (db[crossing] - limit) / (db[crossing] - db[crossing + step])
        found.append(
            float(np.exp(np.log(hz[crossing]) * (1 - t) + np.log(hz[crossing + step]) * t))
        )
    return found[0], found[1]


@pytest.mark.parametrize(
    ("name", "seed", "option", "socket", "cable", "mismatch"),
    CASES,
    ids=[f"{c[0]}-{c[1]}-{c[2]}-{i}" for i, c in enumerate(CASES)],
)
def test_connection_agrees_with_the_simulator(
    name: str, seed: int, option: str, socket: Input, cable: Cable, mismatch: float
) -> None:
    fine = np.unique(np.concatenate([[997.0], np.geomspace(20.0, 80000.0, 145)]))
    # source of every expected number: ngspice, netlist from tests/advice/connections.py
    heard = simulate(Connection(draw(name, seed), option, socket, cable, mismatch), fine.tolist())
    sampled = sample(_source(name, seed))
    response = solve_option(BY_ID[option], socket, socket.circuit, mismatch, cable, sampled)

    for hz in (20.0, 997.0, 19997.0, 80000.0):
        at, k = int(np.argmin(np.abs(sampled.hz - hz))), int(np.argmin(np.abs(fine - hz)))
        if abs(np.log(sampled.hz[at] / fine[k])) > 1e-2:
            continue
        got, true = abs(response.level[0, at]), abs(heard.level[k])
        assert 20.0 * np.log10(got / true) == pytest.approx(0.0, abs=0.1), hz

    found = figures(response, Scale(np.ones(1), np.ones(1)), None, None, None)
    low, high = _corners(fine, heard.level)
    for point, true in ((found.low_corner, low), (found.high_corner, high)):
        assert point is not None
        assert (point.bound is None) == (true is not None)
        if true is not None:
            assert point.value == pytest.approx(true, rel=0.02)
    if heard.tie is None:
        assert found.tie_current is None
    else:
        true = np.sqrt(2.0) * abs(heard.tie[np.argmin(np.abs(fine - 997.0))])
        assert found.tie_current is not None
        assert found.tie_current.value == pytest.approx(true, rel=0.01, abs=1e-9)


def test_every_option_is_compared_with_the_simulator() -> None:
    assert {case[2] for case in CASES} == set(BY_ID)
