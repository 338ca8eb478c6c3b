"""An advice document turned into rows for the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from probe.numbers import number
from probe.report import cautions, words
from probe.report.bounded import figure
from probe.report.document import listing
from probe.report.leaflet import FIRST
from probe.report.places import place_of
from probe.report.text import MESSAGE_LIMIT, clean, printed
from probe.report.used import as_used, needs_pad

_ORDER = ("use", "works", "cannot-tell", "avoid", "never")
_QUANTITIES = (
    (("level",), "Level", ""),
    (("level_vs_rca_db",), "Level against the {link}", "dB"),
    (("loudness_vs_rca_db",), "Loudness against the {link}", "dB"),
    (("full_output_margin_db",), "Margin to full output", "dB"),
    (("loss_db", "at_20_hz"), "Loss at 20 Hz", "dB"),
    (("loss_db", "at_20_khz"), "Loss at 20 kHz", "dB"),
    (("bandwidth_hz", "low"), "Lower corner", "Hz"),
    (("bandwidth_hz", "high"), "Upper corner", "Hz"),
    (("tie_current",), "Current in the tie, peak", "A"),
    (("hum_below_full_output_db",), "Hum below full output", "dB"),
    (("noise_below_full_output_db",), "Noise below full output", "dB"),
)
"""Where a figure stands in an option, its name, and its unit where it states none."""


@dataclass(frozen=True)
class OptionRow:
    """One way to connect: what it is, how it fares and why."""

    name: str
    where: str
    verdict: str
    code: str
    figures: tuple[str, ...]
    reasons: tuple[str, ...]
    hazards: tuple[str, ...]


@dataclass(frozen=True)
class AdviceView:
    """The options, best first, and the cautions of the advice itself."""

    destination: str
    operating_point: str
    chosen: str
    why: tuple[str, ...]
    provisional: str
    cautions: tuple[str, ...]
    options: tuple[OptionRow, ...]


LINKS = {"rca-link": "RCA link", "xlr-link": "XLR link"}
"""What levels are compared with; an output without RCA has its native link."""


def advice_view(advice: Mapping[str, Any]) -> AdviceView:
    """Return the view of an advice document."""
    options: list[Mapping[str, Any]] = [
        as_used(o, with_pad=needs_pad(o))
        for o in listing(advice, "options")
        if isinstance(o, Mapping)
    ]
    options.sort(key=_rank)
    chosen = advice.get("chosen")
    return AdviceView(
        destination=place_of(advice.get("destination")) if advice.get("destination") else "",
        operating_point=clean(advice.get("operating_point") or "", MESSAGE_LIMIT),
        chosen=_chosen(options) or (_option_name(chosen) if chosen else ""),
        why=tuple(_sentence(reason) for reason in listing(advice, "why"))
        if len(_used(options)) < 2
        else (),
        provisional=_provisional(advice, options),
        cautions=_cautions(listing(advice, "cautions")),
        options=tuple(_row(option) for option in options),
    )


def _used(options: Sequence[Mapping[str, Any]]) -> dict[str, Mapping[str, Any]]:
    """Return what is chosen for each box, the first side of it."""
    found: dict[str, Mapping[str, Any]] = {}
    for option in options:
        if option.get("verdict") == "use":
            found.setdefault(str(option.get("destination")), option)
    return found


def _chosen(options: Sequence[Mapping[str, Any]]) -> str:
    """Return the choice in words; of several boxes, each with its name."""
    names = {}
    for box, option in _used(options).items():
        pad = ", with an attenuator in its plug" if needs_pad(option) else ""
        names[clean(box, 60)] = f"{_option_name(option.get('id'))}{pad}"
    if len(names) < 2:
        return "".join(names.values())
    return "; ".join(f"{box}: {name}" for box, name in names.items())


def _cautions(own: Sequence[Any]) -> tuple[str, ...]:
    """Return what forbids connecting, what every advice needs, the rest; none of them twice."""
    codes = {c.get("code") for c in own if isinstance(c, Mapping)}
    needed = [text for code, text in cautions.BEFORE_ADVICE.items() if code not in codes]
    first = [c for c in own if isinstance(c, Mapping) and c.get("code") in FIRST]
    return (*map(_sentence, first), *needed, *(_sentence(c) for c in own if c not in first))


def _provisional(advice: Mapping[str, Any], options: Sequence[Mapping[str, Any]]) -> str:
    if not advice.get("provisional") and not any(o.get("provisional") for o in options):
        return ""
    missing = ", ".join(clean(part, 40) for part in listing(advice, "not_computed"))
    return missing or "not everything that ranks the options"


def _row(option: Mapping[str, Any]) -> OptionRow:
    code = str(option.get("verdict") or "cannot-tell")
    hazards = [_sentence(h) for h in listing(option, "hazards")]
    reasons = [r for r in map(_sentence, listing(option, "reasons")) if r not in hazards]
    where = [clean(option[k], 60) for k in ("side", "destination") if option.get(k)]
    return OptionRow(
        name=_option_name(option.get("id")),
        where=", ".join(where),
        verdict=words.VERDICTS.get(code, clean(code, 20)),
        code=code if code in words.VERDICTS else "cannot-tell",
        figures=tuple(_figures(option)),
        reasons=tuple(reasons),
        hazards=tuple(hazards),
    )


def _figures(option: Mapping[str, Any]) -> list[str]:
    told = []
    link = LINKS.get(str(option.get("reference")), LINKS["rca-link"])
    for path, name, unit in _QUANTITIES:
        entry: Any = option
        for key in path:
            entry = entry.get(key) if isinstance(entry, Mapping) else None
        if isinstance(entry, Mapping) and number(entry) is not None:
            told.append(
                f"{name.format(link=link)}: {figure({**entry, 'unit': entry.get('unit') or unit})}"
            )
    return told


def _option_name(code: object) -> str:
    return words.OPTIONS.get(str(code)) or clean(code, 60).replace("-", " ")


def _rank(option: Mapping[str, Any]) -> int:
    code = option.get("verdict")
    return _ORDER.index(code) if code in _ORDER else len(_ORDER)


def _sentence(found: object) -> str:
    text = found.get("message") if isinstance(found, Mapping) else found
    return printed(text)
