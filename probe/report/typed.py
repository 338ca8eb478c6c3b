"""An output typed from a data sheet: what the page says where nothing was measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from probe.numbers import number, write, write_as_typed, write_dbu
from probe.report import words
from probe.report.document import is_typed, listing, mapping
from probe.report.names import kind_name
from probe.report.shown import Named, TypedFigure, TypedView
from probe.report.text import MESSAGE_LIMIT, clean

NOTHING_MEASURED = "from a data sheet, nothing measured"

_LEVEL, _OHM, _BARE = "levels", "impedances", ""
"""What a figure is taken within: its key in the table ``taken_within`` of the document."""

_FIGURES = (
    ("differential_level_v", "Between pins 2 and 3", "at full output, open circuit", "V", _LEVEL),
    ("hot_level_v", "Pin 2", "at full output, open circuit", "V", _LEVEL),
    ("cold_level_v", "Pin 3", "at full output, open circuit", "V", _LEVEL),
    ("single_ended_level_v", "RCA", "at full output, open circuit", "V", _LEVEL),
    ("differential_maximum_v", "Most between pins 2 and 3", "before it distorts", "V", _LEVEL),
    ("single_ended_maximum_v", "Most at the RCA", "before it distorts", "V", _LEVEL),
    (
        "tied_maximum_v",
        "Most at pin 2 alone",
        "pin 3 joined to pin 1, before it distorts",
        "V",
        _LEVEL,
    ),
    ("differential_impedance_ohm", "Impedance between pins 2 and 3", "", "ohm", _OHM),
    ("hot_impedance_ohm", "Impedance of pin 2", "", "ohm", _OHM),
    ("cold_impedance_ohm", "Impedance of pin 3", "", "ohm", _OHM),
    ("single_ended_impedance_ohm", "Impedance of the RCA", "", "ohm", _OHM),
    ("differential_noise_a_v", "Noise between pins 2 and 3", "A-weighted", "V", _LEVEL),
    ("hot_noise_a_v", "Noise of pin 2", "A-weighted", "V", _LEVEL),
    ("cold_noise_a_v", "Noise of pin 3", "A-weighted", "V", _LEVEL),
    ("single_ended_noise_a_v", "Noise of the RCA", "A-weighted", "V", _LEVEL),
    ("digital_volts_peak_to_peak", "Digital output", "peak to peak", "V", _BARE),
    ("mains_hz", "Mains", "of the place it plays in", "Hz", _BARE),
    ("mains_v", "Mains", "of the place it plays in", "V", _BARE),
    ("minimum_load_ohm", "Least load", "that the maker allows", "ohm", _BARE),
)
"""Key, name, what belongs to it, unit, and what it is taken within; in the order of the page."""

FIGURES = {key: name for key, name, *_ in _FIGURES}
"""What a key of the description is called where people read it."""

_OUTPUTS = {
    "xlr": "XLR",
    "rca": "RCA",
    "digital-75": "digital, 75 Ω",
    "digital-110": "digital, 110 Ω",
}


def typed_view(facts: Mapping[str, Any]) -> TypedView | None:
    """Return what was typed, None where the document is of something measured."""
    if not is_typed(facts):
        return None
    stated, device = mapping(facts, "stated"), mapping(facts, "device")
    sides = "It has one channel." if facts.get("one_channel") else "Both sides are taken as alike."
    outputs = [_OUTPUTS.get(str(c), clean(c, 20)) for c in listing(device, "connectors")]
    of = f" Outputs: {', '.join(outputs)}." if outputs else ""
    kinds = tuple(_kinds(facts)) if "xlr" in listing(device, "connectors") else ()
    return TypedView(
        head=NOTHING_MEASURED,
        rests_on="Everything below is calculated from figures that were typed from a data sheet. "
        f"{sides}{of}",
        figures=tuple(_figures({**stated, **mapping(stated, "device")}, facts)),
        kinds=kinds,
        kinds_from=_kinds_from(stated, len(kinds)) if kinds else "",
        taken_as=clean(facts.get("taken_as") or "", MESSAGE_LIMIT),
        within=_within(mapping(facts, "taken_within")),
    )


def _figures(stated: Mapping[str, Any], facts: Mapping[str, Any]) -> Iterable[TypedFigure]:
    taken_within = mapping(facts, "taken_within")
    for key, name, about, unit, taken in _FIGURES:
        value = number(stated, key)
        if value is None:
            continue
        share = number(taken_within, taken) or 0.0
        entry = {"value": value, "unit": unit, "u95": share * value}
        told = write(entry)
        yield TypedFigure(
            name=name,
            about=about,
            value=write_as_typed(value, unit),
            level=write_dbu({"value": value, "unit": unit}) if key.endswith("_level_v") else "",
            taken=f"{told.interval} {told.unit}" if told.interval else "as typed",
        )


def _kinds(facts: Mapping[str, Any]) -> Iterable[Named]:
    for side in mapping(facts, "sides").values():
        stage = mapping(side, "stage") if isinstance(side, Mapping) else {}
        also = (str(o.get("kind")) for o in listing(stage, "also_possible"))
        found = [str(stage.get("kind")), *also]
        for kind in dict.fromkeys(k for k in found if k in words.KINDS and k != "undetermined"):
            name = kind_name(kind)
            meaning = words.MEANINGS.get(kind, "").format(live=2, other=3)
            yield Named(name[:1].upper() + name[1:], meaning)
        return


def _kinds_from(stated: Mapping[str, Any], count: int) -> str:
    if stated.get("kinds"):
        return "So it was typed." if count == 1 else "So it was typed; the worst verdict is kept."
    if count == 1:
        return "The only kind that fits the figures."
    return "The kind was not typed. Every one that fits the figures is solved, the worst kept."


def _within(taken: Mapping[str, Any]) -> str:
    told = [
        f"{name} to {100.0 * share:.0f} %"
        for key, name in (
            (_LEVEL, "levels"),
            (_OHM, "impedances"),
            ("legs_alike", "legs alike within"),
        )
        if (share := number(taken, key))
    ]
    return ", ".join(told).replace("within to", "within")
