"""The specification file: what a maker states, with conditions and limits, or as typical.

Format word ``probe-specification/1``. Nothing is filled in for the maker: a condition that the
data sheet leaves out stays out, and where it could mean two things both are tried.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from probe.errors import BadInput
from probe.formats.kinds import kind_meant
from probe.formats.text import one_of, shown_path
from probe.formats.toml import OneLine, Table, complaint, read_toml
from probe.verify.quantities import AMBIGUOUS, QUANTITIES, WEIGHTED, Quantity

FORMAT = "probe-specification/1"

MOST_LINES = 200

Name = Literal[
    "balanced-level", "single-ended-level", "balanced-maximum", "single-ended-maximum",
    "balanced-impedance", "single-ended-impedance", "balanced-gain", "single-ended-gain",
    "gain-difference", "output-common-mode-rejection", "signal-balance", "balanced-noise",
    "single-ended-noise", "balanced-thd", "single-ended-thd", "balanced-thd-n",
    "single-ended-thd-n", "balanced-low-corner", "balanced-high-corner",
    "single-ended-low-corner", "single-ended-high-corner", "channel-balance",
    "single-ended-channel-balance", "crosstalk", "direct-voltage", "polarity", "kind",
]  # fmt: skip
Unit = Literal[
    "V", "mV", "uV", "dBu", "dBV", "dBm", "ohm", "kohm", "dB", "percent", "Hz", "kHz"
]  # fmt: skip
Positive = Annotated[float, Field(gt=0.0, le=1e9)]
Figure = Annotated[float, Field(ge=-1e9, le=1e9)]
Says = Literal[
    "pin-2-hot", "pin-3-hot", "differential", "electronically-floating", "transformer-coupled",
    "ground-sensing", "impedance-balanced", "unbalanced", "both-legs-driven", "one-leg-driven",
]  # fmt: skip
POLARITIES = ("pin-2-hot", "pin-3-hot")


class ConditionTable(Table):
    """Under which conditions the maker's figure holds, as far as the maker says."""

    volume: OneLine | None = None
    drive_v: Positive | None = None
    drive_dbfs: Annotated[float, Field(ge=-200.0, le=20.0)] | None = None
    into_ohm: Positive | None = None
    into: Literal["between-legs", "each-leg"] | None = None
    at_hz: Positive | None = None
    level_v: Positive | None = None


class LineTable(Table):
    """One ``[[line]]``: a quantity with limits, a typical figure, or a word."""

    quantity: Name
    unit: Unit | None = None
    at_least: Figure | None = None
    at_most: Figure | None = None
    typical: Figure | None = None
    tolerance: Annotated[float, Field(gt=0.0, le=1e9)] | None = None
    says: Annotated[Says, BeforeValidator(kind_meant)] | None = None
    per: Literal["between-legs", "each-leg"] | None = None
    weighting: Literal["none", "a"] = "none"
    condition: ConditionTable = ConditionTable()
    note: OneLine = ""


class DeviceTable(Table):
    """Which device the specification belongs to."""

    maker: OneLine
    model: OneLine


class SpecificationFile(Table):
    """The file as written."""

    name: OneLine = ""
    stated_in: OneLine = ""
    device: DeviceTable | None = None
    line: Annotated[tuple[LineTable, ...], Field(max_length=MOST_LINES)]


def read_specification(path: str | Path) -> SpecificationFile:
    """Read and check a specification file.

    Raises
    ------
    BadInput
        As `read_toml`, and for a line that states nothing, or what cannot go together.
    """
    path = Path(path)
    written = read_toml(path, SpecificationFile, format_word=FORMAT)
    if not written.line:
        raise BadInput(
            f"{shown_path(path)}: no [[line]]; at least one is needed, "
            "probe verify --template prints some to fill in"
        )
    for at, line in enumerate(written.line):
        wrong = line_complaint(line)
        if wrong is not None:
            key, what = wrong
            raise complaint(path, ("line", at, key) if key else ("line", at), what)
    return written


def line_complaint(line: LineTable) -> tuple[str, str] | None:
    """Return the key and what is wrong with a line, None where nothing is."""
    quantity = QUANTITIES[line.quantity]
    if quantity.about == "word":
        return _word_complaint(line)
    stated = [n for n in ("at_least", "at_most", "typical") if getattr(line, n) is not None]
    if line.says is not None:
        return "says", f"{line.quantity} is a figure: state at_least, at_most or typical"
    if not stated:
        return "", "states nothing: give at_least, at_most or typical"
    if line.unit is None or line.unit not in quantity.units:
        return "unit", f"{line.quantity} needs unit = {one_of(quantity.units)}"
    return _limits_complaint(line, quantity) or _condition_complaint(line)


def _word_complaint(line: LineTable) -> tuple[str, str] | None:
    if line.says is None:
        return "", f'{line.quantity} needs says = "..."'
    if (line.says in POLARITIES) != (line.quantity == "polarity"):
        return "says", f'"{line.says}" is not a {line.quantity}'
    for key in ("unit", "at_least", "at_most", "typical", "tolerance", "per"):
        if getattr(line, key) is not None:
            return key, f"{line.quantity} is a word: take the line out"
    return None


