"""From written recordings to advice: against the simulator, and the same from facts as from takes.

The stage is solved by ngspice with the bench's loads in the netlist and written as audio files;
those are analysed; the advice is compared with ngspice solving the whole connection.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from probe.advice.advise import ask
from probe.advice.destination import Cable, Destination, Input
from probe.advice.wiring import OPTIONS
from probe.cli.main import main
from probe.facts import analyse_session, read_facts, source_from_facts, to_json
from tests.advice.connections import Connection, simulate
from tests.spice import ngspice
from tests.spice.circuits import draw
from tests.spice.sessions import Written, make_session

pytestmark = [
    pytest.mark.spice,
    pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed"),
]

RCA = Input("rca input", "rca", "single-ended", 22e3)
XLR = Input("xlr input", "xlr", "balanced", 20e3, circuit="difference-amplifier",
            impedance_is="each-leg")  # fmt: skip
LEAD = Cable(10.0, 1e-9, 0.3, 0.02)


def _session(folder: Path, name: str, **more: Any) -> Written:
    return make_session(folder / "session", draw(name, 1), seconds=(1.0, 1.5), **more)


def _long(*values: str) -> Any:
    """Return rows of a table that only the long pass recomputes."""
    return pytest.param(*values, marks=pytest.mark.long)


@pytest.mark.parametrize("name", ["3", "5", "9", _long("1"), _long("3b"), _long("4")])
@pytest.mark.long
def test_advice_from_recordings_agrees_with_the_simulator(name: str, tmp_path: Path) -> None:
    written = _session(tmp_path, name)
    facts = analyse_session(written.folder, draws=400)
    (side,) = facts["sides"]
    source = source_from_facts(facts, side)
    assert source is not None
    advice = ask(facts, {side: source}, Destination("amp", (RCA, XLR), LEAD))
    # every way that joins an XLR and an RCA output to an XLR and an RCA input
    assert {o.option.id for o in advice.options} == {option.id for option in OPTIONS}
    hz = 997.1
    for option in advice.options:
        socket = RCA if option.option.to == "rca" else XLR
        connection = Connection(written.circuit, option.option.id, socket, LEAD)
        # source of the expected numbers: ngspice, netlist from tests/advice/connections.py
        true = simulate(connection, [hz, 19777.7])
        level = option.figures.level
        assert level is not None, option.option.id
        expected = abs(true.level[0]) * written.drive_volts
        assert level.at_hz == pytest.approx(hz)
        assert 20.0 * np.log10(level.value / expected) == pytest.approx(0.0, abs=0.1)
        # the recorder's scale is declared to 0.5 %: what it allows is in the interval
        assert level.low <= expected <= level.high
        loss = option.figures.loss_at_20_khz
        assert loss is not None
        expected = -20.0 * np.log10(abs(true.level[1] / true.level[0]))
        assert loss.value == pytest.approx(expected, abs=0.1)
        tie = option.figures.tie_current
        if tie is not None:
            # at the assumed 10 V: the drive that gives it is the simulator's, too
            scale = 10.0 / abs(written.truth.at(written.truth.differential, hz))
            expected = 2**0.5 * abs(true.tie[0]) * scale
            assert tie.value == pytest.approx(expected, rel=0.01, abs=2e-5)


@pytest.mark.parametrize(
    "takes",
    [
        "loads",
        *(pytest.param(t, marks=pytest.mark.long) for t in ("full", "open and single-ended")),
    ],
)
@pytest.mark.long
def test_a_facts_file_gives_the_same_answer_as_its_session(
    takes: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    written = _session(tmp_path, "3", takes=takes)
    amp, saved = tmp_path / "amp.toml", tmp_path / "facts.json"
    amp.write_text('format = "probe-destination/1"\n[[input]]\nconnector = "rca"\n')
    saved.write_text(to_json(analyse_session(written.folder)))
    answers = []
    for subject in (written.folder, written.folder / "session.toml", saved):
        assert main(["advise", str(subject), str(amp), "--json"]) == 0
        answers.append(json.loads(capsys.readouterr().out))
    assert answers[0] == answers[1] == answers[2]
    assert read_facts(saved)["sides"]


@pytest.mark.parametrize(
    ("name", "takes"),
    [
        ("1", "open only"), ("1", "loads"), ("3", "injections"), ("9", "cold only"),
        _long("4", "open and single-ended"), _long("7", "loads"), _long("3", "loads"),
        _long("5", "loads"), _long("9", "loads"), _long("4", "injections"),
        _long("7", "injections"), _long("5", "cold only"),
    ],
)  # fmt: skip
@pytest.mark.long
def test_few_takes_never_give_a_level_that_is_wrong(name: str, takes: str, tmp_path: Path) -> None:
    written = _session(tmp_path, name, takes=takes)
    facts = analyse_session(written.folder, draws=400)
    (side,) = facts["sides"]
    source = source_from_facts(facts, side)
    sources = {} if source is None else {side: source}
    advice = ask(facts, sources, Destination("amp", (RCA, XLR), LEAD))
    for option in advice.options:
        level = option.figures.level
        if level is None:
            assert option.verdict == "cannot-tell", option.option.id
            continue
        socket = RCA if option.option.to == "rca" else XLR
        connection = Connection(written.circuit, option.option.id, socket, LEAD)
        # ngspice, netlist from tests/advice/connections.py; 1 % beyond the 95 % interval
        expected = abs(simulate(connection, [997.1]).level[0]) * written.drive_volts
        assert 0.99 * level.low <= expected <= 1.01 * level.high, option.option.id
