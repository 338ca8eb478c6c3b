"""What must hold of a facts document before anything is taken from it.

Only what later rooms rely on is checked, and only where it is there: keys may be added to the
format, so an unknown key is no mistake.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from probe.facts.curve_shape import curves_complaint, is_number
from probe.formats.mains import HERTZ, VOLTS
from probe.formats.text import one_of, quoted
from probe.stage.faults import FAULTS
from probe.stage.kind import KINDS
from probe.stage.next_take import TAKES

SIDES = ("left", "right", "mono")

DEVICE_TEXTS = ("maker", "model", "serial", "kind", "output", "firmware", "stated_polarity")
DEVICE_FIGURES = ("minimum_load_ohm", "full_output_volts")
DEVICE_FLAGS = ("volume_control",)
STAGE_TEXTS = ("next_take_reason",)
STAGE_LISTS = ("reasons", "refused_loads")
STAGE_WORDS = {
    "kind": KINDS,
    "driven_legs": ("both-legs", "one-leg", "none"),
    "next_take": TAKES,
    "path": ("dual", "split", "undetermined"),
    "polarity": ("pin-2-hot", "pin-3-hot", "undetermined"),
    "faults": FAULTS,
    "possible_faults": FAULTS,
}
"""Closed lists, of one word or of a list of them. What depends on a word (a hazard of a kind, the
meaning of a fault) would silently not be said of one that is not known here."""
UNITS = {
    "V": "_level _recorded _pin_3_tied _noise _noise_a _hum _maximum _direct_voltage",
    "ohm": "_impedance _impedance_off impedance_mismatch",
    "dB": "_ratio _balance _difference _rejection _gain _loss _to_noise _to_noise_a _cancellation "
    "_left_to_right _right_to_left drift",
    "deg": "leg_phase",
    "1": "coupling_cold_into_hot coupling_hot_into_cold",
    "A": "_tie_current",
    "%": "_thd _thd_n",
    "Hz": "_corner",
}
"""Unit of every fact whose name ends so, the longest end first. Of another name nothing is
known here, and nothing is taken from it."""

SIGNED = ("_direct_voltage", "impedance_mismatch")
"""Ends of names whose value has a sign though its unit is that of a size."""

SIZES = ("V", "ohm", "A", "%", "Hz")
"""Units of figures that are sizes: never below 0, but for the names above."""

BOUNDS = ("above", "below")

FACT_FIGURES = ("value", "u95", "at_hz", "low", "high", "imag", "limit")
FACT_FLAGS = ("near_limit", "limited_by_bench")

LARGEST = 1e15
"""Of any figure in its unit; as of the curves."""


def shape_complaint(facts: Mapping[str, Any]) -> str | None:
    """Return what is wrong with the shape of a facts document, None where nothing is.

    The complaint names the key first and says what is allowed.
    """
    for key, holds, what in (
        ("device", _is_table, "an object"),
        ("sides", _is_table, "an object"),
        ("warnings", _is_list, "a list"),
    ):
        if not holds(facts.get(key)):
            return f"{key} is missing or not {what}"
    if not facts["sides"]:
        return "sides is empty: there is nothing to take from it"
    return (
        _device(facts["device"])
        or _made(facts.get("made"))
        or _warnings(facts["warnings"])
        or next((c for c in (_side(*item) for item in facts["sides"].items()) if c), None)
        or _between(facts.get("between_sides"))
    )


def _device(device: Mapping[str, Any]) -> str | None:
    return (
        _each(device, "device", DEVICE_TEXTS, _is_text, "text")
        or _each(device, "device", DEVICE_FIGURES, is_number, "a number")
        or _each(device, "device", DEVICE_FIGURES, _is_above_0, f"above 0 and within {LARGEST:g}")
        or _each(device, "device", DEVICE_FLAGS, _is_flag, "true or false")
        or _each(device, "device", ("connectors",), _is_list_of(_is_text), "a list of texts")
    )


def _made(made: object) -> str | None:
    if made is None:
        return None
    if not isinstance(made, Mapping):
        return "made is not an object"
    bench = made.get("bench")
    if bench is not None and not isinstance(bench, Mapping):
        return "made.bench is not an object"
    held, where = bench or {}, "made.bench"
    return (
        _each(held, where, ("inputs",), _is_list_of(_is_table), "a list of objects")
        or _each(held, where, ("mains_hz",), *_from_to(HERTZ))
        or _each(held, where, ("mains_v",), *_from_to(VOLTS))
    )


def _warnings(warnings: list[Any]) -> str | None:
    for position, warning in enumerate(warnings):
        if not isinstance(warning, Mapping):
            return f"warnings[{position}] is not an object"
        wrong = _each(
            warning, f"warnings[{position}]", ("code", "take", "message"), _is_text, "text"
        )
        if wrong:
            return wrong
    return None


def _side(side: str, body: object) -> str | None:
    if side not in SIDES:
        return f"sides.{quoted(side, 20)} is not left, right or mono"
    if not isinstance(body, Mapping):
        return f"sides.{side} is not an object"
    for key in ("stage", "facts", "curves"):
        if not isinstance(body.get(key), dict):
            return f"sides.{side}.{key} is missing or not an object"
    return (
        _stage(body["stage"], f"sides.{side}.stage")
        or curves_complaint(body["curves"], f"sides.{side}.curves")
        or _facts(body["facts"], f"sides.{side}.facts")
        or _elsewhere(body, f"sides.{side}")
    )


def _between(between: object) -> str | None:
    if between is None:
        return None
    if not isinstance(between, dict):
        return "between_sides is not an object"
    facts = between.get("facts")
    if facts is not None and not isinstance(facts, dict):
        return "between_sides.facts is not an object"
    return _facts(facts or {}, "between_sides.facts") or _elsewhere(between, "between_sides")


def _elsewhere(body: Mapping[str, Any], where: str) -> str | None:
    """Return what is wrong with the facts under other conditions."""
    rows = body.get("facts_at")
    if rows is None:
        return None
    if not _is_list_of(_is_table)(rows):
        return f"{where}.facts_at is not a list of objects"
    for position, row in enumerate(rows):
        here, facts = f"{where}.facts_at[{position}]", row.get("facts")
        if not isinstance(facts, dict):
            return f"{here}.facts is missing or not an object"
        if wrong := _facts(facts, f"{here}.facts"):
            return wrong
    return None


def _stage(stage: Mapping[str, Any], where: str) -> str | None:
    wrong = (
        _each(stage, where, STAGE_TEXTS, _is_text, "text")
        or _each(stage, where, STAGE_LISTS, _is_list_of(_is_text), "a list of texts")
        or next((c for c in (_words(stage, where, *w) for w in STAGE_WORDS.items()) if c), None)
        or _each(stage, where, ("confidence",), _is_share, "a share from 0 to 1")
        or _each(stage, where, ("also_possible",), _is_list_of(_is_table), "a list of objects")
    )
    if wrong:
        return wrong
    for position, other in enumerate(stage.get("also_possible") or ()):
        here = f"{where}.also_possible[{position}]"
        if not _is_text(other.get("kind")):
            return f"{here}.kind is missing or not text"
        wrong = _words(other, here, "kind", KINDS) or _each(
            other, here, ("confidence",), _is_share, "a share from 0 to 1"
        )
        if wrong:
            return wrong
    return None


def _words(table: Mapping[str, Any], where: str, key: str, known: tuple[str, ...]) -> str | None:
    """Return a complaint of a word, or of one in a list of words, that is not on its list."""
    found = table.get(key)
    if found is None:
        return None
    here, is_list = f"{where}.{key}", known is FAULTS
    if is_list and not _is_list_of(_is_text)(found):
        return f"{here} is not a list of texts"
    if not is_list and not _is_text(found):
        return f"{here} is not text"
    unknown = next((word for word in (found if is_list else [found]) if word not in known), None)
    if unknown is None:
        return None
    return f"{here} is {quoted(unknown, 20)}; known are {one_of(known)}"


def _facts(facts: Mapping[str, Any], where: str) -> str | None:
    for name, fact in facts.items():
        here = f"{where}.{quoted(name, 40)[1:-1]}"
        if isinstance(fact, list) and unit_of(name) is None:
            continue
        if not isinstance(fact, Mapping):
            return f"{here} is not an object"
        wrong = (
            _each(fact, here, FACT_FIGURES, is_number, "a number")
            or _each(fact, here, FACT_FIGURES, _is_believable, f"a number within {LARGEST:g}")
            or _each(fact, here, FACT_FLAGS, _is_flag, "true or false")
            or _each(fact, here, ("unit", "bound"), _is_text, "text")
            or _figure(name, fact, here)
        )
        if wrong:
            return wrong
    return None


def _figure(name: str, fact: Mapping[str, Any], here: str) -> str | None:
    """Return what cannot be so of one fact: its unit, an interval turned inside out."""
    unit = unit_of(name)
    if unit is not None and fact.get("unit") not in (None, unit):
        return f"{here}.unit is {quoted(fact['unit'], 20)}, and only {unit} can be"
    value, at_hz = fact.get("value"), fact.get("at_hz")
    if unit in SIZES and value is not None and value < 0.0 and not name.endswith(SIGNED):
        return f"{here}.value is {value:g} {unit}, and a size is not below 0"
    if at_hz is not None and at_hz <= 0.0:
        return f"{here}.at_hz is {at_hz:g}, and a frequency is above 0"
    limit = fact.get("limit")
    if unit in SIZES and limit is not None and limit < 0.0:
        return f"{here}.limit is {limit:g} {unit}, and what a bench can see is not below 0"
    u95 = fact.get("u95")
    if u95 is not None and u95 < 0.0:
        return f"{here}.u95 is {u95:g}, and half the width of an interval is not below 0"
    low, high = fact.get("low"), fact.get("high")
    if low is not None and high is not None and low > high:
        return f"{here}.low is {low:g}, above its high end {high:g}"
    if fact.get("bound") not in (None, *BOUNDS):
        return f"{here}.bound is {quoted(fact['bound'], 20)}, and only above and below can be"
    return None


def unit_of(name: str) -> str | None:
    """Return the unit of a fact by its name, None where the name is none that is known here."""
    ends = [
        (len(end), u) for u, some in UNITS.items() for end in some.split() if name.endswith(end)
    ]
    return max(ends)[1] if ends else None


def _each(
    table: Mapping[str, Any],
    where: str,
    keys: tuple[str, ...],
    holds: Callable[[object], bool],
    what: str,
) -> str | None:
    """Return a complaint of the first key that is there and holds something else."""
    for key in keys:
        if table.get(key) is not None and not holds(table[key]):
            return f"{where}.{key} is not {what}"
    return None


def _is_table(value: object) -> bool:
    return isinstance(value, dict)


def _is_list(value: object) -> bool:
    return isinstance(value, list)


def _is_text(value: object) -> bool:
    return isinstance(value, str)


def _is_believable(value: object) -> bool:
    return is_number(value) and abs(value) <= LARGEST


def _is_above_0(value: object) -> bool:
    return _is_believable(value) and isinstance(value, int | float) and value > 0.0


def _from_to(ends: tuple[float, float]) -> tuple[Callable[[object], bool], str]:
    least, most = ends
    return (
        lambda value: is_number(value) and least <= value <= most,
        f"a number from {least:g} to {most:g}",
    )


def _is_flag(value: object) -> bool:
    return isinstance(value, bool)


def _is_share(value: object) -> bool:
    return is_number(value) and 0.0 <= value <= 1.0


def _is_list_of(holds: Callable[[object], bool]) -> Callable[[object], bool]:
    return lambda value: isinstance(value, list) and all(holds(inner) for inner in value)
