"""What a rule sees and says: one option under one assumption, and a finding with its verdict."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from probe.advice.completed import BOTH_LEGS_KINDS
from probe.advice.destination import Cable, Circuit, Input
from probe.advice.figures import Figures
from probe.advice.quantity import Quantity
from probe.advice.wiring import Option
from probe.advice.words import MOST_AMPERES, RCA_FAULTS, about, figure, span, span_limit

Verdict = Literal["use", "works", "avoid", "never", "cannot-tell"]


@dataclass(frozen=True)
class Tried:
    """A load that the device was tried with.

    Attributes
    ----------
    connector
        Of the output: ``xlr`` or ``rca``.
    between
        It stood between the legs, not from one to ground.
    where
        What it stood on, in words.
    ohm, seen
        How large it was, and what was seen where it was not driven.
    """

    connector: str
    between: bool
    where: str
    ohm: float
    seen: str = ""


@dataclass(frozen=True)
class Stage:
    """What the facts say of the stage on one side, as far as the rules need it."""

    kind: str
    possible: tuple[str, ...]
    driven_legs: str
    polarity: str
    faults: tuple[str, ...]
    next_take: str | None
    direct_volts: dict[str, float]
    """Metered, by terminal (hot, cold, single-ended)."""
    direct_elsewhere: bool = False
    """Some terminal of the device carries direct voltage: one not metered is not trusted."""
    refused: tuple[Tried, ...] = ()
    driven: tuple[Tried, ...] = ()
    """Loads that were tried and driven; told where others were refused."""
    drawn: Mapping[str, float] = field(default_factory=dict)
    """Peak currents that the loads of its takes drew of an output (``xlr``, ``rca``), A."""
    clipped: frozenset[str] = frozenset()
    """Outputs (``xlr``, ``rca``) seen clipping while measured, of which no maximum was measured."""
    rca_doubted: bool = False
    """A take heard nothing of the RCA output, or next to nothing, and another did."""
    joined: bool = False
    """The legs were measured to hang together, whatever kind makes them: neither is held by an
    amplifier of its own."""

    def faults_of(self, output: str) -> tuple[str, ...]:
        """Return the faults of an output (``xlr``, ``rca``)."""
        return tuple(f for f in self.faults if (f in RCA_FAULTS) == (output == "rca"))


@dataclass(frozen=True)
class Case:
    """One option under one assumption about the stage and one about the input."""

    option: Option
    socket: Input
    circuit: Circuit
    kind: str
    figures: Figures
    stage: Stage
    cable: Cable
    maximum_words: str
    """How the level is named that protects: declared, or assumed."""
    maximum_assumed: bool
    """That level stands on nothing but an assumption."""
    level_declared: bool
    """The level is what is played, rather than the most that could be."""
    level_fixed: bool
    """It is what is ever played: no volume control is taken to lower it."""
    no_volume: bool
    """It is, or the device has no volume control: as is stated, or as a rule of its kind."""
    own_volume: bool
    """It has one: what it gives at most comes where somebody turns it up so far."""
    reference_words: str
    settles: str
    """The take that would tell what is not known."""
    settles_low: str
    """The same of a figure that stands at the lowest tones."""
    sense_ohm: Quantity | None
    """Own impedance of the leg without signal (pin 3)."""
    assumed: tuple[str, ...]
    """What stands in for what was not measured, where this option rests on it."""
    load_ohm: float | None
    """Smallest load the maker allows."""
    single_ohm: Quantity | None = None
    """Own impedance of the RCA output, where it is stated or measured."""
    typed: bool = False
    """The device is described by hand: nothing of it was measured."""
    beside: tuple[tuple[Option, Input], ...] = ()
    """The other leads that hang on the same output, and their inputs."""
    elsewhere: tuple[tuple[Option, Input], ...] = ()
    """The same of the device's other output."""
    hum_by_ground: tuple[Quantity | None, ...] = ()
    """Hum below full output at each end of what the readings of the grounds may mean."""
    circuit_settles: str = ""
    """What knowing the circuit of the input tells, before anything else that would."""
    tied_stated: bool = False
    """What a leg gives by itself, the other one tied, is stated."""
    tied_allowed: bool = False
    """That is no less than the most it gives at all: its maker has said that a tie is borne."""
    volume_stated: bool = False
    """That it has no volume control is stated."""
    down_alone_db: float = 0.0
    """How far its volume has to stay down with this box alone, be there others that take level."""

    @property
    def most_comes(self) -> bool:
        """What it is stated to give at most surely comes, for all that is known.

        Of a device with a volume control what its input needs for full output does: nobody listens
        beyond it.
        """
        turned = self.own_volume and self.figures.core_20_hz_at_full_output is not None
        return self.level_declared and not self.maximum_assumed and not turned

    @property
    def one_leg(self) -> bool:
        """A pin carries no signal of its own: as was measured, or as the kind it may be has it."""
        if self.typed:
            return self.kind not in BOTH_LEGS_KINDS
        return self.stage.driven_legs == "one-leg"

    @property
    def never_turned_up(self) -> bool:
        """It plays at its level, stated so or by its kind: nothing turns it up to its maximum."""
        return self.no_volume and self.level_declared and not self.level_fixed


