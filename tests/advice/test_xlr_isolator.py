"""The isolator in an XLR lead: for a receiver that rejects too little, or grounds pin 3 inside.

Who loses it where these fail: a customer whose balanced link hums is told that nothing helps, or
buys an isolator that the circuit does not ask for.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.basket import lists
from probe.advice.destination import Cable, Destination, Input
from probe.advice.ground import HARMONICS, GroundPath, of_preset
from probe.advice.hum import hum_of
from probe.advice.model import Advice
from probe.advice.operating import BY_ID
from probe.advice.sampled import sample
from probe.advice.shelf import TEMPLATE, read_shelf
from probe.advice.solve import solve_option
from probe.report.plugs import described, drawn_of
from tests.advice.connections import Connection, simulate_hum
from tests.advice.stages import facts, symmetrical
from tests.advice.truth_source import source_of
from tests.spice import ngspice
from tests.spice.circuits import draw

ISOLATED = "xlr-to-xlr/transformer"
POOR = Input("xlr", "xlr", "balanced", 20e3, circuit="difference-amplifier", mismatch=0.04,
             impedance_is="each-leg", rejection_db=34.0, sensitivity_volts=2.0)  # fmt: skip
LEAD = Cable(20.0, 2e-9, 0.6, 0.02)


def asked(socket: Input = POOR, preset: str = "two-rooms", **more: Any) -> Advice:
    destination = Destination("amp", (replace(socket, ground=of_preset(preset)),), LEAD, **more)
    document = facts(device={"full_output_volts": 4.0}, connectors=("xlr",))
    return advise(document, {"left": symmetrical()}, destination)


def test_heavy_hum_in_a_poor_balanced_input_is_isolated() -> None:
    # closed form: 100 mV across 1 ohm and 0.62 ohm of shield are 38 mV; resistors of 1 % leave
    # 34 dB of it, 0.76 mV, 68 dB below 2 V: heard
    advice = asked()
    held = {o.option.id: o for o in advice.options}
    assert held["xlr-to-xlr"].verdict == "avoid"
    hum = held["xlr-to-xlr"].figures.hum_below_full_output_db
    assert hum is not None
    assert hum.value == pytest.approx(68.0, abs=1.0)
    assert advice.chosen == ISOLATED
    # closed form: of what 2 * 20 pF carry into 20 kohm 34 dB more are rejected
    quiet = held[ISOLATED].figures.hum_below_full_output_db
    assert quiet is not None
    assert quiet.low > 110.0


def test_a_lead_that_does_is_not_isolated_and_the_cure_is_named() -> None:
    # closed form: 50 mV across 2 ohm and 0.62 ohm of shield are 11.8 mV, and 34 dB less 0.24 mV:
    # 78.6 dB below 2 V, heard close to the loudspeaker at most
    advice = asked(replace(POOR, ground=GroundPath(None)), preset="antenna-or-network")
    assert advice.chosen == "xlr-to-xlr"
    # what is done where the current comes in is no way to connect, and stands before
    assert [(c.code, c.option) for c in advice.cures] == [
        ("at-origin", None), ("isolating-transformer", ISOLATED)
    ]  # fmt: skip
    good = replace(POOR, rejection_db=80.0, mismatch=0.001)
    assert asked(good).chosen == "xlr-to-xlr"
    assert asked(good, preset="same-strip").cures == ()


def test_pin_3_grounded_inside_is_kept_from_the_output() -> None:
    # closed form: 4 V of which half stands on a shorted leg of 50 ohm: 57 mA peak; no lead does it,
    # and behind a winding pin 3 of the device meets no ground
    advice = asked(replace(POOR, pin_3="ground"), preset="same-strip")
    held = {o.option.id: o for o in advice.options}
    assert held["xlr-to-xlr"].verdict == "never"
    assert held[ISOLATED].verdict == "use"
    assert held[ISOLATED].figures.tie_current is None


def test_from_the_shelf_and_as_a_drawing(tmp_path: Path) -> None:
    path = tmp_path / "shelf.toml"
    path.write_text(TEMPLATE.replace("length_m = 5.0", "length_m = 1.0", 1))
    advice = asked()
    destination = Destination("amp", (replace(POOR, ground=of_preset("two-rooms")),),
                              replace(LEAD, length_m=1.0))  # fmt: skip
    (basket,) = lists(advice, destination, read_shelf(path)).own
    # wiring: outputs are male, inputs female, at the isolator too: its end goes into the amplifier
    # by itself: a short lead for it would be bought for nothing
    assert [(t.part.kind, t.part.from_, t.part.to) for t in basket.taken] == [
        ("lead", "xlr-female", "xlr-male"), ("transformer", "xlr-female", "xlr-male"),
    ]  # fmt: skip
    assert any("one in a case with sockets wants a short XLR lead" in line for line in basket.says)
    (option,) = [o.to_json() for o in advice.options if o.option.id == ISOLATED]
    told = described(drawn_of(option, with_pad=False))
    assert "pins 2 and 3 at the device to one side of an isolating transformer" in told
    assert "pin 1 at the device to pin 1" not in told


@pytest.mark.parametrize(("rejection", "offered"), [(34.0, True), (70.0, True)])
def test_an_input_that_rejects_little_is_no_transformer(rejection: float, offered: bool) -> None:
    """Or the isolator is refused for the sake of an input that nobody builds."""
    socket = replace(POOR, circuit="unknown", rejection_db=rejection)
    advice = asked(socket, preset="computer")
    (option,) = [o for o in advice.options if o.option.id == ISOLATED]
    # common practice, no source: an input transformer rejects 85 dB of mains hum and more
    assert any("is no transformer" in r for r in option.reasons) == (rejection < 60.0)
    assert (option.verdict in ("works", "use")) == offered


@pytest.mark.spice
@pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed")
@pytest.mark.parametrize(
    ("stage", "circuit", "ground"),
    [
        ("1", "difference-amplifier", GroundPath(0.1, ohm=1.0)),
        ("5", "buffered", GroundPath(115.0, farad=4.7e-9)),
        ("2", "transformer", GroundPath(0.5, ohm=2.0)),
    ],
)
def test_hum_agrees_with_the_simulator(stage: str, circuit: Any, ground: GroundPath) -> None:
    socket = replace(POOR, circuit=circuit, ground=ground, rejection_db=300.0)
    source = sample(source_of(stage, 1))
    response = solve_option(BY_ID[ISOLATED], socket, circuit, 0.04, LEAD, source)
    found = hum_of(response, socket, 50.0)
    assert found is not None
    hz = [n * 50.0 for n in HARMONICS]
    # source of every expected number: ngspice, netlist from tests/advice/connections.py
    true = simulate_hum(Connection(draw(stage, 1), ISOLATED, socket, LEAD, 0.04), hz)
    lines = np.abs(true.heard) * ground.difference_volts * np.array(list(HARMONICS.values()))
    for line, expected in zip(found.lines, lines, strict=True):
        assert 20.0 * np.log10(line.value / expected) == pytest.approx(0.0, abs=0.5)
