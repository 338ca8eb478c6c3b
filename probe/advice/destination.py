"""What the lead goes to: the destination file, its checks, and the same in SI units.

The file is ``probe-destination/1``. What it leaves out keeps the value of `DestinationFile`;
a value that no real input, cable or box can have is refused with the line it stands on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from probe.advice import thresholds as limit
from probe.advice.attenuator import MOST_DB
from probe.advice.ground import MAINS_VOLTS, GroundPath, of_preset, second_reading
from probe.advice.network import TwoPort
from probe.advice.parts import ISOLATING_TRANSFORMER
from probe.advice.ranges import (
    Length,
    Level,
    Milliampere,
    Milliohm,
    MilliohmPerMetre,
    Millivolts,
    Nanofarad,
    Ohm,
    PicofaradPerMetre,
    Rejection,
)
from probe.advice.transformers import find_transformer
from probe.formats.toml import Table, complaint, parse_toml, read_bytes

FORMAT = "probe-destination/1"

Connector = Literal["rca", "xlr", "digital-75", "digital-110"]
Receiver = Literal["single-ended", "balanced"]
Circuit = Literal["difference-amplifier", "buffered", "transformer", "unknown"]
PinThree = Literal["input", "ground", "open"]
ImpedanceIs = Literal["each-leg", "between-legs"]
Role = Literal["amplifier", "subwoofer", "other"]

PresetName = Literal[
    "same-strip", "two-rooms", "unearthed", "earthed-and-unearthed", "computer",
    "antenna-or-network",
]  # fmt: skip


MAINS_HZ = 50.0
"""Mains frequency where nothing says it, Hz."""

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
    ("impedance_mismatch_percent", None),
    ("rejection_db", None),
)
"""Keys that speak of two legs, with the value that says nothing about them: any other cannot be
where the connector has two contacts."""


class GroundTable(Table):
    """The difference between the chassis: figures, a preset in words, or two meter readings."""

    preset: PresetName | None = None
    difference_mv: Millivolts | None = None
    source_ohm: Ohm | None = None
    source_nf: Nanofarad | None = None
    current_ma: Milliampere | None = None
    across_mv: Millivolts | None = None
    through_ohm: Ohm | None = None


class CableTable(Table):
    """The lead; the defaults are a usual interconnect of one metre."""

    length_m: Length = 1.0
    capacitance_pf_per_m: PicofaradPerMetre = 100.0
    shield_milliohm_per_m: MilliohmPerMetre = 30.0
    contact_milliohm: Milliohm = 20.0
    impedance_ohm: Annotated[float, Field(ge=20.0, le=500.0)] | None = None


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
    rejection_db: Rejection | None = None
    role: Role = "amplifier"
    box: str | None = None
    speaker_sensitivity_db: Annotated[float, Field(gt=40.0, lt=130.0)] | None = None
    sensitivity_v: Level | None = None
    maximum_v: Level | None = None
    maximum_per_leg_v: Level | None = None
    digital_format: Literal["professional", "consumer", "both"] | None = None
    ground: GroundTable | None = None
    cable: CableTable | None = None


class OperatingTable(Table):
    """The most that is ever played."""

    level_v: Level | None = None


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
class Cable:
    """The lead, SI units; ``farad`` is each conductor to the shield, the whole length."""

    length_m: float = 1.0
    farad: float = 100e-12
    shield_ohm: float = 0.030
    contact_ohm: float = 0.020
    impedance_ohm: float | None = None
    """Wave impedance of a digital lead; None: an interconnect of which nothing is known."""
    tail: Cable | None = None
    """A short lead into the destination, behind the adapter at the far end of this one; None: the
    adapter, if there is one, sits in the destination's socket."""

    @property
    def whole(self) -> Cable:
        """Both as one lead: what lies between the chassis, and what a driven conductor sees."""
        if self.tail is None:
            return self
        return Cable(
            self.length_m + self.tail.length_m,
            self.farad + self.tail.farad,
            self.shield_ohm + self.tail.shield_ohm,
            self.contact_ohm + self.tail.contact_ohm,
            self.impedance_ohm,
        )