@dataclass(frozen=True)
class Finding:
    """One thing a rule has to say.

    ``doubt``: with verdict ``cannot-tell``, the verdict that may be due. ``hazard``: something
    can go wrong when it is done all the same. ``assumed``: it rests on a most that merely is
    assumed, so that nothing is chosen or bought for it.
    """

    verdict: Verdict
    code: str
    message: str
    hazard: bool = False
    doubt: Verdict | None = None
    assumed: bool = False
    turn_down_db: float | None = None
    """As of a `Note`."""


def at_most(case: Case, quantity: Quantity) -> str:
    """Return a figure at the device's maximum; without digits that an assumption cannot have."""
    sure = quantity.unit != "A" or quantity.high <= MOST_AMPERES
    return about(quantity) if case.maximum_assumed and sure else figure(quantity)


SEVERITY = {"works": 0, "use": 0, "avoid": 2, "never": 4}


def severity(finding: Finding) -> int:
    """Rank a finding: never, may be never, avoid, may be avoid, works."""
    if finding.verdict == "cannot-tell":
        return 3 if finding.doubt == "never" else 1
    return SEVERITY[finding.verdict]


LOW_HZ = 100.0
"""Below it a figure rests on the two lowest tones of the bench's own set (20 to 42 Hz), above it
on others as well."""


def beyond(quantity: Quantity, threshold: float) -> Literal["yes", "no", "unsure"]:
    """Tell whether a figure lies above a threshold, its whole interval or none of it."""
    if quantity.low > threshold:
        return "yes"
    return "unsure" if quantity.high > threshold else "no"


def compare(
    case: Case,
    quantity: Quantity,
    threshold: float,
    verdict: Literal["avoid", "never"],
    code: str,
    message: str,
    settles: str | None = None,
) -> Iterator[Finding]:
    """Yield ``verdict`` where the whole interval is above the threshold, doubt where part is.

    ``settles``: what would tell, where it is not the take the case names.
    """
    answer = beyond(quantity, threshold)
    if answer == "yes":
        yield Finding(verdict, code, message, hazard=True)
    elif answer == "unsure":
        # decibels carry their ends in the message already
        known = "" if quantity.unit == "dB" else f"known only as {span(quantity)}, "
        at = f"{abs(threshold):g} dB" if quantity.unit == "dB" else span_limit(threshold, quantity)
        low = quantity.at_hz is not None and quantity.at_hz < LOW_HZ
        tells = case.circuit_settles + (settles or (case.settles_low if low else case.settles))
        doubt = f"{message}; {known}and the limit of {at} lies inside: {tells} would settle it"
        yield Finding("cannot-tell", code, doubt, doubt=verdict)
