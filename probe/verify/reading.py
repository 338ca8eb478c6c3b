"""From a line of a specification to measured figures under its conditions, or why there is none.

Nothing is compared blindly: a figure measured under another condition is carried to the stated one
where the measured stage allows that (a load, a drive below the maximum), and every step is said;
where it does not, the line is not comparable and the reason says what would make it so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from probe.compare.conditions import SAME_DRIVE_DB, SAME_HZ, SAME_LEVEL_DB, drive_of, hangs
from probe.compare.difference import doubts
from probe.facts import source_from_facts
from probe.facts.source import Source
from probe.numbers import number, ratio_db, write, write_hz, write_number
from probe.verify import from_curve, loaded
from probe.verify.conformity import as_bound
from probe.verify.not_driven import refused_as_hard
from probe.verify.quantities import BETWEEN, HZ, QUANTITIES, Quantity
from probe.verify.specification import ConditionTable, LineTable

Entry = Mapping[str, Any]

USUAL_HZ = 1000.0
KNOWN_CONDITIONS = frozenset({"volume", "take", "tone_hz", "tone_volts", "load_ohm", "load_is"})
"""Conditions of a fact that a line can state, or that its own figures state; a fact under any other
one is left alone."""

READ_AS = {
    "between-legs": "between the legs",
    "each-leg": "each leg against pin 1",
    "": "",
}

WORDS = {"up": "up to", "down": "down to", "away": "as far as", "size": "up to"}


@dataclass(frozen=True)
class Figure:
    """One fact under the conditions of a line.

    ``problem`` is empty, ``not-measured``, ``not-comparable`` or ``cannot-tell``; ``reason`` says
    why; ``steps`` what was converted.
    """

    fact: str
    entry: Entry | None
    steps: tuple[str, ...] = ()
    problem: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Reading:
    """One meaning a line may have, with the figures that must all keep its limits."""

    meaning: str
    figures: tuple[Figure, ...]


class SideReader:
    """Reads the lines of a specification against one side of a facts document."""

    def __init__(self, facts: Mapping[str, Any], side: str) -> None:
        self.facts, self.side = facts, side
        self.body: Mapping[str, Any] = facts["sides"].get(side) or {}
        self.conditions: Mapping[str, Any] = self.body.get("conditions") or {}
        self._source: Source | None = None
        self._asked = False

    @property
    def source(self) -> Source | None:
        """The measured stage with its draws, read when first needed."""
        if not self._asked:
            self._asked = True
            self._source = source_from_facts(dict(self.facts), self.side)
        return self._source

    def readings(self, line: LineTable) -> tuple[Reading, ...]:
        """Return every meaning the line may have."""
        quantity = QUANTITIES[line.quantity]
        return tuple(self._readings(line, quantity))

    def _readings(self, line: LineTable, quantity: Quantity) -> Iterable[Reading]:
        for per, facts in quantity.facts.items():
            if line.per is not None and per != line.per:
                continue
            for into in _joined(line, quantity):
                told = [READ_AS[per]] if len(quantity.facts) > 1 else []
                if line.condition.into is None and into:
                    told.append(f"load {READ_AS[into]}")
                names = [f"{n}_a" if line.weighting == "a" else n for n in facts]
                figures = tuple(self._figure(n, line, quantity, into) for n in names)
                yield Reading(", ".join(told), figures)

    def _figure(self, name: str, line: LineTable, quantity: Quantity, into: str) -> Figure:
        entry, steps, wrong = self._under_conditions(name, line.condition, quantity)
        if wrong is not None:
            return wrong
        figure = Figure(name, entry, steps)
        if quantity.about == "level":
            figure = self._level(figure, line.condition, into)
        elif quantity.about == "gain":
            figure = self._gain(figure, line.condition, into)
        elif quantity.about == "maximum":
            figure = self._maximum(figure, line.condition, into)
        elif quantity.about == "impedance":
            figure = self._at_tone(figure, line.condition.at_hz)
        elif line.condition.at_hz is not None:
            figure = self._same_tone(figure, line.condition.at_hz, quantity)
        if line.condition.at_hz is None and not figure.problem:
            figure = self._judged_at(figure, line, quantity)
        if figure.problem:
            return figure
        return self._as_driven(_as_bench_allows(figure, quantity), line, quantity, into)

    def _as_driven(self, figure: Figure, line: LineTable, quantity: Quantity, into: str) -> Figure:
        """Turn what is solved into a load that the device did not drive into the most it may be."""
        ohm = line.condition.into_ohm
        if ohm is None or quantity.about not in ("level", "gain") or figure.problem:
            return figure
        why = refused_as_hard(self.body.get("stage") or {}, ohm, into)
        if why is None or figure.entry is None:
            return figure
        if figure.entry.get("bound") == "above":
            return replace(figure, problem="cannot-tell", reason=why)
        step = f"{why}; into this load it gives no more, and may give less"
        return replace(figure, entry=as_bound(figure.entry, "below"), steps=(*figure.steps, step))

    def _under_conditions(
        self, name: str, said: ConditionTable, quantity: Quantity
    ) -> tuple[Entry | None, tuple[str, ...], Figure | None]:
        """Return the entry measured under the stated conditions, the steps, or what is wrong."""
        candidates = self._candidates(name, quantity)
        risen = self._risen(name, said)
        if not candidates and risen is None:
            return None, (), Figure(name, None, (), "not-measured", "")
        candidates += [] if risen is None else [risen]
        wanted: dict[str, object] = {"level_v": said.level_v}
        if hangs(name, quantity.units[0]).volume:
            wanted["volume"] = said.volume
        if quantity.about in ("figure", "magnitude"):
            wanted["load_ohm"] = said.into_ohm
        if said.at_hz is not None:  # the one at the stated tone first
            candidates.sort(key=lambda c: not from_curve.near(number(c[1], "at_hz"), said.at_hz))
        for condition, entry in candidates:
            if all(_matches(k, condition.get(k), v) for k, v in wanted.items()):
                steps = (f"measured at {condition['volume']}",) if said.volume else ()
                steps = steps if said.volume != "any" else ()
                return entry, (*steps, *condition.get("steps", ())), None
        first = candidates[0][0]
        key = next(k for k, v in wanted.items() if not _matches(k, first.get(k), v))
        return None, (), Figure(name, None, (), "not-comparable", _why(key, said, first))

    def _candidates(
        self, name: str, quantity: Quantity
    ) -> list[tuple[dict[str, Any], Mapping[str, Any]]]:
        """Return every entry of a fact with its conditions: the side's own first, then others."""
        home = self._home(quantity)
        rows: list[tuple[object, object]] = [({}, (home.get("facts") or {}).get(name))]
        rows += [
            (row.get("condition"), (row.get("facts") or {}).get(name))
            for row in home.get("facts_at") or ()
        ]
        found = []
        for condition, entry in rows:
            if not isinstance(condition, Mapping) or not isinstance(entry, Mapping):
                continue
            if _known(entry) and set(condition) <= KNOWN_CONDITIONS:
                level = {"level_v": entry.get("at_volts")}
                found.append(({**self.conditions, **condition, **level}, entry))
        return found

    def _home(self, quantity: Quantity) -> Mapping[str, Any]:
        """Return the part of the document that holds a quantity: this side, or between the two."""
        between: Mapping[str, Any] = self.facts.get("between_sides") or {}
        return between if quantity.between_sides else self.body

    def _same_tone(self, figure: Figure, hz: float, quantity: Quantity) -> Figure:
        """Take a figure at the stated tone: as it is, or from its curve."""
        at = number(figure.entry, "at_hz")
        if at is None or from_curve.near(at, hz):
            return figure
        entry = from_curve.at_tone(self._home(quantity), figure.fact, hz)
        if entry is not None:
            return replace(figure, entry=entry)
        reason = (
            f"measured at {write_hz(at)}, stated at {write_hz(hz)}: repeat it with a tone there"
        )
        return replace(figure, problem="not-comparable", reason=reason)

    def _judged_at(self, figure: Figure, line: LineTable, quantity: Quantity) -> Figure:
        """Say at which tone a figure was judged that names none, and where it is farthest off."""
        at = number(figure.entry, "at_hz")
        if at is None or quantity.units == HZ:
            return figure
        told = [f"judged at {write_hz(at)}, the data sheet names no frequency"]
        toward = _toward(line, quantity)
        worst = from_curve.worst(self._home(quantity), figure.fact, figure.entry or {}, toward)
        if worst is not None and not from_curve.near(at, worst[0]):
            leg = figure.fact.partition("_")[0]
            which = f"{leg} " if leg in ("hot", "cold") else ""
            value = write(worst[1]).whole
            told.append(f"{which}over the band {WORDS[toward]} {value} at {write_hz(worst[0])}")
        return replace(figure, steps=(*figure.steps, *told))

    def _risen(self, name: str, said: ConditionTable) -> tuple[dict[str, Any], Entry] | None:
        """Return distortion at the stated level from the take of a rising tone, where it is."""
        if said.level_v is None or not name.endswith("_thd"):
            return None
        entry = from_curve.at_level(self.body, name, said.level_v, said.at_hz)
        if entry is None:
            return None
        step = f"at {write_number(entry['at_volts'], 'V')} of the take of a rising tone"
        return {**self.conditions, "level_v": entry["at_volts"], "steps": (step,)}, entry

    def _level(self, figure: Figure, said: ConditionTable, into: str) -> Figure:
        if figure.entry is not (self.body.get("facts") or {}).get(figure.fact):
            reason = "a level is carried only from the setting most takes were made at"
            return replace(figure, problem="not-comparable", reason=reason)
        figure = self._solved(figure, said, into)
        return figure if figure.problem else self._carried(figure, said)

    def _solved(self, figure: Figure, said: ConditionTable, into: str) -> Figure:
        """Take the level into the stated load and at the stated tone from the measured stage."""
        at = said.at_hz or USUAL_HZ
        if said.into_ohm is None and (said.at_hz is None or from_curve.near(_tone(figure), at)):
            return figure
        point = from_curve.at_tone(self.body, from_curve.CURVES[figure.fact], at)
        if said.into_ohm is None and point is not None:
            return replace(figure, entry=point)
        source = self.source
        tone = None if source is None else loaded.nearest_tone(source, at)
        if source is None or tone is None:
            why = f"no tone near {write_hz(at)} was played" if source is not None else ""
            return replace(figure, problem="not-comparable" if why else "not-measured", reason=why)
        found = loaded.level(source, figure.fact, tone, said.into_ohm, into)
        # where its curve has a bound, draws of the level are those of nothing known
        if found is None or (point is not None and "bound" in point):
            return replace(
                figure,
                problem="not-comparable",
                reason="the impedances that decide the level into the load were not measured",
            )
        steps = figure.steps
        if said.into_ohm is not None:
            how = READ_AS[into] if figure.fact != "single_ended_level" else "to ground"
            load = write_number(said.into_ohm, "ohm")
            steps = (*steps, f"solved into {load} {how} from the measured stage")
        return replace(figure, entry=found, steps=steps)

    def _carried(self, figure: Figure, said: ConditionTable) -> Figure:
        """Carry a level to the stated drive: in proportion, below the measured maximum."""
        stated = drive_of({"drive_volts": said.drive_v, "drive_dbfs": said.drive_dbfs})
        here = drive_of(self.conditions)
        if stated is None or here is None or stated[0] != here[0]:
            return replace(figure, problem="not-comparable", reason=_why_no_drive(stated, here))
        assert figure.entry is not None
        db = stated[1] - here[1]
        if abs(db) <= SAME_DRIVE_DB:
            return figure
        entry = _scaled(figure.entry, 10.0 ** (db / 20.0))
        unit = "V" if stated[0] == "V" else "of full scale"
        steps = (*figure.steps, f"carried by {db:+.2f} dB to the stated drive ({unit}), in "
                 "proportion: nothing here says that the device still follows")  # fmt: skip
        most = self._most(figure.fact)
        if most is not None:
            if float(entry["value"]) > most:
                reason = f"the stated drive would take it beyond its measured maximum, {most:.3g} V"
                return replace(figure, problem="not-comparable", reason=reason)
            steps = (*figure.steps, f"carried by {db:+.2f} dB to the stated drive, in proportion, "
                     "below the measured maximum")  # fmt: skip
        return replace(figure, entry=entry, steps=steps)

    def _most(self, fact: str) -> float | None:
        name = "single_ended_maximum" if fact == "single_ended_level" else "differential_maximum"
        most = number((self.body.get("facts") or {}).get(name))
        return most if most is None or fact not in ("hot_level", "cold_level") else most / 2.0

    def _gain(self, figure: Figure, said: ConditionTable, into: str) -> Figure:
        """Take what a load takes from the level off the gain."""
        if said.into_ohm is None:
            return figure
        level = f"{figure.fact.removesuffix('_gain')}_level"
        lost = self._lost(level, said, into)
        if lost is None:
            return replace(
                figure,
                problem="not-comparable",
                reason="the impedances that decide the gain into the load were not measured",
            )
        assert figure.entry is not None
        down, up = doubts(figure.entry)
        value = float(figure.entry["value"]) + ratio_db(lost[0])
        load = ratio_db(1.0 + lost[1])
        entry = {**figure.entry, "value": value, "u95": math.hypot(max(down, up), load)}
        entry.pop("low", None)
        entry.pop("high", None)
        return replace(
            figure,
            entry=entry,
            steps=(*figure.steps, f"{ratio_db(lost[0]):+.3f} dB for the stated load, solved"),
        )

    def _lost(self, level: str, said: ConditionTable, into: str) -> tuple[float, float] | None:
        """Return level into the load over level without, and its relative u95."""
        source = self.source
        tone = None if source is None else loaded.nearest_tone(source, said.at_hz or USUAL_HZ)
        if source is None or tone is None:
            return None
        under = loaded.level(source, level, tone, said.into_ohm, into)
        free = loaded.level(source, level, tone, None, into)
        if under is None or free is None or not free["value"]:
            return None
        doubt = abs(under["u95"] / under["value"] - free["u95"] / free["value"])
        return under["value"] / free["value"], doubt

    def _maximum(self, figure: Figure, said: ConditionTable, into: str) -> Figure:
        """Bound a maximum into a load: no output gives more into a load than it gives without."""
        if said.into_ohm is None:
            return figure
        level = f"{figure.fact.removesuffix('_maximum')}_level"
        lost = self._lost(level, said, into)
        assert figure.entry is not None
        if figure.entry.get("bound") == "above":
            reason = "only a least maximum is known, and none into the stated load"
            return replace(figure, problem="not-comparable", reason=reason)
        entry = as_bound(_scaled(figure.entry, 1.0 if lost is None else lost[0]), "below")
        step = "measured without the stated load: into it there is no more than this"
        return replace(figure, entry=entry, steps=(*figure.steps, step))

    def _at_tone(self, figure: Figure, hz: float | None) -> Figure:
        """Take an impedance at the stated tone from its curve."""
        assert figure.entry is not None
        at = number(figure.entry, "at_hz")
        if hz is None:
            return figure
        if at is not None and abs(math.log(at / hz)) <= SAME_HZ:
            return figure
        entry = from_curve.at_tone(self.body, figure.fact, hz)
        if entry is None:
            reason = f"not measured near {write_hz(hz)}"
            return replace(figure, problem="not-comparable", reason=reason)
        return replace(figure, entry=entry)


