"""A session of both sides, simulated, measured by the tool, held against a data sheet."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.facts import analyse_session
from probe.simulate.build import read_stage
from probe.simulate.write import simulate
from probe.verify import read_specification, verify

STAGE = """\
format = "probe-stage/1"
circuit = "core-and-inverter"
seed = 71
sides = ["left", "right"]
phase = "none"
seconds = 0.8
takes = ["open", "load-hot", "load-cold", "second-open", "other-side"]
[device]
maker = "Larkrise"
model = "Stile Two"
serial = "LT-0007"
connectors = ["xlr"]
[side.right]
parts = { R_COLD = 1.0e3 }
[side_crosstalk]
db = -72.0
corner_hz = 0.0
[bench]
repeatability_db = 0.005
[truth]
drift_db = 0.001
[[truth.input]]
noise_nv = 20.0
"""

LINE = '[[line]]\nquantity = "{}"\nunit = "dB"\nat_most = {}\ncondition = {{ volume = "any"{} }}\n'


@pytest.mark.long
def test_crosstalk_and_balance_of_a_measured_pair(tmp_path: Path) -> None:
    (tmp_path / "stage.toml").write_text(STAGE, "utf-8")
    simulate(read_stage(tmp_path / "stage.toml"), tmp_path / "session")
    facts = analyse_session(tmp_path / "session")
    lines = (
        # the circuit: crosstalk of -72 dB at every tone, both ways
        ("crosstalk", -71.5, "", "meets"),
        ("crosstalk", -72.5, "", "fails"),
        ("crosstalk", -71.5, ", at_hz = 12437.0", "meets"),
        ("crosstalk", -71.5, ", at_hz = 9000.0", "not-comparable"),
        # closed form: a build-out resistor does not change an open-circuit level
        ("channel-balance", 0.1, "", "meets"),
        ("channel-balance", 0.01, "", "cannot-tell"),
    )
    text = "".join(LINE.format(*line[:3]) for line in lines)
    path = tmp_path / "spec.toml"
    path.write_text(f'format = "probe-specification/1"\n{text}', "utf-8")
    found = verify(facts, read_specification(path))
    assert [line.side for line in found.lines] == [None] * len(lines)
    assert [line.outcome for line in found.lines] == [line[3] for line in lines]
    assert "channel-match" in found.lines[-1].settled_by[0]
    # the two cold legs differ tenfold: a part unlike its twin, on the right
    assert ("part-unlike-its-twin", "right") in [(f.code, f.side) for f in found.faults]
    assert not found.sound