@dataclass(frozen=True)
class Input:
    """One input socket of the destination, SI units.

    ``impedance_ohm`` is each leg to ground or between the legs as ``impedance_is`` says (a
    single-ended input: centre to shell). ``mismatch`` is hot minus cold over their mean.
    ``box`` names the device it belongs to: inputs of one box are alternatives. ``cable``,
    ``wanted_gain_db``, ``attenuation_db``, ``transformer``: of this input, where not the
    destination's common ones.
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
    digital_format: str | None = None
    """Channel-status format a digital input accepts: professional, consumer or both."""
    ground: GroundPath = field(default=GroundPath())
    cable: Cable | None = None
    own_cables: tuple[tuple[str, Cable], ...] = ()
    """Of ways (option ids) that do with such a lead only, it."""
    wanted_gain_db: float | None = None
    attenuation_db: float | None = None
    transformer: TwoPort | None = None


Way = tuple[str, str, str]
"""Box, socket and option."""


@dataclass(frozen=True)
class LessToBuy:
    """Ways that do as well as those that would be chosen, and need less to be bought."""

    instead_of: frozenset[Way]
    """What each box would use, all of them at once; where that is another, none of this holds."""
    ways: frozenset[Way]
    why: tuple[tuple[str, str], ...]
    """By the boxes that use another way then."""


@dataclass(frozen=True)
class Destination:
    """Where the lead goes, and what is wanted of it."""

    name: str
    inputs: tuple[Input, ...]
    cable: Cable = field(default=Cable())
    operating_volts: float | None = None
    operating_said: tuple[float, ...] = ()
    """What its files say of it, where they contradict each other."""
    wanted_gain_db: float = 0.0
    attenuation_db: float | None = None
    """Asked for in the plug, whatever the levels are."""
    transformer: TwoPort = ISOLATING_TRANSFORMER
    transformers_at_hand: tuple[tuple[str, TwoPort], ...] = ()
    """Those on the shelf: option whose plugs they have, data; what goes first, first."""
    pads_at_hand: tuple[tuple[str, float], ...] = ()
    """Attenuators on the shelf: plug at their end, dB; what is there first."""
    pads_lacking: frozenset[tuple[str, float]] = frozenset()
    """Those of them that are not there for both sides of a stereo pair."""
    less_to_buy: LessToBuy | None = None
    """With the leads of a shelf, where one was looked at."""
    mains_hz: float = MAINS_HZ
    mains_volts: float = MAINS_VOLTS
    mains_least_volts: float = MAINS_VOLTS
    """The least that the mains may have, where nobody says it."""

    def cable_of(self, socket: Input, option: str = "") -> Cable:
        """Return the lead to ``socket``, that of an option where it has one of its own."""
        return dict(socket.own_cables).get(option) or socket.cable or self.cable

    def cables_of(self, socket: Input) -> tuple[Cable, ...]:
        """Return every lead to ``socket`` that a way may have."""
        return (self.cable_of(socket), *(cable for _, cable in socket.own_cables))

    def transformer_of(self, socket: Input) -> TwoPort:
        """Return the transformer that is meant for ``socket``."""
        return socket.transformer or self.transformer

    def transformers_of(self, socket: Input, option: str) -> tuple[TwoPort, ...]:
        """Return the transformers that an option into ``socket`` may have.

        The one that is named; if none is, those at hand with its plugs, then an ordinary one.
        """
        named = self.transformer_of(socket)
        if named != ISOLATING_TRANSFORMER:
            return (named,)
        here = (part for option_of_it, part in self.transformers_at_hand if option_of_it == option)
        return tuple(dict.fromkeys((*here, ISOLATING_TRANSFORMER)))

    def with_transformer(self, part: TwoPort) -> Destination:
        """Return the same with ``part`` for every input, whatever lies there."""
        bare = tuple(replace(s, transformer=None) for s in self.inputs)
        return replace(self, inputs=bare, transformer=part, transformers_at_hand=())

    def attenuation(self, box: str) -> float | None:
        """Return the attenuation that is asked for in the plug of a box, dB."""
        own = [s.attenuation_db for s in self.inputs if s.box == box]
        return next((db for db in own if db is not None), self.attenuation_db)

    def wanted(self, box: str) -> float:
        """Return the gain wanted of a box, dB against its RCA link."""
        own = [s.wanted_gain_db for s in self.inputs if s.box == box]
        return next((db for db in own if db is not None), self.wanted_gain_db)


def together(destinations: Sequence[Destination]) -> Destination:
    """Return several destinations that hang on one device as one.

    Each input keeps its own lead, its transformer and what is wanted of it; boxes are named after
    their destination where it has a name, and numbered where two have the same. The
    most that is ever played, one for all, is the largest of what is said.
    """
    if len(destinations) == 1:
        return destinations[0]
    inputs = []
    names = _told_apart([d.name or f"destination {k + 1}" for k, d in enumerate(destinations)])
    for name, one in zip(names, destinations, strict=True):
        boxes = dict.fromkeys(s.box for s in one.inputs)
        for socket in one.inputs:
            box = name if len(boxes) == 1 else f"{name}, {socket.box}"
            label = f"{box}: {socket.connector} input"
            inputs.append(
                replace(socket, name=label, box=box, cable=one.cable_of(socket),
                        wanted_gain_db=one.wanted(socket.box),
                        attenuation_db=one.attenuation(socket.box),
                        transformer=_named_part(one.transformer_of(socket)))
            )  # fmt: skip
    said = [d.operating_volts for d in destinations if d.operating_volts is not None]
    return Destination(
        name=" and ".join(names),
        inputs=tuple(inputs),
        operating_volts=max(said, default=None),
        operating_said=tuple(sorted(set(said))) if len(set(said)) > 1 else (),
        mains_hz=destinations[0].mains_hz,
        mains_volts=destinations[0].mains_volts,
    )


def _named_part(part: TwoPort) -> TwoPort | None:
    """Return a transformer that was named; None: the common one, ordinary or of the shelf."""
    return None if part == ISOLATING_TRANSFORMER else part


def _told_apart(names: Sequence[str]) -> list[str]:
    """Return the names, the second of two alike and those after it numbered."""
    nth = [names[: k + 1].count(name) for k, name in enumerate(names)]
    return [name if at == 1 else f"{name} (no. {at})" for name, at in zip(names, nth, strict=True)]


def read_destination(
    path: Path, mains_hz: float = MAINS_HZ, mains_volts: float = MAINS_VOLTS
) -> Destination:
    """Read and check a destination file.

    ``mains_hz`` is the frequency meter readings had, ``mains_volts`` what presets take half of.

    Raises
    ------
    BadInput
        As `read_toml`, and for what cannot be: two-leg keys on an RCA input, an XLR impedance
        of unstated meaning, an input that gives full output only beyond its own maximum.
    """
    return destination_of(read_bytes(path), path, mains_hz, mains_volts)


def destination_of(
    raw: bytes, path: Path, mains_hz: float = MAINS_HZ, mains_volts: float = MAINS_VOLTS
) -> Destination:
    """Return the destination whose file ``path`` holds ``raw``; see `read_destination`."""
    written = parse_toml(raw, path, DestinationFile, format_word=FORMAT)
    if not written.input:
        raise complaint(path, ("input",), "is empty; at least one [[input]] is needed")
    for at, table in enumerate(written.input):
        _check_input(path, at, table)
    _check_ground(path, ("ground",), written.ground)
    found = _in_si(path, written, (mains_hz, mains_volts))
    named = written.parts.transformer
    if named is None:
        return found
    return replace(found, transformer=find_transformer(named, path.parent))


def _check_input(path: Path, at: int, table: InputTable) -> None:
    """Refuse what no input can be; ``at`` counts the ``[[input]]`` tables from 0."""
    if table.connector == "xlr":
        _check_xlr(path, at, table)
    else:
        _check_two_contacts(path, at, table)
    if table.digital_format is not None and not table.connector.startswith("digital"):
        raise complaint(
            path,
            ("input", at, "digital_format"),
            f"belongs to a digital input, not {table.connector}",
        )
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
    volts = table.sensitivity_v
    analogue = not table.connector.startswith("digital")
    if analogue and volts is not None and volts < limit.LEAST_LINE_INPUT_VOLTS:
        raise complaint(
            path,
            ("input", at, "sensitivity_v"),
            f"{volts * 1e3:g} mV for full output is a phono (record player) or microphone input: "
            "no line output belongs there, with no attenuator either, for it amplifies far more "
            "and may change the balance of bass and treble; take a line input of the box (usually "
            f"100 mV or more; refused below {limit.LEAST_LINE_INPUT_VOLTS * 1e3:g} mV)",
        )
    if table.sensitivity_v and table.maximum_v and table.sensitivity_v > table.maximum_v:
        raise complaint(
            path,
            ("input", at, "maximum_v"),
            f"{table.maximum_v:g} V is below sensitivity_v = {table.sensitivity_v:g} V: the input "
            "would overload before it gives full output; check both figures",
        )


def _check_ground(path: Path, keys: tuple[str | int, ...], ground: GroundTable) -> None:
    given = {k for k in GroundTable.model_fields if getattr(ground, k) is not None}
    if ground.preset is not None and len(given) > 1:
        other = next(k for k in GroundTable.model_fields if k in given - {"preset"})
        raise complaint(path, (*keys, other), "give either preset or figures, not both")
    if {"source_ohm", "source_nf"} <= given:
        raise complaint(path, (*keys, "source_nf"), "give either source_ohm or source_nf, not both")
    second = given & {"current_ma", "across_mv"}
    readings = second | (given & {"through_ohm"})
    if readings and given & {"source_ohm", "source_nf"}:
        raise complaint(
            path, (*keys, min(readings)), "the two readings give the source: take source_ohm or "
            "source_nf out",
        )  # fmt: skip
    if readings and (len(second) != 1 or not {"difference_mv", "through_ohm"} <= given):
        raise complaint(
            path, (*keys, min(readings)), "the meter method needs difference_mv, through_ohm and "
            "one of current_ma and across_mv together",
        )  # fmt: skip


Mains = tuple[float, float]
"""Frequency, Hz, and voltage, V."""


def _in_si(path: Path, written: DestinationFile, mains: Mains) -> Destination:
    return Destination(
        name=written.name,
        inputs=tuple(
            _input_in_si(path, at, t, written, mains) for at, t in enumerate(written.input)
        ),
        cable=_cable_in_si(written.cable),
        operating_volts=written.operating.level_v,
        wanted_gain_db=written.need.wanted_gain_db,
        attenuation_db=written.need.attenuation_db,
        mains_hz=mains[0],
        mains_volts=mains[1],
    )


def _cable_in_si(cable: CableTable) -> Cable:
    return Cable(
        length_m=cable.length_m,
        farad=cable.capacitance_pf_per_m * 1e-12 * cable.length_m,
        shield_ohm=cable.shield_milliohm_per_m * 1e-3 * cable.length_m,
        contact_ohm=cable.contact_milliohm * 1e-3,
        impedance_ohm=cable.impedance_ohm,
    )


def _ground_in_si(
    path: Path, keys: tuple[str | int, ...], table: GroundTable, mains: Mains
) -> GroundPath:
    if table.preset is not None:
        return of_preset(table.preset, mains[1])
    volts = _times(table.difference_mv, 1e-3)
    if table.through_ohm is not None and volts is not None:
        key = "current_ma" if table.across_mv is None else "across_mv"
        try:
            return second_reading(
                volts,
                _times(table.current_ma, 1e-3),
                _times(table.across_mv, 1e-3),
                table.through_ohm,
                mains[0],
            )
        except ValueError as error:
            raise complaint(path, (*keys, key), f"{error}; read both again") from error
    return GroundPath(volts, table.source_ohm, _times(table.source_nf, 1e-9))


def _input_in_si(
    path: Path, at: int, table: InputTable, written: DestinationFile, mains: Mains
) -> Input:
    keys = ("ground",) if table.ground is None else ("input", at, "ground")
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
        digital_format=table.digital_format,
        ground=_ground_in_si(path, keys, table.ground or written.ground, mains),
        cable=None if table.cable is None else _cable_in_si(table.cable),
    )


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
