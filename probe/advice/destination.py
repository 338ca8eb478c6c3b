"""What the lead goes to: the destination file, its checks, and the same in SI units.

The file is ``probe-destination/1``. What it leaves out keeps the value of `DestinationFile`;
a value that no real input, cable or box can have is refused with the line it stands on.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from probe.advice.attenuator import MOST_DB
from probe.advice.network import TwoPort
from probe.advice.parts import ISOLATING_TRANSFORMER
from probe.advice.transformers import find_transformer
from probe.formats.toml import Table, complaint, read_toml

FORMAT = "probe-destination/1"

Connector = Literal["rca", "xlr", "digital-75", "digital-110"]
Receiver = Literal["single-ended", "balanced"]
Circuit = Literal["difference-amplifier", "buffered", "transformer", "unknown"]
PinThree = Literal["input", "ground", "open"]
ImpedanceIs = Literal["each-leg", "between-legs"]
Role = Literal["amplifier", "subwoofer", "other"]

Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]

LARGEST_INPUT_OHM = 1e9
"""Beyond any audio input; more is a slip of units."""

SMALLEST_INPUT_OHM = 1.0
"""Below it is a short circuit; less is a slip of units (kilohm written as ohm)."""

XLR_ONLY: tuple[tuple[str, object], ...] = (
    ("circuit", "unknown"),
    ("both_legs_required", False),
    ("pin_3", "input"),
    ("impedance_is", "each-leg"),
    ("maximum_per_leg_v", None),
)
"""Keys that speak of two legs, with the value that says nothing about them: any other cannot be
where the connector has two contacts."""


class GroundTable(Table):
    """The difference between the chassis; kept for what is computed from it later (hum)."""

    difference_mv: NotNegative | None = None
    source_ohm: Positive | None = None
    source_nf: Positive | None = None


class InputTable(Table):
    """One ``[[input]]`` of the file, as written."""

    connector: Connector
    receiver: Receiver | None = None
    circuit: Circuit = "unknown"
    both_legs_required: bool = False
    pin_3: PinThree = "input"
    impedance_ohm: Annotated[float, Field(ge=SMALLEST_INPUT_OHM, le=LARGEST_INPUT_OHM)] = 47000.0
    impedance_is: ImpedanceIs | None = None
    impedance_mismatch_percent: Annotated[float, Field(ge=0.0, lt=100.0)] = 1.0
    rejection_db: NotNegative | None = None
    role: Role = "amplifier"
    box: str | None = None
    speaker_sensitivity_db: Annotated[float, Field(gt=40.0, lt=130.0)] | None = None
    sensitivity_v: Positive | None = None
    maximum_v: Positive | None = None
    maximum_per_leg_v: Positive | None = None
    ground: GroundTable | None = None


class CableTable(Table):
    """The lead; the defaults are a usual interconnect of one metre."""

    length_m: Annotated[float, Field(gt=0.0, le=1000.0)] = 1.0
    capacitance_pf_per_m: NotNegative = 100.0
    shield_milliohm_per_m: NotNegative = 30.0
    contact_milliohm: NotNegative = 20.0


class OperatingTable(Table):
    """The most that is ever played."""

    level_v: Positive | None = None


class NeedTable(Table):
    """What the listener misses."""

    wanted_gain_db: Annotated[float, Field(gt=-60.0, lt=60.0)] = 0.0
    attenuation_db: Annotated[float, Field(ge=1.0, le=MOST_DB)] | None = None


class PartsTable(Table):
    """Parts that are at hand: a name of the library, or a file beside this one."""

    transformer: str | None = None


class DestinationFile(Table):
    """The file as written."""

    name: str = ""
    input: tuple[InputTable, ...]
    cable: CableTable = CableTable()
    ground: GroundTable = GroundTable()
    operating: OperatingTable = OperatingTable()
    need: NeedTable = NeedTable()
    parts: PartsTable = PartsTable()


@dataclass(frozen=True)
class GroundPath:
    """How the two chassis are joined besides the lead: a resistance or a capacitance, SI."""

    difference_volts: float | None = None
    ohm: float | None = None
    farad: float | None = None


@dataclass(frozen=True)
class Input:
    """One input socket of the destination, SI units.

    ``impedance_ohm`` is each leg to ground or between the legs as ``impedance_is`` says (a
    single-ended input: centre to shell). ``mismatch`` is hot minus cold over their mean.
    ``box`` names the device it belongs to: inputs of one box are alternatives.
    """

    name: str
    connector: Connector
    receiver: Receiver
    impedance_ohm: float
    box: str = "amplifier"
    circuit: Circuit = "unknown"
    both_legs_required: bool = False
    pin_3: PinThree = "input"
    impedance_is: ImpedanceIs | None = None
    mismatch: float = 0.0
    rejection_db: float | None = None
    role: Role = "amplifier"
    speaker_sensitivity_db: float | None = None
    sensitivity_volts: float | None = None
    maximum_volts: float | None = None
    maximum_per_leg_volts: float | None = None
    ground: GroundPath = field(default=GroundPath())


@dataclass(frozen=True)
class Cable:
    """The lead, SI units; ``farad`` is each conductor to the shield, the whole length."""

    length_m: float = 1.0
    farad: float = 100e-12
    shield_ohm: float = 0.030
    contact_ohm: float = 0.020


@dataclass(frozen=True)
class Destination:
    """Where the lead goes, and what is wanted of it."""

    name: str
    inputs: tuple[Input, ...]
    cable: Cable = field(default=Cable())
    operating_volts: float | None = None
    wanted_gain_db: float = 0.0
    attenuation_db: float | None = None
    """Asked for in the plug, whatever the levels are."""
    transformer: TwoPort = ISOLATING_TRANSFORMER


def read_destination(path: Path) -> Destination:
    """Read and check a destination file.

    Raises
    ------
    BadInput
        As `read_toml`, and for what cannot be: two-leg keys on an RCA input, an XLR impedance
        of unstated meaning, an input that gives full output only beyond its own maximum.
    """
    written = read_toml(path, DestinationFile, format_word=FORMAT)
    if not written.input:
        raise complaint(path, ("input",), "is empty; at least one [[input]] is needed")
    for at, table in enumerate(written.input):
        _check_input(path, at, table)
    _check_ground(path, ("ground",), written.ground)
    named = written.parts.transformer
    if named is None:
        return _in_si(written)
    return replace(_in_si(written), transformer=find_transformer(named, path.parent))


def _check_input(path: Path, at: int, table: InputTable) -> None:
    """Refuse what no input can be; ``at`` counts the ``[[input]]`` tables from 0."""
    if table.connector == "xlr":
        _check_xlr(path, at, table)
    else:
        _check_two_contacts(path, at, table)
    _check_levels(path, at, table)
    if table.ground is not None:
        _check_ground(path, ("input", at, "ground"), table.ground)


def _check_xlr(path: Path, at: int, table: InputTable) -> None:
    if table.impedance_is is None:
        raise complaint(
            path,
            ("input", at),
            'impedance_is is missing; an xlr input needs impedance_is = "each-leg" (to ground) '
            'or "between-legs": data sheets print either, and they differ by a factor of two',
        )
    if table.receiver == "single-ended" and table.pin_3 == "input":
        raise complaint(
            path,
            ("input", at, "pin_3"),
            'a single-ended receiver does not listen to pin 3; say pin_3 = "ground" or "open" '
            '(what the box does with it inside), or receiver = "balanced"',
        )
    if table.both_legs_required and table.pin_3 != "input":
        raise complaint(
            path,
            ("input", at, "both_legs_required"),
            f'cannot be true where pin_3 = "{table.pin_3}": one leg goes nowhere inside',
        )


def _check_two_contacts(path: Path, at: int, table: InputTable) -> None:
    for key, says_nothing in XLR_ONLY:
        if key in table.model_fields_set and getattr(table, key) != says_nothing:
            raise complaint(
                path,
                ("input", at, key),
                f"belongs to an xlr input; {table.connector} has no pin 3: take the line out",
            )
    if table.receiver == "balanced" and table.connector != "digital-110":
        raise complaint(
            path,
            ("input", at, "receiver"),
            f'must be "single-ended" with connector "{table.connector}", which has two contacts',
        )


def _check_levels(path: Path, at: int, table: InputTable) -> None:
    if table.sensitivity_v and table.maximum_v and table.sensitivity_v > table.maximum_v:
        raise complaint(
            path,
            ("input", at, "maximum_v"),
            f"{table.maximum_v:g} V is below sensitivity_v = {table.sensitivity_v:g} V: the input "
            "would overload before it gives full output; check both figures",
        )


def _check_ground(path: Path, keys: tuple[str | int, ...], ground: GroundTable) -> None:
    if ground.source_ohm is not None and ground.source_nf is not None:
        raise complaint(path, (*keys, "source_nf"), "give either source_ohm or source_nf, not both")


def _in_si(written: DestinationFile) -> Destination:
    cable = written.cable
    return Destination(
        name=written.name,
        inputs=tuple(_input_in_si(at, t, written) for at, t in enumerate(written.input)),
        cable=Cable(
            length_m=cable.length_m,
            farad=cable.capacitance_pf_per_m * 1e-12 * cable.length_m,
            shield_ohm=cable.shield_milliohm_per_m * 1e-3 * cable.length_m,
            contact_ohm=cable.contact_milliohm * 1e-3,
        ),
        operating_volts=written.operating.level_v,
        wanted_gain_db=written.need.wanted_gain_db,
        attenuation_db=written.need.attenuation_db,
    )


def _input_in_si(at: int, table: InputTable, written: DestinationFile) -> Input:
    ground = table.ground or written.ground
    balanced = table.connector in ("xlr", "digital-110")
    name = f"{table.connector} input" if len(written.input) == 1 else f"input {at + 1}"
    return Input(
        name=name if len(written.input) == 1 else f"{name} ({table.connector})",
        connector=table.connector,
        receiver=table.receiver or ("balanced" if balanced else "single-ended"),
        impedance_ohm=table.impedance_ohm,
        box=table.box or table.role,
        circuit=table.circuit,
        both_legs_required=table.both_legs_required,
        pin_3=table.pin_3,
        impedance_is=table.impedance_is,
        mismatch=table.impedance_mismatch_percent / 100.0,
        rejection_db=table.rejection_db,
        role=table.role,
        speaker_sensitivity_db=table.speaker_sensitivity_db,
        sensitivity_volts=table.sensitivity_v,
        maximum_volts=table.maximum_v,
        maximum_per_leg_volts=table.maximum_per_leg_v,
        ground=GroundPath(
            difference_volts=_times(ground.difference_mv, 1e-3),
            ohm=ground.source_ohm,
            farad=_times(ground.source_nf, 1e-9),
        ),
    )


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


TEMPLATE = """\
# What the lead goes to. Keep what is known, take out the rest.
format = "probe-destination/1"
name = "monoblock, RCA only"

