"""The advice as a value: options, what was chosen, cautions; and its JSON form."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from probe.advice.attenuator import RATINGS_WATT, Design
from probe.advice.case import Verdict
from probe.advice.destination import Destination
from probe.advice.digital import DigitalAdvice
from probe.advice.figures import Figures
from probe.advice.leads import wiring_of
from probe.advice.network import TwoPort
from probe.advice.note import Note
from probe.advice.parts import that_stands, to_ask_for
from probe.advice.quantity import Quantity
from probe.advice.thresholds import TIE_BREAK_DB
from probe.advice.wiring import Option
from probe.advice.words import MOST_DB

FORMAT = "probe-advice/1"


@dataclass(frozen=True)
class OptionAdvice:
    """One option from one side of the device into one input, solved and judged."""

    option: Option
    side: str
    box: str
    socket: str
    pin_3: str
    figures: Figures
    verdict: Verdict
    hazards: tuple[Note, ...]
    reasons: tuple[str, ...]
    reference: str
    """What the level is compared with: ``rca-link``, ``xlr-link`` or ``none``."""
    attenuator: Attenuated | None = None
    """Offered where the level is more than the input wants."""
    because: str = ""
    """The first reason in plain words, where it speaks against the option."""
    passed_by: str = ""
    """Of one that works and was not chosen: what it lacks."""
    role: str = "amplifier"
    """What the input belongs to; a subwoofer is one box with one lead."""
    doubt: Verdict | None = None
    """With ``cannot-tell``: the worst verdict that may be due."""
    loses_at_most: bool = False
    """What may rule it out is a signal that is lost, which harms nothing."""
    operating: str = ""
    """Where its levels stand, in words."""
    most_comes: bool = False
    """What the device gives at most is stated, and nothing is known to turn it down."""
    never_turned_up: bool = False
    """It plays at its level, stated so or by its kind: nothing turns it up to its maximum."""
    against: frozenset[str] = frozenset()
    """Codes of what speaks against it, or may."""
    may_do: bool = False
    """Nothing speaks against it in a case that is possible: of that kind, into that circuit."""
    works_into_ohm: float | None = None
    """All that hangs on its output, between pins 2 and 3 or from the centre to the shell."""
    single_ohm: float | None = None
    """Own impedance of the RCA output, where it comes from that and it is known."""
    leads: int = 2
    """How many of it a box takes: one for each channel; a subwoofer has one."""

    @property
    def used(self) -> OptionAdvice:
        """The option as it is used: behind its attenuator, where that is fitted."""
        fitted = self.attenuator is not None and self.attenuator.fitted
        return self.attenuator.advice if fitted and self.attenuator is not None else self

    @property
    def turn_down_db(self) -> float | None:
        """How far below its maximum the device's own volume stays, so that nothing overloads."""
        known = [h.turn_down_db for h in self.hazards if h.turn_down_db is not None]
        return max(known, default=None)

    @property
    def turned_down(self) -> bool:
        """Nothing speaks against it but a level that its own volume need not be turned up to."""
        alone = self.verdict == "avoid" and self.against == {"overload"}
        return alone and self.turn_down_db is not None

    @property
    def works(self) -> bool:
        """It may be used as it is, the device turned down if need be."""
        return self.verdict in ("use", "works") or self.turned_down

    @property
    def eased(self) -> bool:
        """It would work with resistors in its plug, and does not without; none are fitted."""
        if self.verdict in ("use", "works") or self.attenuator is None:
            return False
        return self.attenuator.solves and not self.attenuator.fitted

    @property
    def core_volts(self) -> float:
        """What surely reaches the core of its transformer at 20 Hz, V rms."""
        most, full = self.figures.core_20_hz_at_maximum, self.figures.core_20_hz_at_full_output
        if most is None:
            return 0.0
        used = 0.0 if full is None else min(full.high, most.high)
        return most.high if self.most_comes else used

    @property
    def part_needed(self) -> TwoPort:
        """The transformer that was calculated with, or to be ordered in place of it.

        Its core takes what surely comes: what the device is stated to give, for it may have no
        volume to turn down, else what the input needs for full output.
        """
        part, most = self.option.part, self.figures.core_20_hz_at_maximum
        if most is None:
            return part
        return that_stands(part, most.high, self.core_volts)

    def with_fitted(self) -> OptionAdvice:
        """Return the option with its attenuator in the plug."""
        if self.attenuator is None:
            return self
        return replace(self, attenuator=replace(self.attenuator, fitted=True))

    def with_verdict(self, verdict: Verdict, reasons: tuple[str, ...]) -> OptionAdvice:
        """Return the same option with another verdict and ``reasons`` put first, as it is used."""
        return replace(self, verdict=verdict, reasons=(*reasons, *self.used.reasons))

    def to_json(self) -> dict[str, Any]:
        """Return the option as plain values; what is not known is absent."""
        f = self.figures
        compared = self.reference != "none"
        out: dict[str, Any] = {
            "id": self.option.id,
            "side": self.side,
            "destination": self.box,
            "input": self.socket,
            "role": self.role,
            "from": self.option.from_,
            "to": self.option.to,
            "adapter": self.option.adapter,
            "pin_3": self.pin_3,
            "says": self.option.says,
            "wiring": wiring_of(self.option.id),
            "reference": self.reference,
            "operating_point": self.operating,
            "never_turned_up": self.never_turned_up,
            **_known(
                level=f.level,
                level_vs_rca_db=f.level_vs_reference_db if compared else None,
                loudness_vs_rca_db=f.loudness_vs_reference_db if compared else None,
                full_output_margin_db=f.full_output_margin_db,
                hum=f.hum,
                ground_current=f.ground_current,
                noise=f.noise,
                clips_at=f.clips_at,
                headroom_db=f.headroom_db,
            ),
            **_heard(f),
            **_losses(f),
        }
        if self.option.pin_3 == "transformer":
            needed = self.part_needed
            larger = needed.volts_at_20_hz > self.option.part.volts_at_20_hz
            out["transformer"] = _transformer(needed) | {"larger_than_meant": larger}
        if f.tie_current is not None:
            out["tie_current"] = f.tie_current.to_json() | {"measure": "peak"}
        if f.hum_lines:
            out["hum_lines"] = [line.to_json() for line in f.hum_lines]
        out["hazards"] = [h.to_json() for h in self.hazards]
        out["verdict"] = self.verdict
        out["reasons"] = list(self.reasons)
        out["because"] = self.because
        out["passed_by"] = self.passed_by
        if self.attenuator is not None:
            out["attenuator"] = self.attenuator.to_json()
        return out


