"""Attenuators in the plug and transformers of the library against a circuit simulator."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from probe.advice import parts
from probe.advice.advise import BY_ID
from probe.advice.attenuator import Pad, design
from probe.advice.destination import Input
from probe.advice.network import TwoPort
from probe.advice.padded import across_ohm, source_ohm
from probe.advice.sampled import sample
from probe.advice.solve import solve_option
from probe.advice.transformers import library, read_transformer
from tests.advice import connections
from tests.advice.connections import Connection
from tests.advice.test_advice_spice import lead, rca, xlr
from tests.advice.truth_source import TONES, source_of
from tests.spice import ngspice
from tests.spice.circuits import draw

pytestmark = [
    pytest.mark.spice,
    pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed"),
]

AT = (20.0, 997.0, 19997.0)


def padded_lead(lines: list[str], pad: Pad) -> list[str]:
    """Netlist of a lead with resistors between its end (k2, k3) and the input (i2, i3)."""
    ended = [re.sub(r"\bi([23])\b", r"k\1", line) for line in lines]
    ended.append(f"rpa k2 i2 {pad.series_ohm!r}")
    if pad.balanced:
        return [*ended, f"rpb k3 i3 {pad.series_ohm!r}", f"rpp i2 i3 {pad.shunt_ohm!r}"]
    plain = ["rpb k3 i3 1u"] if any(" k3 " in f"{line} " for line in ended) else []
    return [*ended, *plain, f"rpp i2 g {pad.shunt_ohm!r}"]


def heard(
    monkeypatch: pytest.MonkeyPatch, connection: Connection, pad: Pad | None, part: TwoPort | None
) -> np.ndarray:
    """Level at the input for 1 V of drive, by the simulator."""
    plain = connections.lead_lines
    with monkeypatch.context() as patch:
        if pad is not None:
            patch.setattr(
                connections, "lead_lines",
                lambda c: padded_lead(plain(c), pad),
            )  # fmt: skip
        if part is not None:
            patch.setattr(parts, "ISOLATING_TRANSFORMER", part)
        return np.abs(connections.simulate(connection, AT).level)


def solved(connection: Connection, stage: str, seed: int, **fitted: object) -> np.ndarray:
    sampled = sample(source_of(stage, seed))
    option = replace(BY_ID[connection.option], **fitted)  # type: ignore[arg-type]
    socket = connection.socket
    found = solve_option(
        option, socket, socket.circuit, connection.mismatch, connection.cable, sampled
    )
    at = [int(np.argmin(np.abs(sampled.hz - hz))) for hz in AT]
    return np.abs(found.level[0, at])


BUFFERED = xlr("buffered", 20e3, "each-leg")
AMPLIFIER = xlr("difference-amplifier", 20e3, "each-leg")
WINDING = xlr("transformer", 12e3, "between-legs")

PADDED: list[tuple[str, int, str, Input, float]] = [
    ("1", 1, "rca-to-rca", rca(), 9.0),
    ("1", 2, "xlr-to-rca/pin-3-open", rca(10e3), 14.0),
    ("1", 1, "xlr-to-xlr", BUFFERED, 12.0),
    ("2", 1, "xlr-to-xlr", AMPLIFIER, 6.0),
    ("3", 1, "xlr-to-rca/pin-3-tied-at-source", rca(), 20.0),
    ("4", 2, "xlr-to-rca/pin-3-tied-at-destination", rca(22e3), 10.0),
    ("4", 1, "xlr-to-xlr", WINDING, 10.0),
    ("5", 1, "xlr-to-xlr", AMPLIFIER, 26.0),
    ("valve", 1, "rca-to-rca", rca(22e3), 10.0),
    ("valve", 2, "rca-to-xlr/pin-3-tied-at-source", BUFFERED, 8.0),
    ("1", 1, "rca-to-xlr/pin-3-tied-at-destination", BUFFERED, 6.0),
    ("2", 2, "rca-to-xlr/transformer", BUFFERED, 6.0),
    ("3", 2, "xlr-to-rca/transformer", rca(), 12.0),
    ("valve", 1, "rca-to-rca/transformer", rca(), 12.0),
    ("6", 1, "xlr-to-rca/pin-3-tied-at-destination", rca(), 40.0),
]


@pytest.mark.parametrize(("stage", "seed", "option", "socket", "wanted"), PADDED)
@pytest.mark.long
def test_attenuation_in_the_plug(
    monkeypatch: pytest.MonkeyPatch,
    stage: str, seed: int, option: str, socket: Input, wanted: float,
) -> None:  # fmt: skip
    connection = Connection(draw(stage, seed), option, socket, lead(3.0))
    plain = BY_ID[option]
    load = across_ohm(plain, socket)
    both = option in ("xlr-to-xlr", "rca-to-xlr/pin-3-tied-at-source", "rca-to-xlr/transformer")
    bare = solved(connection, stage, seed)
    trial = design(wanted, 0.0, load, balanced=both, series="E96").pad
    fall = 20.0 * np.log10(bare[1] / solved(connection, stage, seed, pad=trial)[1])
    source = source_ohm(trial, load, float(fall))
    pad = design(wanted, source, load, balanced=both, series="E96").pad
    got = solved(connection, stage, seed, pad=pad)
    # source: ngspice, the resistors written into the netlist of the connection
    true = heard(monkeypatch, connection, pad, None)
    assert 20.0 * np.log10(got / true) == pytest.approx(np.zeros(3), abs=0.1)
    truly = 20.0 * np.log10(heard(monkeypatch, connection, None, None)[1] / true[1])
    # source: the same two simulations; the values of E96 come within 0.1 dB
    assert truly == pytest.approx(wanted, abs=0.15)


@pytest.mark.parametrize("name", sorted(library()))
@pytest.mark.parametrize(
    ("stage", "option", "socket"),
    [
        ("1", "xlr-to-rca/transformer", rca()),
        ("1", "rca-to-xlr/transformer", BUFFERED),
        ("valve", "rca-to-rca/transformer", rca()),
    ],
)
def test_transformers_of_the_library(
    monkeypatch: pytest.MonkeyPatch, name: str, stage: str, option: str, socket: Input
) -> None:
    part = read_transformer(library()[name])
    connection = Connection(draw(stage, 1), option, socket, lead(5.0))
    got = solved(connection, stage, 1, part=part)
    # source: ngspice, the transformer as coupled inductors with its windings and capacitances
    true = heard(monkeypatch, connection, None, part)
    assert 20.0 * np.log10(got / true) == pytest.approx(np.zeros(3), abs=0.05)


def test_the_tones_reach_the_frequencies_compared() -> None:
    assert set(AT) <= set(TONES.tolist())
