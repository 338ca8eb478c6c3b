"""Why nothing is used somewhere on a walk, and what makes its choice flip.

Both are read from the answers on either side: what stands against the way that is not used.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from probe.advice.candidate import RANK
from probe.advice.case import Verdict
from probe.advice.digital import DigitalAdvice
from probe.advice.model import Advice, Choice, OptionAdvice, Settling
from probe.numbers import without_figures

Side = Literal["here", "beyond it", "up to it"]
"""Where a reason holds: in the range itself, above a flip, or below it."""

ASKED = (
    "output-impedance", "minimum-load", "pin-3", "legs-alike", "each-driven", "winding",
    "leg-alone",
)  # fmt: skip
"""Questions to a maker that may open a way for one box."""

HELP = ("transformer", "better-lead", "line-driver")
"""What opens a way for one box, where it is bought."""

TOGETHER = "does not go with what the other boxes use: "
"""Before what a lead does to the others, in the reasons of what is chosen instead."""

ALONE = "by itself a way works, but none goes with what the other boxes use"


@dataclass(frozen=True)
class Reason:
    """What stands against a way of connecting one box.

    ``option`` None: against all of them. ``says`` in the words of the advice, ``because`` in plain
    ones. ``asks``: what would settle it, and what works then.
    """

    box: str
    option: str | None
    verdict: str
    says: str
    because: str
    where: Side = "here"
    place: str = ""
    """Where in a range it decides, if not from its start."""
    asks: tuple[Settling, ...] = ()

    @property
    def named(self) -> str:
        """Which way it is about, and where, without what was said above."""
        if self.option is None:
            return f"{self._place}nothing may be used, as said above"
        return f"{self._place}{self.option}{self._verdict}, as said above"

    @property
    def told(self) -> str:
        """The reason as a line for a terminal."""
        if self.option is None:
            return f"{self._place}{self.says}"
        works = "" if self.verdict else " works too, but"
        return f"{self._place}{self.option}{self._verdict}{works}: {self.says}"

    @property
    def _place(self) -> str:
        return self.place if self.where == "here" else f"{self.where}, "

    @property
    def _verdict(self) -> str:
        return f" ({self.verdict.replace('-', ' ')})" if self.verdict else ""

    @property
    def questions(self) -> tuple[str, ...]:
        """What would settle it or helps, each with what works then."""
        return tuple(
            f"{'what would help: ' if a.code in HELP else ''}{a.what}"
            + (f"{': ' if a.code in HELP else ' '}{' or '.join(a.answers)} works" * bool(a.answers))
            for a in self.asks
        )

    @property
    def key(self) -> tuple[str | None, str, str]:
        """Equal where two say the same, whatever their figures."""
        return self.option, self.verdict, without_figures(self.says)

    def to_json(self) -> dict[str, Any]:
        """Return the reason as plain values."""
        return {
            "destination": self.box,
            "where": f"{self.where}{f' {self.place}'.rstrip(', ')}",
            "option": self.option,
            "verdict": self.verdict or None,
            "reason": self.says,
            "because": self.because,
            "asks": [one.to_json() for one in self.asks],
        }


def of_nothing(answer: Advice) -> tuple[Reason, ...]:
    """Return for each box without a way what decides that."""
    if not answer.choices:
        said = answer.cautions[0].message if answer.cautions else "no connection is advised"
        return (Reason("", None, "", said, said),)
    return tuple(_nothing(answer, c) for c in answer.choices if c.option is None)


def _nothing(answer: Advice, choice: Choice) -> Reason:
    mine = _of(answer, choice.box)
    asks = tuple(
        s
        for codes in (ASKED, HELP)  # a question costs nothing
        for s in answer.would_change
        if s.box == choice.box and s.code in codes
    )
    if not mine or any(_verdict(o) in ("use", "works") for o in mine):
        says = "; ".join(choice.why)
        return Reason(choice.box, None, "", says, ALONE if mine else says, asks=asks)
    if choice.best is None:  # each may do harm: the mildest verdict decides
        least = min(mine, key=lambda o: RANK[_verdict(o)])
        return _against(least, mine, "here", asks)
    return _against(next(o for o in mine if _id(o) == choice.best), mine, "here", asks)


def of_flip(before: Advice, after: Advice) -> tuple[Reason, ...]:
    """Return for each box that uses another way what stands against one on one side of the flip."""
    if not before.choices or not after.choices:
        return of_nothing(after if not after.choices else before)
    return tuple(
        reason
        for was, now in zip(before.choices, after.choices, strict=True)
        if (was.option, was.attenuator) != (now.option, now.attenuator)
        for reason in _flipped(before, after, was, now)
    )


def _flipped(before: Advice, after: Advice, was: Choice, now: Choice) -> Iterator[Reason]:
    """Yield what rules one of the two out on its side; where both work, why one is better."""
    if was.option is not None and was.option == now.option:
        yield _fitted(before, after, now)
        return
    then, once = _of(after, was.box), _of(before, now.box)
    lost = next((o for o in then if _id(o) == was.option), None)
    won = next((o for o in once if _id(o) == now.option), None)
    if lost is not None and _verdict(_worst(lost, then)) not in ("use", "works"):
        yield _against(lost, then, "beyond it", (), was.attenuator)
    elif won is not None and _verdict(_worst(won, once)) not in ("use", "works"):
        yield _against(won, once, "up to it", (), now.attenuator)
    elif isinstance(lost, OptionAdvice) and lost.passed_by and now.option is not None:
        lacks = lost.passed_by
        beside = now.why[0] if now.why and TOGETHER in now.why[0] else ""
        says = f"{lacks}: {beside.partition(TOGETHER)[2]}" if beside else lacks
        yield Reason(was.box, was.option, "", says, lacks, "beyond it")
    else:
        whole = now if now.option is None or was.option is not None else was
        side: Side = "beyond it" if whole is now else "up to it"
        says = "; ".join(whole.why)
        yield Reason(now.box, None, "", f"{whole.option or 'nothing'}: {says}", says, side)


NOR_WITH = "; resistors in its plug do not mend it"
"""Behind what stands against a way that is used with them on the other side of a flip."""


def _fitted(before: Advice, after: Advice, now: Choice) -> Reason:
    """Return why there are resistors in the plug of a way on one side of a flip."""
    where: Side = "beyond it" if now.attenuator else "up to it"
    among = _of(after if now.attenuator else before, now.box)
    mine = [o for o in among if isinstance(o, OptionAdvice) and _id(o) == now.option]
    told = next((o for o in mine if o.reasons), mine[0])
    says = next(iter(told.reasons), "resistors in its plug")
    because = f"resistors are needed in its plug: {told.because or says}"
    return Reason(now.box, now.option, told.verdict, says, because, where)


Way = OptionAdvice | DigitalAdvice


def _of(answer: Advice, box: str) -> list[Way]:
    ways: list[Way] = [*answer.options, *answer.digital]
    return [way for way in ways if way.box == box]


def _id(way: Way) -> str:
    return way.option.id if isinstance(way, OptionAdvice) else way.link.id


def _verdict(way: Way) -> Verdict:
    return (
        way.used.verdict if isinstance(way, OptionAdvice) and way.verdict != "use" else way.verdict
    )


def _worst(way: Way, among: Sequence[Way]) -> Way:
    """Return a way on its worse side."""
    return max((o for o in among if _id(o) == _id(way)), key=lambda o: RANK[_verdict(o)])


def _against(
    way: Way, among: Sequence[Way], where: Side, asks: tuple[Settling, ...], padded: bool = False
) -> Reason:
    """Return what stands against a way; ``padded``: it is used with resistors across the flip."""
    worst = _worst(way, among)
    if isinstance(worst, DigitalAdvice):
        says = "; ".join(h.message for h in worst.deciding or worst.hazards)
        return Reason(worst.box, worst.link.id, worst.verdict, says, says, where, asks=asks)
    used = worst.used
    more = NOR_WITH * (padded and used is worst)
    says = used.reasons[0] if used.reasons else ""
    because = used.because or says
    return Reason(worst.box, worst.option.id, used.verdict, f"{says}{more}", f"{because}{more}",
                  where, asks=asks)  # fmt: skip
