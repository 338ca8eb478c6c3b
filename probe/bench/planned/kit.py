"""The kit: leads, resistors and inputs at hand, declared once and remembered on this machine."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import Field

from probe.bench.planned.steps import Injector
from probe.errors import BadInput
from probe.formats.text import shown_path
from probe.formats.toml import OneLine, Table, complaint, parse_toml, read_toml
from probe.session.document import Ohm, Percent
from probe.session.model import Load, LoadEnd, Terminal

FORMAT_WORD = "probe-kit/1"

WATT_SHARE = 0.5
"""A resistor is used up to half of what it stands: it stays cool, and its value."""

TEMPLATE = """\
# The kit: what is at hand for measuring an output. `probe kit FILE` checks it and
# remembers it on this machine; the guided run asks only for takes it can make.
# A line beginning with # is a comment; remove what you do not have.
format = "probe-kit/1"
name = "breakout lead and resistor plugs"

# Leads
breakout = true            # XLR to two inputs, each leg against pin 1: the one that is needed
single_ended = true        # a lead from the RCA output to an input
loop_back = true           # a lead from the interface's output 1 to both its inputs
switch_box = false         # resistors behind switches instead of plugs

# Resistors. "between" is where a plug may go; the same part on both legs is the same resistor,
# so that its tolerance cancels in their difference. u95_percent 0.1 is a 0.1 % part.
[[load]]
part = "R1"
ohm = 604.0
u95_percent = 0.1
watt = 0.25
between = ["leg"]          # leg: either leg to pin 1 | across: leg to leg | single-ended

[[load]]
part = "R3"
ohm = 1210.0
u95_percent = 0.1
watt = 0.25
between = ["across"]

[[load]]
part = "R4"
ohm = 2210.0
u95_percent = 0.1
watt = 0.25
between = ["single-ended"]

# The injector: a resistor from the interface's second output into a leg; at least 10 kohm.
[injector]
part = "R2"
ohm = 10000.0
u95_percent = 0.1

