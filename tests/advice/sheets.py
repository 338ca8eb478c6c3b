"""Data sheets and amplifiers that more than one test connects, as their files are typed."""

from __future__ import annotations

from pathlib import Path

from probe.advice.advise import advise
from probe.advice.destination import read_destination
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.typed import changed

DESK = """
format = "probe-source/1"
kinds = ["impedance-balanced"]
differential_level_v = 1.228
differential_maximum_v = 9.76
differential_impedance_ohm = 150.0
[device]
maker = "Corrin"
model = "Desk 12"
output = "line"
connectors = ["xlr"]
"""

PLAYER = """
format = "probe-source/1"
single_ended_level_v = 2.0
single_ended_impedance_ohm = 300.0
[device]
output = "line"
connectors = ["rca"]
"""


def amplifier(volts: float) -> str:
    """One box with both inputs; ``volts`` between pins 2 and 3 for full output."""
    return f"""
format = "probe-destination/1"
name = "power amplifier"
[[input]]
connector = "rca"
impedance_ohm = 47000.0
sensitivity_v = 1.0
[[input]]
connector = "xlr"
impedance_ohm = 10000.0
impedance_is = "each-leg"
sensitivity_v = {volts}
rejection_db = 60.0
[cable]
length_m = 1.0
[ground]
difference_mv = 20.0
across_mv = 16.0
through_ohm = 1.0
"""


def from_files(folder: Path, sheet: str, into: str, level: str | None = None) -> Advice:
    """Write both files into ``folder`` and return what is advised; ``level`` as ``--level``."""
    source, there = folder / "source.toml", folder / "amplifier.toml"
    source.write_text(sheet, "utf-8")
    there.write_text(into, "utf-8")
    return advise(*read_source(source), changed(read_destination(there), level=level))
