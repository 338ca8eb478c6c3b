"""An isolating transformer in an RCA lead: an option like the others, chosen where no lead does."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from probe.advice.advise import BY_ID, advise
from probe.advice.basket import lists
from probe.advice.destination import Cable, Destination, Input, together
from probe.advice.ground import HARMONICS, GroundPath, of_preset
from probe.advice.hum import hum_of
from probe.advice.model import Advice
from probe.advice.sampled import sample
from probe.advice.shelf import TEMPLATE, read_shelf
from probe.advice.solve import solve_option
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.report.plugs import described, drawn_of
from tests.advice.connections import Connection, simulate_hum
from tests.advice.stages import facts, symmetrical
from tests.advice.truth_source import source_of
from tests.spice import ngspice
from tests.spice.circuits import draw

ISOLATED = "rca-to-rca/transformer"
RCA = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.0)
LEAD = Cable(4.0, 4e-10, 0.12, 0.02)


def asked(ground: str | GroundPath, **more: object) -> Advice:
    path = of_preset(ground) if isinstance(ground, str) else ground
    destination = Destination("amp", (replace(RCA, ground=path),), LEAD, **more)  # type: ignore[arg-type]
    return advise(facts("unbalanced", driven="one-leg", connectors=("rca",)),
                  {"left": symmetrical()}, destination)  # fmt: skip


def test_heavy_hum_between_rca_sockets_is_isolated() -> None:
    # closed form: 100 mV across 1 ohm and 0.14 ohm of shield leave 12 mV, 38 dB below 1 V: loud
    advice = asked("two-rooms")
    held = {o.option.id: o for o in advice.options}
    assert held["rca-to-rca"].verdict == "avoid"
    assert advice.chosen == ISOLATED
    # closed form: 100 mV drive 2 * pi * 50 Hz * 2 * 20 pF through about 100 ohm: 0.1 uV, and less
    hum = held[ISOLATED].figures.hum_below_full_output_db
    assert hum is not None
    assert hum.low > 120.0


@pytest.mark.parametrize("ground", ["same-strip", GroundPath(1e-3, ohm=1.0)])
def test_a_lead_that_does_is_not_isolated(ground: str | GroundPath) -> None:
    # common practice, no source: no part is bought against a hum that is heard close to the
    # loudspeaker at most; closed form: 0.2 mV * 0.14 / 0.34, 82 dB below 1 V, and 78 dB
    advice = asked(ground)
    assert advice.chosen == "rca-to-rca"
    assert [c.option for c in advice.cures] == [ISOLATED]


BOTH_OUTPUTS = """format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 4.0
single_ended_level_v = 2.0
differential_impedance_ohm = 66.0
single_ended_impedance_ohm = 33.0
[device]
kind = "streamer with volume control"
output = "line"
connectors = ["xlr", "rca"]
"""


@pytest.mark.parametrize("gain", [0.0, -1.0])
def test_an_isolator_joins_the_sockets_both_ends_have(tmp_path: Path, gain: float) -> None:
    """Or who has hum pays for 6 dB nobody wants, a core twice as large and a pad against both."""
    path = tmp_path / "source.toml"
    path.write_text(BOTH_OUTPUTS)
    to = changed(typed_destination("rca:47k:1V", 50.0), ground="computer", cable="1.5m")
    advice = advise(*read_source(path), replace(to, wanted_gain_db=gain))
    held = {o.option.id: o for o in advice.options}
    # closed form: 10 mV * 0.085 / 0.585 ohm, 57 dB below 1 V: both leads are heard
    assert held["rca-to-rca"].verdict == held["xlr-to-rca/pin-3-open"].verdict == "avoid"
    # closed form: windings of 120 ohm into 47 kohm take 0.02 dB of the RCA link; the pair has twice
    # its volts. docs/advice.md: more level than is wanted buys nothing, then the connector that
    # both ends already have
    assert held[ISOLATED].figures.level_vs_reference_db is not None
    assert held[ISOLATED].figures.level_vs_reference_db.value == pytest.approx(-0.02, abs=0.02)
    assert advice.chosen == ISOLATED
    assert not any(o.verdict == "use" and o.used is not o for o in advice.options)
    # the sheet: 2 V with the 5 % of a level; parts in steps of 0.5 V
    assert held[ISOLATED].part_needed.volts_at_20_hz == 2.5


def test_wanted_gain_still_takes_the_pair(tmp_path: Path) -> None:
    path = tmp_path / "source.toml"
    path.write_text(BOTH_OUTPUTS)
    to = changed(typed_destination("rca:47k:1V", 50.0), ground="computer", cable="1.5m")
    # closed form: the pair has twice the volts of the RCA output, 6 dB
    advice = advise(*read_source(path), replace(to, wanted_gain_db=5.0))
    assert advice.chosen == "xlr-to-rca/transformer"


def test_an_isolator_leaves_the_xlr_to_the_box_that_has_one(tmp_path: Path) -> None:
    """Outputs were crossed: an isolator on the XLR, and an XLR subwoofer fed from the RCA."""
    path = tmp_path / "source.toml"
    path.write_text(BOTH_OUTPUTS)
    boxes = together([typed_destination("rca:47k:1V", 50.0),
                      typed_destination("xlr:10k/leg:1V:sub", 50.0)])  # fmt: skip
    advice = advise(*read_source(path), changed(boxes, ground="computer", cable="2m"))
    # common practice, no source: each box from the socket of its own kind, where both do
    assert [c.option for c in advice.choices] == [ISOLATED, "xlr-to-xlr"]


def test_from_the_shelf_with_the_right_plugs(tmp_path: Path) -> None:
    shelf = tmp_path / "shelf.toml"
    shelf.write_text(TEMPLATE)
    advice = asked("two-rooms")
    destination = Destination("amp", (replace(RCA, ground=of_preset("two-rooms")),), replace(
        LEAD, length_m=1.0))  # fmt: skip
    (basket,) = lists(advice, destination, read_shelf(shelf)).own
    # wiring: RCA plugs into the device and the amplifier, the isolator's sockets between two leads
    assert [(t.part.kind, t.part.from_, t.part.to) for t in basket.taken] == [
        ("lead", "rca-male", "rca-male"), ("transformer", "rca-female", "rca-female"),
        ("lead", "rca-male", "rca-male"),
    ]  # fmt: skip
    assert not basket.missing


def test_the_drawing_says_that_the_shells_are_not_joined() -> None:
    (option,) = [o.to_json() for o in asked("two-rooms").options if o.option.id == ISOLATED]
    told = described(drawn_of(option, with_pad=False))
    assert "the grounds of the two sides are not joined" in told
    assert "shell at the device to shell" not in told


@pytest.mark.spice
@pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed")
@pytest.mark.parametrize(
    ("stage", "ground"),
    [("1", GroundPath(0.1, ohm=1.0)), ("valve", GroundPath(115.0, farad=4.7e-9))],
)
def test_hum_agrees_with_the_simulator(stage: str, ground: GroundPath) -> None:
    socket = replace(RCA, ground=ground)
    source = sample(source_of(stage, 1))
    response = solve_option(BY_ID[ISOLATED], socket, "unknown", 0.0, LEAD, source)
    found = hum_of(response, socket, 50.0)
    assert found is not None
    hz = [n * 50.0 for n in HARMONICS]
    # source of every expected number: ngspice, netlist from tests/advice/connections.py
    true = simulate_hum(Connection(draw(stage, 1), ISOLATED, socket, LEAD), hz)
    lines = np.abs(true.heard) * ground.difference_volts * np.array(list(HARMONICS.values()))
    for line, expected in zip(found.lines, lines, strict=True):
        assert 20.0 * np.log10(line.value / expected) == pytest.approx(0.0, abs=0.5)