# The reference: 100 ohm from A to G and from B to G in place of the device, for the check and
# for the noise of the interface itself.
[reference]
ohm = 100.0
u95_percent = 0.1
"""

LEAST_INJECTOR_OHM = 1.0e4
"""Through less, a fault of the bench could push more than about 0.1 mA into a leg."""


class LoadPart(Table):
    """``[[load]]``: one resistor and where it may be plugged."""

    part: Annotated[OneLine, Field(min_length=1)]
    ohm: Ohm
    u95_percent: Percent = 1.0
    watt: Annotated[float, Field(gt=0.0, le=100.0)] = 0.25
    between: Annotated[tuple[str, ...], Field(min_length=1)] = ("leg",)


class InjectorPart(Table):
    """``[injector]``."""

    part: Annotated[OneLine, Field(min_length=1)] = "R2"
    ohm: Ohm
    u95_percent: Percent = 1.0


class ReferencePart(Table):
    """``[reference]``."""

    ohm: Ohm = 100.0
    u95_percent: Percent = 1.0


class KitFile(Table):
    """kit.toml."""

    name: OneLine = ""
    breakout: bool = True
    single_ended: bool = False
    loop_back: bool = False
    switch_box: bool = False
    load: Annotated[tuple[LoadPart, ...], Field(max_length=20)] = ()
    injector: InjectorPart | None = None
    reference: ReferencePart | None = None


@dataclass(frozen=True)
class Kit:
    """What is at hand.

    Attributes
    ----------
    breakout, single_ended, loop_back
        Leads.
    switch_box
        Resistors are switched, not plugged.
    loads
        Resistors in ohm with relative u95 and watts, by place: ``leg``, ``across``,
        ``single-ended``, the largest first.
    """

    name: str = ""
    breakout: bool = True
    single_ended: bool = False
    switch_box: bool = False
    loads: tuple[tuple[str, LoadPart], ...] = ()
    injector: InjectorPart | None = None
    reference: ReferencePart | None = None
    loop_back: bool = False

    def loads_for(self, place: str) -> tuple[LoadPart, ...]:
        """Return the resistors that may go there, the gentlest first."""
        found = [part for where, part in self.loads if where == place]
        return tuple(sorted(found, key=lambda part: -part.ohm))


PLACES = ("leg", "across", "single-ended")


def kit_of(file: KitFile) -> Kit:
    """Return the kit a file declares."""
    return Kit(
        name=file.name,
        breakout=file.breakout,
        single_ended=file.single_ended,
        switch_box=file.switch_box,
        loads=tuple((where, part) for part in file.load for where in part.between),
        injector=file.injector,
        reference=file.reference,
        loop_back=file.loop_back,
    )


def read_kit(path: Path) -> Kit:
    """Read a kit file.

    Raises
    ------
    BadInput
        Anything in it that cannot be used, with its place.
    """
    file = read_toml(path, KitFile, format_word=FORMAT_WORD)
    names = [part.part for part in file.load]
    for number, part in enumerate(file.load):
        for where in part.between:
            if where not in PLACES:
                raise complaint(
                    path,
                    ("load", number, "between"),
                    f'"{where}" is no place for a resistor; there are {", ".join(PLACES)}',
                )
        if names.index(part.part) != number:
            raise complaint(
                path, ("load", number, "part"), f'"{part.part}" is listed twice; name each part'
            )
    if file.injector is not None and file.injector.ohm < LEAST_INJECTOR_OHM:
        raise complaint(
            path,
            ("injector", "ohm"),
            f"{file.injector.ohm:g} is below {LEAST_INJECTOR_OHM:g}; injecting through less can "
            "hurt the device, use 10 kohm or more",
        )
    if not file.breakout:
        raise complaint(
            path,
            ("breakout",),
            "is false; without a lead that takes each leg to an input nothing can be measured",
        )
    return kit_of(file)


def usual() -> Kit:
    """Return the kit of the template: the one `docs/bench.md` describes."""
    raw = TEMPLATE.encode("utf-8")
    return kit_of(parse_toml(raw, Path("kit.toml"), KitFile, format_word=FORMAT_WORD))


def load_of(part: LoadPart, from_: LoadEnd, to: LoadEnd) -> Load:
    """Return a resistor of the kit as a load between two terminals."""
    return Load(from_, to, part.ohm, part.u95_percent / 100.0, part.part)


def injector_of(part: InjectorPart, into: Terminal, output_ohm: float) -> Injector:
    """Return the injector of the kit into a terminal, the output's own ohms added."""
    through = part.ohm + output_ohm
    return Injector(into, through, part.u95_percent / 100.0, part.part, part.ohm)


def most_volts(part: LoadPart) -> float:
    """Return the rms volts that may stand on a resistor for good."""
    return float((WATT_SHARE * part.watt * part.ohm) ** 0.5)


# -- remembered on this machine


def kit_place() -> Path:
    """Return where the remembered kit lies, by the platform's convention.

    ``PROBE_DATA`` in the environment names another folder.
    """
    told = os.environ.get("PROBE_DATA")
    if told:
        return Path(told) / "kit.toml"
    from platformdirs import user_data_path

    return Path(user_data_path("probe", appauthor=False)) / "kit.toml"


def remember(path: Path) -> Path:
    """Check a kit file and keep a copy of it; return where.

    Raises
    ------
    BadInput
        The file cannot be used, or the place cannot be written.
    """
    read_kit(path)
    place = kit_place()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        aside = place.with_name(f".kit-{os.getpid()}.toml")
        aside.write_bytes(path.read_bytes())
        aside.replace(place)
    except OSError as error:
        raise BadInput(
            f"{shown_path(place)}: the kit cannot be kept there ({error.strerror}); "
            "name it each time with --kit"
        ) from error
    return place


def remembered() -> Kit | None:
    """Return the remembered kit, or None.

    Raises
    ------
    BadInput
        The remembered file is damaged.
    """
    place = kit_place()
    return read_kit(place) if place.is_file() else None