def _tone(figure: Figure) -> float | None:
    return number(figure.entry, "at_hz")


def _toward(line: LineTable, quantity: Quantity) -> from_curve.Toward:
    """Return where a figure would leave the limits of a line: what is worst over the band."""
    if quantity.about == "magnitude":
        return "size"
    if line.at_least is not None and line.at_most is None:
        return "down"
    return "up" if line.at_most is not None and line.at_least is None else "away"


def _joined(line: LineTable, quantity: Quantity) -> tuple[str, ...]:
    """Return how a stated load may be joined: as said, or both ways where it is not."""
    if line.condition.into_ohm is None or line.quantity.startswith("single-ended"):
        return ("",)
    if quantity.about not in ("level", "gain", "maximum"):
        return ("",)
    return (line.condition.into,) if line.condition.into else ("between-legs", "each-leg")


def _known(entry: Entry) -> bool:
    return number(entry) is not None


def _matches(key: str, measured: object, stated: object) -> bool:
    if key == "volume":
        here = _folded(measured)
        return stated == "any" or here == _folded(stated)
    if key == "load_ohm" and (stated is None or measured is None):
        return stated is measured
    if stated is None:
        return True
    if not isinstance(measured, int | float) or not isinstance(stated, int | float):
        return False
    return measured > 0.0 and abs(ratio_db(measured / stated)) <= SAME_LEVEL_DB


