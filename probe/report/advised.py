"""An advice document turned into rows for the page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from probe.report import words
from probe.report.numbers import number, write
from probe.report.text import MESSAGE_LIMIT, clean

_ORDER = ("use", "works", "cannot-tell", "avoid", "never")
_QUANTITIES = (
    ("level", "Level"),
    ("level_vs_rca_db", "Against the RCA link"),
    ("full_output_margin_db", "Margin to full output"),
    ("tie_current", "Current in the tie"),
)


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

    chosen: str
    provisional: bool
    cautions: tuple[str, ...]
    options: tuple[OptionRow, ...]


def advice_view(advice: Mapping[str, Any]) -> AdviceView:
    """Return the view of an advice document."""
    options = [o for o in _list(advice, "options") if isinstance(o, Mapping)]
    options.sort(key=_rank)
    chosen = advice.get("chosen")
    return AdviceView(
        chosen=_option_name(chosen) if chosen else "",
        provisional=bool(advice.get("provisional")) or any(o.get("provisional") for o in options),
        cautions=tuple(_sentence(c) for c in _list(advice, "cautions")),
        options=tuple(_row(option) for option in options),
    )


def _row(option: Mapping[str, Any]) -> OptionRow:
    code = str(option.get("verdict") or "cannot-tell")
    where = [clean(option[k], 60) for k in ("side", "destination") if option.get(k)]
    return OptionRow(
        name=_option_name(option.get("id")),
        where=", ".join(where),
        verdict=words.VERDICTS.get(code, clean(code, 20)),
        code=code if code in words.VERDICTS else "cannot-tell",
        figures=tuple(_figures(option)),
        reasons=tuple(_sentence(r) for r in _list(option, "reasons")),
        hazards=tuple(_sentence(h) for h in _list(option, "hazards")),
    )


def _figures(option: Mapping[str, Any]) -> list[str]:
    told = []
    for key, name in _QUANTITIES:
        entry = option.get(key)
        if isinstance(entry, Mapping) and number(entry) is not None:
            unit = entry.get("unit") or ("dB" if key.endswith("_db") else "")
            told.append(f"{name}: {write({**entry, 'unit': unit}).whole}")
    return told


def _option_name(code: object) -> str:
    return words.OPTIONS.get(str(code)) or clean(code, 60).replace("-", " ")


def _rank(option: Mapping[str, Any]) -> int:
    code = option.get("verdict")
    return _ORDER.index(code) if code in _ORDER else len(_ORDER)


def _sentence(found: object) -> str:
    text = found.get("message") if isinstance(found, Mapping) else found
    return clean(text or "", MESSAGE_LIMIT)


def _list(parent: Mapping[str, Any], key: str) -> list[Any]:
    value = parent.get(key)
    return list(value) if isinstance(value, list | tuple) else []