def _limits_complaint(line: LineTable, quantity: Quantity) -> tuple[str, str] | None:
    low, high = line.at_least, line.at_most
    if low is not None and high is not None and low > high:
        return "at_most", f"{high:g} is below at_least = {low:g}"
    if line.typical is not None and (low is not None or high is not None):
        return "typical", "a line has limits or a typical figure; write two lines for both"
    if line.tolerance is not None and line.typical is None:
        return "tolerance", "belongs to a typical figure"
    scaled = line.unit in ("V", "mV", "uV", "ohm", "kohm", "percent", "Hz", "kHz")
    figures = [v for v in (low, high, line.typical) if v is not None]
    if scaled and quantity.about != "magnitude" and min(figures) < 0.0:
        return "", f"a figure in {line.unit} cannot be below zero"
    if line.unit == "dB" and quantity.units[0] == "percent" and max(figures) > 0.0:
        return "", "distortion in dB lies below the signal: write it with a minus sign"
    if quantity.about == "magnitude" and min(figures) < 0.0:
        return "", "the size counts here, not the sign: write it without a minus"
    if line.per is not None and line.quantity not in AMBIGUOUS:
        return "per", f"belongs to {one_of(AMBIGUOUS)}"
    if line.weighting != "none" and line.quantity not in WEIGHTED:
        return "weighting", f"belongs to {one_of(WEIGHTED)}"
    return None


def _condition_complaint(line: LineTable) -> tuple[str, str] | None:
    said = line.condition
    if said.drive_v is not None and said.drive_dbfs is not None:
        return "condition", "give drive_v or drive_dbfs, not both"
    if said.into is not None and said.into_ohm is None:
        return "condition", "into says how the load is joined; give into_ohm as well"
    if line.unit == "dBm" and said.into_ohm is None:
        return "condition", "dBm is a power: say into_ohm, the load it was fed into (often 600)"
    return None


TEMPLATE = """\
# What the maker states. Copy the data sheet; leave out what it leaves out: a figure without its
# conditions is judged as far as that goes, and the page says what was missing.
format = "probe-specification/1"
name = "owner's manual, page 31"
# stated_in = "where it was found"

[device]
maker = "Harrowgate"
model = "Tern"

# Limits: at_least, at_most or both, ends included. A typical figure is no limit: the page shows
# it beside what was measured; with a tolerance of your own it becomes one.

[[line]]
quantity = "balanced-impedance"     # "less than 200 ohm", and no word on how it is meant:
unit = "ohm"                        # ohm | kohm
at_most = 220.0                     # both meanings are tried
# per = "between-legs"              # between-legs | each-leg, where the maker says
# condition = { at_hz = 1000.0 }    # 1 kHz where nothing is said

[[line]]
quantity = "gain-difference"        # balanced over single-ended
unit = "dB"
at_least = 5.5
at_most = 6.5
condition = { volume = "any" }      # the setting the figure holds at, or "any"

# [[line]]
# quantity = "balanced-level"       # also single-ended-level, balanced-maximum, ...
# unit = "dBu"                      # V | mV | uV | dBu | dBV | dBm (needs into_ohm)
# typical = 4.0
# tolerance = 1.0
# per = "between-legs"
# condition = { drive_v = 0.5, volume = "maximum", into_ohm = 600.0, into = "between-legs" }
#   drive_v | drive_dbfs: what it is fed with; volume = "any" where it does not matter;
#   into_ohm: the load (none: nothing connected), into = "between-legs" | "each-leg"

# [[line]]
# quantity = "balanced-noise"       # single-ended-noise
# unit = "uV"
# at_most = 10.0
# weighting = "a"                   # none | a

# [[line]]
# quantity = "balanced-thd"         # -thd-n; single-ended-thd, -thd-n
# unit = "percent"                  # percent | dB
# at_most = 0.01
# condition = { level_v = 2.0, at_hz = 1000.0 }

# [[line]]
# quantity = "balanced-gain"        # single-ended-gain; dB
# unit = "dB"
# typical = 12.0

# [[line]]
# quantity = "channel-balance"      # single-ended-channel-balance; crosstalk; dB
# unit = "dB"
# at_most = 0.3

# Others: output-common-mode-rejection, signal-balance (dB), balanced-low-corner,
# balanced-high-corner, single-ended-... (Hz), direct-voltage (V, mV)

[[line]]
quantity = "polarity"
says = "pin-2-hot"                  # pin-2-hot | pin-3-hot

[[line]]
quantity = "kind"                   # where the maker says what it is
says = "differential"               # differential | electronically-floating |
                                    # transformer-coupled | ground-sensing | impedance-balanced |
                                    # unbalanced | both-legs-driven | one-leg-driven
"""
"""A commented specification file that reads as it stands."""