def _transformer(part: TwoPort) -> dict[str, Any]:
    """Return the data that the transformer must have."""
    return {
        "name": part.name or None,
        "ratio": part.ratio,
        "volts_at_20_hz": part.volts_at_20_hz,
        "magnetising_henry": part.magnetising_henry,
        "primary_ohm": part.primary_ohm,
        "secondary_ohm": part.secondary_ohm,
        "between_pf": part.between_farad * 1e12,
        "to_ask_for": to_ask_for(part),
    }


UNSURE_DB = 0.5
"""Ends of an attenuation that lie further apart are said: more than resistors make. [practice]"""


@dataclass(frozen=True)
class Attenuated:
    """An option with resistors in the destination's plug, solved and judged like any other.

    Attributes
    ----------
    designs
        The same pad in preferred values of each series, the one that was solved first.
    why
        What it is offered against.
    advice
        The option with the first design in its plug.
    attenuation_db
        By how much the solved level falls, dB.
    source_ohm
        Impedance of output and lead where the pad sits, ohm.
    seen_ohm
        What the output sees of pad and input, ohm.
    behind_ohm
        What the input sees looking back into the pad, ohm.
    noise_volts
        Thermal noise that its resistors add at the input, V rms, 20 Hz to 20 kHz.
    fitted
        It belongs in the plug: asked for, or nothing is used without it. Else it is an offer.
    """

    designs: tuple[Design, ...]
    why: str
    advice: OptionAdvice
    attenuation_db: float
    source_ohm: float
    seen_ohm: float
    behind_ohm: float
    noise_volts: float
    fitted: bool = False
    ends_db: tuple[float, float] | None = None
    """The least and the most of ``attenuation_db``, for what is not known of output and input."""
    relieves: bool = False
    """It is there so that the output works into more ohms."""
    own_ohm: bool = False
    """It is made of other ohms than the usual ones, which none that is bought ready has."""
    rating_watt: float = RATINGS_WATT[0]
    """What each of its resistors is rated for at least, at the most that comes."""
    in_place_of: Attenuated | None = None
    """The one of just so many decibels as are wished, where this one lies on the shelf."""
    refused_db: tuple[float, ...] = ()
    """What lies on the shelf, was solved in its place and does not do."""

    @property
    def says(self) -> str:
        """How it is made, with the rating where the usual one does not do."""
        rated = f", each of at least {self.rating_watt:g} W"
        usual = self.rating_watt <= RATINGS_WATT[0]
        return f"{self.designs[0].pad.says_in(self.advice.option.to)}{'' if usual else rated}"

    @property
    def unsure(self) -> bool:
        """What is not known of output and input moves what it takes off."""
        return self.ends_db is not None and self.ends_db[1] - self.ends_db[0] > UNSURE_DB

    @property
    def off_db(self) -> tuple[float, float]:
        """By how much less and more it may take off for the tolerance of its resistors, dB."""
        low, high = self.ends_db or (self.attenuation_db, self.attenuation_db)
        d = self.designs[0]  # which has what is not known of output and input in its ends
        return low - d.least_db, d.most_db - high

    @property
    def size(self) -> str:
        """What it takes off, by one figure."""
        return f"{round(self.attenuation_db, 1):g} dB"

    @property
    def takes(self) -> str:
        """What it takes off as it sits there, in words."""
        if self.ends_db is None or not self.unsure:
            return f"{self.attenuation_db:.1f} dB"
        return f"{self.ends_db[0]:.1f} to {self.ends_db[1]:.1f} dB"

    @property
    def solves(self) -> bool:
        """The option works with it."""
        return self.advice.verdict == "works"

    def _ends(self) -> dict[str, float]:
        if self.ends_db is None or not self.unsure:
            return {}
        return {"low": self.ends_db[0], "high": self.ends_db[1]}

    def to_json(self) -> dict[str, Any]:
        """Return the attenuator as plain values."""
        f = self.advice.figures
        compared = self.advice.reference != "none"
        return {
            "why": self.why,
            "fitted": self.fitted,
            "says": self.says,
            "rating": {"value": self.rating_watt, "unit": "W"},
            "designs": [_design(d) for d in self.designs],
            "attenuation": {"value": self.attenuation_db, "unit": "dB", **self._ends()},
            "output_sees": {"value": self.seen_ohm, "unit": "ohm"},
            "source_impedance": {"value": self.behind_ohm, "unit": "ohm"},
            "thermal_noise": {"value": self.noise_volts, "unit": "V"},
            "verdict": self.advice.verdict,
            "because": self.advice.because,
            "hazards": [h.to_json() for h in self.advice.hazards],
            "reasons": list(self.advice.reasons),
            **_known(
                level=f.level,
                full_output_margin_db=f.full_output_margin_db,
                loss_at_20_khz=f.loss_at_20_khz,
                level_vs_rca_db=f.level_vs_reference_db if compared else None,
                loudness_vs_rca_db=f.loudness_vs_reference_db if compared else None,
                headroom_db=f.headroom_db,
            ),
            **_heard(f),
            **_losses(f),
        }


