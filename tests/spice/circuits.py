"""The circuits of ``netlists/`` with their part values, nominal or drawn from their spread."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

from .ngspice import NETLISTS

_MULTIPLIERS = {
    "": 1.0, "g": 1e9, "meg": 1e6, "k": 1e3, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12,
}  # fmt: skip

# The table of output stages first, then circuits that stand in no table.
TABLE = (
    "1", "1b", "2", "3", "3b", "4", "4b", "5", "5b", "6", "7",
    "8a", "8a2", "8a3", "8b", "8c", "8d", "8e", "8f", "9",
)  # fmt: skip
EXTRA = (
    "relay1k", "unequal", "servo98", "valve", "hotdead", "driedhot", "ibswapped", "gsswapped",
    "shared", "weakcold",
)  # fmt: skip
ALL = (*TABLE, *EXTRA)


@dataclass(frozen=True)
class Circuit:
    """A netlist by name with overridden part values (SI)."""

    name: str
    parts: dict[str, float] = field(default_factory=dict)

    @property
    def source(self) -> str:
        """What to cite beside a number this circuit produced."""
        return f"ngspice, netlist tests/spice/netlists/{self.name}.cir"

    def includes(self) -> str:
        """Netlist lines that define the subcircuit ``stage``."""
        return f".include {NETLISTS / 'opamp.cir'}\n.include {NETLISTS / (self.name + '.cir')}"

    def instance(self, label: str, drive: str, hot: str, cold: str, rca: str) -> str:
        """One copy of the stage between the given nodes."""
        parts = "".join(f" {name}={value!r}" for name, value in sorted(self.parts.items()))
        return f"X{label} {drive} {hot} {cold} {rca} stage{parts}"


def nominal(name: str) -> Circuit:
    """The circuit with the part values of its file."""
    return Circuit(name)


def draw(name: str, seed: int) -> Circuit:
    """The circuit with parts drawn from the spread its file states; seed 0 is nominal.

    Normal about the nominal value with 0.45 of the stated spread as its standard deviation,
    cut off just inside the spread: sorted parts.
    """
    if seed == 0:
        return nominal(name)
    rng = np.random.default_rng([seed, *name.encode()])
    text = (NETLISTS / f"{name}.cir").read_text()
    values = _nominal_values(text)
    parts = {}
    for part, percent in _spreads(text).items():
        error = np.clip(rng.normal(0.0, 0.45), -0.95, 0.95)
        parts[part] = float(values[part] * (1.0 + error * percent / 100.0))
    return Circuit(name, parts)


def _nominal_values(text: str) -> dict[str, float]:
    head = re.search(r"^\.subckt stage.*?params:(.*(?:\n\+.*)*)", text, re.M)
    if head is None:
        raise ValueError("no .subckt stage with params in the netlist")
    return {
        name: float(number) * _MULTIPLIERS[suffix]
        for name, number, suffix in re.findall(r"(\w+)=([0-9.]+)([a-z]*)", head.group(1))
    }


def _spreads(text: str) -> dict[str, float]:
    line = re.search(r"^\* spread:(.*)$", text, re.M)
    if line is None:
        raise ValueError("no spread line in the netlist")
    return {name: float(p) for name, p in re.findall(r"(\w+)=([0-9.]+)%", line.group(1))}
