"""What would settle a line that nobody can tell: a word in the line, a take, a better bench.

Of a figure whose interval reaches across a limit, the doubt that would decide is its distance from
that limit (times 1.96 over the quantile of the risk agreed on, JCGM 106:2012, 8.3.2).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

from probe.compare.difference import doubts
from probe.numbers import number, write_number
from probe.verify.conformity import SIGMAS, Limits
from probe.verify.judged import JudgedFigure, JudgedReading
from probe.verify.quantities import Quantity
from probe.verify.specification import LineTable

ON_THE_LIMIT = 0.1
"""Share of its doubt within which a value lies on its limit: ten times less doubt is out of reach
of any bench described here (common practice, no source)."""

SCALE_SHARE = 0.7
"""From this share of a level's doubt on, it is the recorder's scale that decides it: all the rest
together is then no larger."""


@dataclass(frozen=True)
class Cure:
    """What makes a figure surer, and what replaces a bound by a value or a nearer bound."""

    surer: str
    nearer: str


CURES = {
    "level": Cure(
        "the open take made again at the end of the session, the device warmed up",
        "a take with a load on that output, which shows what the recorder takes from it",
    ),
    "gain": Cure(
        "the open take made again, the drive measured with the same recorder",
        "a take with a load on that output, which shows what the recorder takes from it",
    ),
    "maximum": Cure(
        "finer steps of the rising tone round the maximum",
        "the rising tone taken further, into a recorder or pad that stands more; or, for a stated "
        "load, with that load connected (mind its power)",
    ),
    "impedance": Cure(
        "the loaded takes made again with resistors near that impedance, known to 0.1 %",
        "a test tone fed into that leg (inject-hot, inject-cold), or a recorder of higher input "
        "impedance",
    ),
    "noise": Cure(
        "longer idle and floor takes at one gain",
        "a quieter recorder, or more gain in front of it, with a floor take at the same gain",
    ),
    "thd": Cure(
        "a longer tone take at that level, and a loop-back take at the same level",
        "a loop-back take at the same level, or a bench that distorts less",
    ),
    "corner": Cure(
        "a slower sweep through the corner, with a loop-back sweep",
        "a sweep, or an open take with tones, that reaches beyond the limit, with a loop-back take",
    ),
    "balance": Cure(
        "a channel-match take, and the open take once more with exchanged leads",
        "a channel-match take, and the open take once more with exchanged leads",
    ),
    "rejection": Cure(
        "the injected takes made again, longer or with more test tone",
        "the injected takes made again, longer or with more test tone",
    ),
    "crosstalk": Cure(
        "a longer take while only the other side plays, with more drive",
        "a longer take while only the other side plays, with more drive, and an idle take",
    ),
    "meter": Cure(
        "a meter of finer resolution, the reading made again after warming up",
        "a meter of finer resolution, the reading made again after warming up",
    ),
}  # fmt: skip
"""By what a quantity is found by; common practice."""


def found_by(name: str, quantity: Quantity) -> str:
    """Return the key of `CURES` for a quantity of a specification."""
    if quantity.about in ("level", "gain", "maximum", "impedance"):
        return quantity.about
    parts = (
        ("noise", "noise"), ("thd", "thd"), ("corner", "corner"), ("rejection", "rejection"),
        ("crosstalk", "crosstalk"), ("direct-voltage", "meter"),
    )  # fmt: skip
    return next((key for part, key in parts if part in name), "balance")


def of_line(
    line: LineTable,
    quantity: Quantity,
    readings: Sequence[JudgedReading],
    limits: Limits | None,
    risk: float,
    facts: Mapping[str, Any],
) -> tuple[str, ...]:
    """Return what would settle a line that cannot be told, the best first, none twice.

    Parameters
    ----------
    line, quantity, limits
        What is stated; limits in the unit of the facts.
    readings
        Its meanings as they came out.
    risk
        Agreed on.
    facts
        The facts document: how surely its bench knows its scale.
    """
    told = list(_words(line, quantity)) if len({r.outcome for r in readings}) > 1 else []
    cure = CURES[found_by(line.quantity, quantity)]
    scale = _scale_percent(facts)
    for figure in (f for r in readings if r.outcome == "cannot-tell" for f in r.figures):
        undecided = figure.decision is not None and figure.decision.outcome == "cannot-tell"
        if figure.measured is None or not (undecided or figure.problem == "cannot-tell"):
            continue
        if figure.measured.get("bound") or figure.problem:
            told.append(cure.nearer)
        elif limits is not None:
            told += _surer(figure, limits, risk, cure, quantity, scale)
    return tuple(dict.fromkeys(told)) or (f"{cure.surer}, or {cure.nearer}",)


def _words(line: LineTable, quantity: Quantity) -> Iterable[str]:
    """Yield what the line would have to say."""
    if line.per is None and len(quantity.facts) > 1:
        yield 'which one the maker means: per = "between-legs" or "each-leg" in the line'
    if line.condition.into_ohm is not None and line.condition.into is None:
        yield ('how the maker joins the load: into = "between-legs" or "each-leg" in the condition')


def meanings(line: LineTable, quantity: Quantity) -> tuple[str, ...]:
    """Return what a line of several meanings would have to say, none where it has one."""
    return tuple(_words(line, quantity))


def _surer(
    figure: JudgedFigure,
    limits: Limits,
    risk: float,
    cure: Cure,
    quantity: Quantity,
    scale: float,
) -> Iterable[str]:
    """Yield what shrinks a doubt, and how small it would have to be."""
    assert figure.measured is not None
    value, unit = float(figure.measured["value"]), str(figure.measured.get("unit") or "")
    doubt = max(doubts(figure.measured))
    ends = [e for e in (limits.low, limits.high) if math.isfinite(e)]
    room = min(abs(value - end) for end in ends) * SIGMAS / NormalDist().inv_cdf(1.0 - risk)
    wanted = (
        f"a doubt of at most ±{write_number(room, unit, 2)} (it is ±{write_number(doubt, unit, 2)})"
    )
    if room < ON_THE_LIMIT * doubt:
        yield f"{wanted}, out of reach of most benches: agree on the figure or on another --risk"
        return
    own = 100.0 * doubt / abs(value) if value else 0.0
    if quantity.about in ("level", "maximum") and scale >= SCALE_SHARE * own:
        told = f"it is mostly the bench's scale, known to {scale:g} %"
        yield f"{wanted}: {told}: calibrate with a better meter (probe calibrate)"
        return
    yield f"{wanted}: {cure.surer}"


def _scale_percent(facts: Mapping[str, Any]) -> float:
    """Return the largest doubt of the bench's volts at full scale, percent; 0 where not stated."""
    bench = (facts.get("made") or {}).get("bench") or {}
    inputs = [i for i in bench.get("inputs") or () if isinstance(i, Mapping)]
    return max((number(i, "u95_percent") or 0.0 for i in inputs), default=0.0)


def of_word(stage: Mapping[str, Any], quantity: str, take: str | None) -> tuple[str, ...]:
    """Return what would settle polarity or kind beside a take that is named anyway."""
    if take is not None:
        return ()
    if quantity == "polarity":
        return ("the single-ended output recorded beside pin 2, at the same drive",)
    same = [o for o in stage.get("also_possible") or () if number(o, "confidence") is None]
    if same and stage.get("kind") != "undetermined":
        return ("no take: what else it may be is the same at these terminals; ask the maker",)
    sure = number(stage, "confidence")
    told = "" if sure is None else f" (it is now {100.0 * sure:.0f} % sure)"
    return (
        "the loaded and injected takes made again, with less drift between them, until the kind "
        f"is surer{told}",
    )