def _losses(f: Figures) -> dict[str, Any]:
    """Return what is lost at the ends of the band, of everything and by the connection."""
    return {
        "loss_db": _known(at_20_hz=f.loss_at_20_hz, at_20_khz=f.loss_at_20_khz),
        "connection_loss_db": _known(
            at_20_hz=f.connection_loss_at_20_hz, at_20_khz=f.connection_loss_at_20_khz
        ),
        "bandwidth_hz": _known(low=f.low_corner, high=f.high_corner),
    }


def _design(design: Design) -> dict[str, Any]:
    return {
        "series": design.series,
        "series_ohm": design.pad.series_ohm,
        "in_each_leg": design.pad.balanced,
        **({} if design.pad.in_series else {"shunt_ohm": design.pad.shunt_ohm}),
        "wanted_db": design.wanted_db,
        "attenuation_db": design.attenuation_db,
        "error_db": design.error_db,
        "least_db": design.least_db,
        "most_db": design.most_db,
    }


def _known(**quantities: Quantity | None) -> dict[str, Any]:
    return {name: q.to_json() for name, q in quantities.items() if q is not None}


def _heard(figures: Figures) -> dict[str, Any]:
    """Return what lies below full output, each with what is heard of it."""
    known = {
        "hum_below_full_output_db": (figures.hum_below_full_output_db, figures.hum_heard),
        "buzz_below_full_output_db": (figures.buzz_below_full_output_db, figures.buzz_heard),
        "noise_below_full_output_db": (figures.noise_below_full_output_db, figures.noise_heard),
    }
    return {
        name: below.to_json() | {"heard": heard.to_json()}
        for name, (below, heard) in known.items()
        if below is not None and heard is not None
    }