def _folded(value: object) -> str:
    return " ".join(str("" if value is None else value).casefold().split())


REPEAT = (
    "repeat it at that level (probe measure --tone-level; one output alone: --tone-level rca=1V)"
)


def _why(key: str, said: ConditionTable, measured: Mapping[str, Any]) -> str:
    if key == "level_v":
        here = measured.get("level_v")
        told = "an unstated level" if here is None else write_number(float(here), "V")
        return f"measured at {told}, stated at {write_number(said.level_v or 0.0, 'V')}: {REPEAT}"
    if key == "load_ohm":
        if said.into_ohm is None:
            return "measured only into a load, and the line states none"
        load = write_number(said.into_ohm, "ohm")
        return f"stated into {load}, measured without that load: repeat it with it"
    here = str(measured.get("volume") or "")
    if said.volume is None:
        return (
            f'measured at volume "{here}", and the line names none: add volume = "..." to its '
            'condition, the setting the figure holds at, or volume = "any"'
        )
    if not here:
        return f'stated at volume "{said.volume}"; the session does not say its setting'
    return f'measured at volume "{here}", stated at "{said.volume}": repeat the takes there'


def _why_no_drive(stated: tuple[str, float] | None, here: tuple[str, float] | None) -> str:
    if stated is None:
        return (
            "a level means nothing without what the device was fed: add drive_v or drive_dbfs to "
            "the condition"
        )
    if here is None:
        return "the session does not say what the device was fed (drive_volts or drive_dbfs)"
    return "stated against volts, measured against a file's full scale, or the reverse"


def _scaled(entry: Entry, factor: float) -> dict[str, Any]:
    numbers = {k: factor * float(entry[k]) for k in ("value", "u95", "low", "high") if k in entry}
    return {**entry, **numbers}


def _as_bench_allows(figure: Figure, quantity: Quantity) -> Figure:
    """Turn a figure that the recorder decides into the bound it still is, or into no answer."""
    entry = figure.entry
    if entry is None or not entry.get("limited_by_bench") or entry.get("bound"):
        return figure
    bound: Literal["above", "below"] = "below"
    if quantity.about in ("level", "maximum", "gain"):
        bound, why = "above", "the recorder loads it: without, it is more"
    elif "noise" in figure.fact or "thd" in figure.fact:
        why = "the recorder's own share is in it"
    else:
        return replace(figure, problem="cannot-tell", reason="the recorder decides this figure")
    return replace(figure, entry=as_bound(entry, bound), steps=(*figure.steps, why))


__all__ = ["BETWEEN", "Figure", "Reading", "SideReader"]