[[input]]                         # one table per input socket
connector = "rca"                 # rca | xlr | digital-75 | digital-110
receiver = "single-ended"         # single-ended | balanced
impedance_ohm = 47000.0
role = "amplifier"                # amplifier | subwoofer | other
# box = "amplifier"               # inputs of one box are alternatives; left out: the role
# sensitivity_v = 1.5             # V rms for full output; of an xlr: pin 2 minus pin 3
# maximum_v = 6.0                 # V rms it accepts
# speaker_sensitivity_db = 88.0   # of the loudspeaker on it, 2.83 V at 1 m

# Another input, balanced:
# [[input]]
# connector = "xlr"
# receiver = "balanced"
# circuit = "unknown"             # difference-amplifier | buffered | transformer | unknown
# pin_3 = "input"                 # input | ground | open: what the box does with pin 3 inside
# both_legs_required = false      # true: its two halves each need a leg of their own
# impedance_ohm = 20000.0
# impedance_is = "each-leg"       # each-leg (to ground) | between-legs; required on an xlr
# impedance_mismatch_percent = 1.0
# rejection_db = 60.0             # published common-mode rejection of the input by itself
# maximum_per_leg_v = 6.0

[cable]
length_m = 1.0
capacitance_pf_per_m = 100.0      # each conductor to the shield
shield_milliohm_per_m = 30.0
contact_milliohm = 20.0           # shell contacts, both ends together

# [ground]                        # or [input.ground] where leads go to different boxes
# difference_mv = 20.0            # mains frequency, between the chassis when no lead joins them
# source_ohm = 100.0              # what drives it; or source_nf for double-insulated equipment

# [operating]
# level_v = 4.0                   # the most that is ever played: V rms between pins 2 and 3

[need]
wanted_gain_db = 0.0              # against the RCA link
# attenuation_db = 10.0           # resistors in the plug at the destination, 1 to 60 dB

# [parts]
# transformer = "alder"           # of the library, or a probe-transformer/1 file beside this one
"""
"""A commented destination file that reads as it stands."""