@dataclass(frozen=True)
class Choice:
    """What was chosen for one box, or nothing, and why; ``best`` explains a missing choice."""

    box: str
    option: str | None
    socket: str | None
    why: tuple[str, ...]
    best: str | None = None
    attenuator: bool = False
    """With the attenuator in its plug."""
    left: tuple[tuple[tuple[str, str], str], ...] = ()
    """What was passed by (socket, option), and what it lacked."""

    def to_json(self) -> dict[str, Any]:
        """Return the choice as plain values."""
        return {
            "destination": self.box,
            "input": self.socket,
            "option": self.option,
            "why": list(self.why),
            "least_bad": self.best,
        }


@dataclass(frozen=True)
class Together:
    """What goes together where several boxes hang on the device, solved as one network.

    ``options`` are the same options once more, each with the others plugged in.
    """

    choices: tuple[Choice, ...]
    options: tuple[OptionAdvice, ...]
    solved_together: bool
    says: tuple[str, ...] = ()
    eased: tuple[OptionAdvice, ...] = ()
    """Ways with other resistors in their plugs than by themselves, each by itself."""
    short: tuple[str, ...] = ()
    """Boxes that the others cost what a turn of the volume control does not give back."""
    less_to_buy: tuple[tuple[str, str], ...] = ()
    """Boxes that use what needs less to be bought and does as well, and why."""

    def to_json(self) -> dict[str, Any]:
        """Return the set as plain values."""
        return {
            "choices": [
                {"destination": c.box, "input": c.socket, "option": c.option} for c in self.choices
            ],
            "solved_together": self.solved_together,
            "options": [o.to_json() for o in self.options],
            "says": list(self.says),
        }


@dataclass(frozen=True)
class Cure:
    """One thing that can be done against hum; in the order in which to try them.

    Each is an option, solved; but for what is done where the current comes in, which is none.
    """

    code: str
    box: str
    says: str
    option: str | None = None
    hum_below_full_output_db: Quantity | None = None
    better_by_db: float | None = None
    """Counted to what anybody could check, where the hum is beyond it."""
    verdict: Verdict | None = None
    better_by_at_least_db: float | None = None
    """The same where both hums lie at the end of their intervals at which it does least."""

    @property
    def better(self) -> str:
        """By how much it is better, in words; a range where the other end gives noticeably less."""
        most, least = self.better_by_db or 0.0, self.better_by_at_least_db
        says = f"more than {int(most)}" if self.beyond else f"{most:.0f}"
        apart = least is not None and most - least >= TIE_BREAK_DB
        return f"{least:.0f} to {says}" if apart else says

    @property
    def beyond(self) -> bool:
        """What is left of the hum is further down than anybody could check."""
        hum = self.hum_below_full_output_db
        return hum is not None and hum.value > MOST_DB

    def to_json(self) -> dict[str, Any]:
        """Return the cure as plain values."""
        hum = self.hum_below_full_output_db
        return {
            "cure": self.code,
            "destination": self.box,
            "option": self.option,
            "says": self.says,
            "hum_below_full_output_db": None if hum is None else hum.to_json(),
            "better_by_db": self.better_by_db,
            "better_by_at_least_db": self.better_by_at_least_db,
            "verdict": self.verdict,
        }


SO, NOT_SO = "", "not"
"""Answers of `Branch`: that all is so that is asked first, and that it is not."""


@dataclass(frozen=True)
class Branch:
    """What is said of all boxes once an answer is typed."""

    answer: str
    """In words; `SO` or `NOT_SO` of what is asked first."""
    advice: Advice
    destination: Destination
    """With the answer, where it is one about the place."""
    solve: Callable[..., Sequence[OptionAdvice]]
    """Solves a way of it with a lead of the shelf, as `lead_data.SolveBeside`."""
    together: Callable[[OptionAdvice], Any]
    """Solves another way of one box beside the others, as `alike.Together`."""
    pads: Callable[[], Sequence[Any]]
    """Returns the leads that an attenuator quiets in place of a transformer, `PadInstead`."""

    def choice(self, box: str | None) -> Choice:
        """Return what is used for a box with the answer."""
        return next(c for c in self.advice.choices if c.box == box)


