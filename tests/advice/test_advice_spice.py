"""Complete connections against a circuit simulator: every option, most kinds of stage."""

from __future__ import annotations

import numpy as np
import pytest

from probe.advice.advise import BY_ID
from probe.advice.destination import Cable, GroundPath, Input
from probe.advice.figures import Scale, figures
from probe.advice.sampled import sample
from probe.advice.solve import solve_option
from tests.advice.connections import Connection, simulate
from tests.advice.truth_source import corners, source_of
from tests.spice import ngspice
from tests.spice.circuits import draw

pytestmark = [
    pytest.mark.spice,
    pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed"),
]


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
    ("1", 2, "rca-to-rca/transformer", rca(600.0), lead(100.0), 0.0),
    ("valve", 2, "rca-to-rca/transformer", rca(), lead(10.0), 0.0),
    ("1", 3, "xlr-to-xlr/transformer", xlr("difference-amplifier", 20e3, "each-leg"),
     lead(60.0), 0.02),
    ("5", 2, "xlr-to-xlr/transformer", xlr("buffered", 50e3, "each-leg"),
     lead(10.0), 0.0),
    ("2", 1, "xlr-to-xlr/transformer", xlr("transformer", 10e3, "between-legs"),
     lead(100.0), 0.0),
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "seed", "option", "socket", "cable", "mismatch"),
    CASES,
    ids=[f"{c[0]}-{c[1]}-{c[2]}-{i}" for i, c in enumerate(CASES)],
)
@pytest.mark.long
def test_connection_agrees_with_the_simulator(
    name: str, seed: int, option: str, socket: Input, cable: Cable, mismatch: float
) -> None:
    fine = np.unique(np.concatenate([[997.0], np.geomspace(20.0, 80000.0, 145)]))
    # source of every expected number: ngspice, netlist from tests/advice/connections.py
    heard = simulate(Connection(draw(name, seed), option, socket, cable, mismatch), fine.tolist())
    sampled = sample(source_of(name, seed))
    response = solve_option(BY_ID[option], socket, socket.circuit, mismatch, cable, sampled)

    for hz in (20.0, 997.0, 19997.0, 80000.0):
        at, k = int(np.argmin(np.abs(sampled.hz - hz))), int(np.argmin(np.abs(fine - hz)))
        if abs(np.log(sampled.hz[at] / fine[k])) > 1e-2:
            continue
        got, true = abs(response.level[0, at]), abs(heard.level[k])
        assert 20.0 * np.log10(got / true) == pytest.approx(0.0, abs=0.1), hz

    found = figures(response, Scale(np.ones(1), np.ones(1)), None, None)
    low, high = corners(fine, heard.level)
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