@dataclass(frozen=True)
class Other:
    """What another answer to a question opens."""

    answer: str
    """In words."""
    option: str
    """What is used with it, or works at least."""
    says: str
    answers: tuple[str, ...] = field(default=(), compare=False)
    """The answers of the branches that come to this."""
    short: str = field(default="", compare=False)
    """The same with what is to be minded in a few words."""

    def to_json(self) -> dict[str, Any]:
        """Return it as plain values."""
        said = {"says": self.says, "short": self.short or self.says}
        return {"answer": self.answer, "option": self.option, **said}


@dataclass(frozen=True)
class Settling:
    """One take, reading or figure that is missing; ``answers``: what may be chosen with it.

    Empty ``answers``: it makes an option known that is not judged now.
    """

    code: str
    what: str
    answers: tuple[str, ...]
    box: str | None = None
    """The box it is about, where it is one."""
    part: TwoPort | None = None
    """Of another transformer: the data that are needed."""
    cases: tuple[tuple[str, Advice], ...] = field(default=(), compare=False)
    """Each answer in words, with the whole advice for it."""
    others: tuple[Other, ...] = ()
    """What other answers to a maker's question open."""
    typed: tuple[tuple[str, Any], ...] = field(default=(), compare=False)
    """How the answer that is hoped for is typed, as `answers.Lines`; empty: it cannot be."""
    typed_not: tuple[tuple[str, Any], ...] = field(default=(), compare=False)
    """The same of the other one, where that has a lead of its own."""
    then: str = ""
    """What is used with the answer, all plugged in, where more than its way is to be said."""
    short: str = field(default="", compare=False)
    """The same with what is to be minded in a few words."""

    def to_json(self) -> dict[str, Any]:
        """Return it as plain values."""
        return {
            "code": self.code,
            "what": self.what,
            "answers": list(self.answers),
            "destination": self.box,
            **({"then": self.then} if self.then else {}),
            **({"short": self.short} if self.short else {}),
            **({"others": [other.to_json() for other in self.others]} if self.others else {}),
        }


RANKING = ("hum", "noise")
"""What decides between options that reach the wanted gain."""


@dataclass(frozen=True)
class Advice:
    """Everything `probe advise` says.

    ``not_computed``: what of hum, noise and headroom is missing on any option that could be used.
    """

    device: str
    destination: str
    operating: str
    wanted_gain_db: float | None
    options: tuple[OptionAdvice, ...]
    choices: tuple[Choice, ...]
    cautions: tuple[Note, ...]
    not_computed: tuple[str, ...] = ()
    sets: tuple[Together, ...] = ()
    cures: tuple[Cure, ...] = ()
    would_change: tuple[Settling, ...] = ()
    digital: tuple[DigitalAdvice, ...] = ()
    described_sides: int | None = None
    """How many sides a description by hand stands for, one or two; None: it was measured."""
    branches: tuple[Branch, ...] = field(default=(), compare=False)
    """The same with each answer to what is asked, all boxes plugged in; that which is hoped for
    first."""
    supposed: bool = False
    """It is of an answer that nobody has given yet: none of its figures is shown."""

    @property
    def provisional(self) -> bool:
        """Something that ranks was not computed."""
        return any(name in self.not_computed for name in RANKING)

    @property
    def chosen(self) -> str | None:
        """Option id chosen for the first box, or None."""
        return self.choices[0].option if self.choices else None

    def to_json(self) -> dict[str, Any]:
        """Return the advice as ``probe-advice/1``."""
        return {
            "format": FORMAT,
            "device": self.device,
            "destination": self.destination,
            "operating_point": self.operating,
            "described_sides": self.described_sides,
            "wanted_gain_db": self.wanted_gain_db,
            "provisional": self.provisional,
            "not_computed": list(self.not_computed),
            "chosen": self.chosen,
            "why": list(self.choices[0].why) if self.choices else [],
            "choices": [c.to_json() for c in self.choices],
            "options": [o.to_json() for o in self.options] + [a.to_json() for a in self.digital],
            "sets": [one.to_json() for one in self.sets],
            "cures": [cure.to_json() for cure in self.cures],
            "would_change": [one.to_json() for one in self.would_change],
            "cautions": [c.to_json() for c in self.cautions],
        }
