"""The half page for the customer: an advice document in, one A4 side of HTML for each box out.

In the customer's words first: how it is wired, what to take, what it gains, what to try if it
hums, what never to do; the figures follow for the curious.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup

from probe.numbers import number
from probe.report.at_once import WITH_ALL, has_company, in_company
from probe.report.before import (
    BEFORE,
    FIRST,
    OF_EACH,
    asked_of,
    before_of,
    first_of,
    hangs_on_volume,
    overloads,
    places_in,
    tie_first,
)
from probe.report.bounded import figure, less_hum, loss_or_rise
from probe.report.document import listing
from probe.report.gains import gains, in_short, silent
from probe.report.needed import needs, needs_of_none
from probe.report.other_ways import fewest, nothing_used, other_ways, why_nothing
from probe.report.places import place_of
from probe.report.plugs import drawn_of, lead_drawing, legend
from probe.report.step import ASKED, Step, in_words, named, step_of
from probe.report.text import clean, inner, printed
from probe.report.used import as_used, is_digital, needs_pad, pad_named, worse_side
from probe.report.varied import varied_of

MOST_ITEMS = 5
"""Lines of a list, so that the whole stays on one side of paper."""

MOST_CHARACTERS = 2400
"""From here the print is smaller: what fits on one side as it is, tried in a browser."""

MOST_UNEVEN = 2650
"""The same with what the shorter one of two columns leaves empty, tried in a browser."""

FIRST_TAKES = 3
"""Room of a character in the large print of what comes first, in its box, over one of the text."""

HEADLINE = 60
"""Characters of a headline on one line."""

ROOM_CHARACTERS = 3600
"""What one side holds in the smaller print, tried in a browser."""

HEAD_TAKES = 60
"""Room of a sentence at the head over its characters: it is bold, and a paragraph of its own."""

MANY_CHARACTERS = 6500
"""What it holds printed closer still, tried in a browser."""

DRAWING_TAKES = 1500
"""Room of the drawing, in characters, tried in a browser."""

WIDE = 600
"""Characters by which a list is longer than twice what stands beside it, to take both columns."""

NEVER = (
    "Never change leads with an amplifier or subwoofer on: volume down, everything off, and that "
    "one on last.",
    "Never lift the protective earth of a mains plug against hum. Mains wiring is for licensed "
    "people; the electrical code of your place comes first.",
    "Never put an adapter on a headphone or loudspeaker output, and never join a digital and an "
    "analogue socket, whatever fits.",
)

TIE = (
    "Never join pin 3 to pin 1 just to try it; only where the {} has it. An amplifier may "
    "work into a short circuit."
)

DIGITAL_HUM = (
    "A digital link carries no hum. If the analogue leads hum since it was connected, it closes a "
    "ground loop: an optical link, or a transformer in this one, opens it.",
)

DIGITAL_HUM_OPENED = (
    "A digital link carries no hum, and the transformer in this one keeps the grounds apart: if "
    "the analogue leads hum, look for it elsewhere, with this lead unplugged first.",
)

FALLBACK_HUM = (
    "Where the boxes stand near each other: plug them all into one mains strip.",
    "Unplug aerial, network and computer leads one at a time: one that ends the hum brings it.",
)

OF_ANY_LEAD = "An isolator made for the lead that brings the hum keeps it out."
"""Where the advice does not name the lead."""


@dataclass(frozen=True)
class Leaf:
    """One side of paper."""

    device: str
    destination: str
    first: tuple[str, ...]
    """What comes before the choice: never connect, or repair first; the largest on the page."""
    asked: tuple[str, ...]
    """Which typed figures are asked about before anything is bought: above the choice, too."""
    before: tuple[str, ...]
    """What has to be known before anything is connected; it stands at the head."""
    chosen: str
    drawing: Markup | None
    caption: str
    """What the drawing shows, where that is not what is chosen."""
    needs: tuple[str, ...]
    gains: tuple[str, ...]
    hum: tuple[str, ...]
    never: tuple[str, ...]
    figures: tuple[tuple[str, str], ...]
    others: tuple[tuple[str, str, str], ...]
    notes: tuple[str, ...]
    why: tuple[str, ...]

    @property
    def characters(self) -> int:
        """How much there is to read, in characters of the text."""
        first = FIRST_TAKES * sum(len(t) for t in self.first)
        first += FIRST_TAKES * max(len(self.chosen) - HEADLINE, 0)
        lines = (self.caption, *self.asked, *self.before, *self.needs, *self.gains, *self.hum,
                 *self.never, *self.notes, *self.why)  # fmt: skip
        rows = (*self.figures, *self.others)
        return first + sum(len(t) for t in lines) + sum(len(t) for row in rows for t in row)

    @property
    def empty(self) -> int:
        """Characters by which one of the two columns is shorter than the other."""
        needed, given = self._columns
        return 0 if self.wide else abs(needed - given)

    @property
    def legend(self) -> str:
        """How the drawing is read."""
        return legend(self.drawing) if self.drawing is not None else ""

    @property
    def wide(self) -> bool:
        """The list takes both columns, for beside it most of the side would be empty."""
        needed, given = self._columns
        return needed > WIDE + 2 * given

    @property
    def _columns(self) -> tuple[int, int]:
        needed, given = (sum(len(t) for t in lines) for lines in (self.needs, self.gains))
        return needed, given

    @property
    def full(self) -> bool:
        """Printed smaller, so that it stays on one side."""
        return self.characters > MOST_CHARACTERS or self.characters + self.empty > MOST_UNEVEN

    @property
    def crowded(self) -> bool:
        """Printed closer still: even with the fewest of the other ways there is more than usual."""
        return self._room > ROOM_CHARACTERS

    @property
    def packed(self) -> bool:
        """The smallest print: many answers, each with its list."""
        drawn = DRAWING_TAKES * (self.drawing is not None)
        return self._room + drawn > MANY_CHARACTERS

    @property
    def _room(self) -> int:
        return self.characters + HEAD_TAKES * len(self.before)


@dataclass(frozen=True)
class Heading:
    """Who the page is for, who wrote it, and when; a line to fill in by pen where empty."""

    customer: str = ""
    dealer: str = ""
    date: str = ""

    @property
    def fields(self) -> tuple[tuple[str, str], ...]:
        """Names and words, cleaned, in reading order."""
        held = (("For", self.customer), ("From", self.dealer), ("Date", self.date))
        return tuple((name, clean(text)) for name, text in held)


def render_leaflet(advice: Mapping[str, Any], heading: Heading | None = None) -> str:
    """Return one self-contained HTML file, one A4 side for each box that something is chosen for.

    Parameters
    ----------
    advice
        An advice document (``probe-advice/1``), with ``shelf`` where parts were picked.
    heading
        Customer, dealer and date; None: three lines for the pen.
    """
    from probe.report.page import environment

    leaves, varied = leaves_of(advice), varied_of(advice.get("vary"), places_in(advice))
    if varied is not None and varied.nothing:  # one sentence is no side of paper
        leaves = tuple(replace(leaf, notes=(*leaf.notes, varied.nothing)) for leaf in leaves)
        varied = None
    return (
        environment()
        .get_template("leaflet.html")
        .render(leaves=leaves, varied=varied, heading=heading or Heading())
    )


def leaves_of(advice: Mapping[str, Any]) -> tuple[Leaf, ...]:
    """Return the sides of paper: one a box, also where nothing is used for any.

    One for all only where what stands first forbids the device itself and nothing is tried or
    asked for a box: a drawing and a list are of one.
    """
    options = [o for o in listing(advice, "options") if isinstance(o, Mapping)]
    boxes: dict[str, list[Mapping[str, Any]]] = {}
    for option in options:
        held = boxes.setdefault(str(option.get("destination")), [])
        if option.get("verdict") == "use":
            held.append(option)
    several = len(boxes) > 1
    of_device = first_of(advice) and step_of(advice, options) is None
    if not any(boxes.values()) and (of_device or not several):
        return (_fitted(_nothing(advice)),)
    return tuple(
        _fitted(
            _leaf(advice, sides, options, box if several else "", at)
            if sides
            else _nothing(advice, box, at)
        )
        for at, (box, sides) in enumerate(boxes.items())
    )


def _fitted(leaf: Leaf) -> Leaf:
    """Return the side with as many of the other ways as there is room for."""
    if leaf.characters <= ROOM_CHARACTERS:
        return leaf
    return replace(leaf, others=fewest(leaf.others))


def _nothing(advice: Mapping[str, Any], box: str = "", at: int = 0) -> Leaf:
    """Return the side that says that nothing is to be connected, to any box or to ``box``."""
    first = first_of(advice)
    cautions = [
        c.get("message")
        for c in listing(advice, "cautions")
        if isinstance(c, Mapping) and c.get("code") not in {"typed", *FIRST, *BEFORE, *OF_EACH}
    ]
    options = [
        o for o in listing(advice, "options")
        if isinstance(o, Mapping) and box in ("", str(o.get("destination")))
    ]  # fmt: skip
    device = clean(advice.get("device") or "the device")
    place = places_in(advice).get(box) or place_of(box or advice.get("destination"))
    step = step_of(advice, options)
    lead = step.plain if step else None
    chosen = _nothing_given(advice) if first and not options else nothing_used(advice, options)
    return Leaf(
        device=device,
        destination=place,
        first=first,
        asked=asked_of(advice, options),
        before=before_of(advice, options),
        chosen=step.headline("") if step and lead else chosen,
        drawing=_drawing(f"wiring-{at}", lead, device, place) if lead else None,
        caption=step.caption("") if step and lead else "",
        needs=tuple(needs(advice, lead, step) if lead else needs_of_none(advice, options)),
        gains=tuple(in_short(as_used(lead, with_pad=needs_pad(lead)))) if lead else (),
        hum=() if first else tuple(_hum_of_nothing(advice, options)),
        never=(*_plain(options), *NEVER, *(_tie(advice) if lead else ())),
        figures=(),
        others=other_ways(options, None, step),
        notes=(*_typed(advice), *(printed(c) for c in cautions[:MOST_ITEMS])),
        why=() if first else why_nothing(advice, options, step),
    )


def _nothing_given(advice: Mapping[str, Any]) -> str:
    """Return what is said where there is no option: nothing may hang on the output, or not yet."""
    codes = {c.get("code") for c in listing(advice, "cautions") if isinstance(c, Mapping)}
    if "output-undeclared" in codes:
        return "Do not connect yet"
    blamed = codes & {"headphone-output", "speaker-output", "output-beyond-line", "direct-voltage"}
    if codes & {"ground-fault", "ground-high"} and not blamed:
        return "Do not connect these boxes"
    return "Never connect this output"


def _leaf(
    advice: Mapping[str, Any], sides: Sequence[Mapping[str, Any]], options: Sequence[Any], box: str,
    at: int,
) -> Leaf:  # fmt: skip
    """Return the side of paper of one box; ``sides``: its chosen connection, left and right."""
    option, step = sides[0], step_of(advice, sides)
    mine = [o for o in options if o.get("destination") == option.get("destination")]
    used = worse_side(in_company(advice, sides))
    device = clean(advice.get("device") or "the device")
    place = places_in(advice).get(box) or place_of(box or advice.get("destination"))
    with_pad = needs_pad(option)
    looked = with_pad and hangs_on_volume(advice, option.get("destination"))
    way = named(option) if looked else _with_pad(option)
    plugged = [step.tried, *sides] if step and step.tried else sides
    before = (*overloads(used), *before_of(advice, plugged))
    first = first_of(advice)
    tried = _as_tried(step.tried, option) if step and step.tried else None
    return Leaf(
        device=device,
        destination=place,
        first=first,
        asked=asked_of(advice, sides),
        before=before,
        chosen=step.headline(way) if step else _headline(way, first=bool(first), looked=looked),
        drawing=_drawing(
            f"wiring-{at}", tried or (_bare(option) if looked else option), device, place
        ),
        caption=step.caption(way) if step else "",
        needs=tuple(needs(advice, option, step)),
        gains=(
            *_typed(advice),
            *([WITH_ALL] if has_company(advice, option) else []),
            *(f"The lead to try first: {line}" for line in in_short(tried or {})),
            *([f"The figures here are those of: {way}."] if step else []),
            *_with_these(option, looked=looked),
            *gains(used, mine),
        ),
        hum=tuple(_hum(advice, option, step)),
        never=(*_plain(mine), *NEVER, *_tie(advice), *_y_lead(advice, option)),
        figures=tuple(_figures(used)),
        others=other_ways(mine, option, step),
        notes=tuple(_notes(advice, used, (*before, *asked_of(advice, sides)))),
        why=(),
    )  # fmt: skip


def _headline(way: str, *, first: bool, looked: bool) -> str:
    """Return the headline of what is used, after what stands first; ``looked``: its plug waits."""
    if looked:
        return f"Look first, as above, for what belongs in the plug. Then: {way}"
    return f"{'Then: ' * first}{way}"


def _with_these(option: Mapping[str, Any], *, looked: bool) -> list[str]:
    """Return with which of two plugs the figures are, where that waits for a look."""
    pad = option.get("attenuator")
    if not looked or not isinstance(pad, Mapping):
        return []
    return [f"The figures here are with {pad_named(option)}: {printed(pad.get('says'), 160)}."]


def _with_pad(option: Mapping[str, Any]) -> str:
    """Return a way in the words of the sheet, with the attenuator that is in its plug."""
    way = named(option)
    if not needs_pad(option) or "attenuator" in way:
        return way
    return f"{way}, with {pad_named(option)} in its plug"


def _bare(option: Mapping[str, Any]) -> Mapping[str, Any]:
    return {k: v for k, v in option.items() if k != "attenuator"}


def _as_tried(lead: Mapping[str, Any], option: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return a lead that is tried as it is plugged in: without the resistors it may do without."""
    if lead.get("id") != option.get("id"):
        return lead
    return _bare(lead)


def _drawing(key: str, option: Mapping[str, Any], device: str, place: str) -> Markup:
    drawn = drawn_of(option, with_pad=needs_pad(option))
    return lead_drawing(key, drawn, device, place)


def _hum(
    advice: Mapping[str, Any], option: Mapping[str, Any], step: Step | None = None
) -> list[str]:
    """Return what to try, in order; the solved cures of this box after what costs nothing."""
    if is_digital(option):
        return list(DIGITAL_HUM_OPENED if _wound(option) else DIGITAL_HUM)
    if step and step.tried:
        return [
            *_before_parts(advice, option),
            f"Only then buy what comes next: {_with_pad(option)}.",
        ]
    cures = [
        c for c in listing(advice, "cures")
        if isinstance(c, Mapping) and c.get("destination") == option.get("destination")
    ]  # fmt: skip
    said, isolated = [], option.get("pin_3") == "transformer"
    for cure in [c for c in cures if c.get("cure") != AT_ORIGIN][:2]:
        better = less_hum(cure)
        gain = f" ({better} dB less hum)" if better else ""
        open_ = "; ask first whether it may be used" * (cure.get("verdict") == "cannot-tell")
        says = printed(cure.get("says"), 160)
        if isolated:  # else it reads as if this lead had none
            says = named({"id": cure.get("option"), "says": says})
        said.append(_sentence(f"{says}{gain}{open_}"))
    if not said and isolated:
        has = "Once this lead has its isolating transformer" if step else (
            "This lead has its isolating transformer already")  # fmt: skip
        said = [f"{has}: look for the hum elsewhere, with this lead unplugged first."]
    if not said and _may_help(advice, option):
        said = ["Ask for an audio isolating transformer at the destination."]
    return [*_before_parts(advice, option), *said]


AT_ORIGIN = "at-origin"
"""Of the cures of an advice the one that is no way to connect: it is not solved."""


def _before_parts(advice: Mapping[str, Any], option: Mapping[str, Any]) -> list[str]:
    """Return what to try before any part of the lead: what is plugged where, and what comes in."""
    first = [] if _strips_are_told(option) else FALLBACK_HUM[:1]
    origin = [
        _sentence(printed(c.get("says"), 240)) for c in listing(advice, "cures")
        if isinstance(c, Mapping) and c.get("cure") == AT_ORIGIN
        and c.get("destination") == option.get("destination")
    ]  # fmt: skip
    if any(ONE_STRIP in line for line in origin):
        return [*origin, *FALLBACK_HUM[1:], OF_ANY_LEAD]
    return [*first, *FALLBACK_HUM[1:], *(origin or [OF_ANY_LEAD])]


def _hum_of_nothing(advice: Mapping[str, Any], options: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return what to try where nothing is used, and one of the ways was found to hum."""
    for option in options:
        if _hum_of(option) is not None and not silent(option["hum_below_full_output_db"]):
            return _before_parts(advice, option)
    return []


ONE_STRIP = "one mains strip"
"""Words of the advice for boxes in reach of one, where they are better plugged in together."""

ON_STRIPS = ("one outlet strip", "outlets far apart")
"""Words of the advice for where the boxes are plugged in, if that was said."""


def _strips_are_told(option: Mapping[str, Any]) -> bool:
    """Tell whether it was said that the boxes share a mains strip, or cannot."""
    reasons = [str(r) for r in listing(option, "reasons")]
    return any(r.startswith("ground:") and any(w in r for w in ON_STRIPS) for r in reasons)


def _may_help(advice: Mapping[str, Any], option: Mapping[str, Any]) -> bool:
    """Tell whether a transformer may take hum away from what is used.

    Not where hum was calculated: then what helps is listed, and a transformer that hums more than
    the lead is none.
    """
    hum = _hum_of(option)
    if hum is None:
        return True
    others = [
        _hum_of(o) for o in listing(advice, "options")
        if isinstance(o, Mapping) and o.get("pin_3") == "transformer"
        and o.get("destination") == option.get("destination")
    ]  # fmt: skip
    quiet = silent(option["hum_below_full_output_db"])
    return quiet and all(o is not None and o >= hum for o in others)


def _hum_of(option: Mapping[str, Any]) -> float | None:
    return number(option.get("hum_below_full_output_db") or {})


def _wound(option: Mapping[str, Any]) -> bool:
    """Tell whether a transformer is in the link."""
    return "transformer" in str(option.get("id"))


def _tie(advice: Mapping[str, Any]) -> list[str]:
    """Return the warning against joining pin 3, where anybody might be led to it."""
    codes = {c.get("code") for c in listing(advice, "cautions") if isinstance(c, Mapping)}
    where = "drawing, or the answer named first," if tie_first(advice) == ASKED else "drawing"
    return [TIE.format(where)] if "pin-3-tie" in codes else []


PLAIN = {
    "xlr-to-xlr": "Never plug a plain XLR lead in here",
    "rca-to-rca": "Never plug a plain RCA lead in here",
}


def _strains(way: Mapping[str, Any]) -> bool:
    """Tell whether a way joins a driven pin 3 to ground inside what is fed, or may."""
    if way.get("verdict") in ("use", "works"):
        return False
    codes = {h.get("code") for h in listing(way, "hazards") if isinstance(h, Mapping)}
    return bool(codes & {"tie-current", "tie-pointless"})


def _plain(ways: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return the warning against the lead that everybody would try, where it does harm, or may."""
    ruled = (o for o in ways if o.get("id") in PLAIN and (
        o.get("verdict") == "never" or _strains(o)
    ))  # fmt: skip
    told = ((PLAIN[str(o["id"])], inner(printed(o.get("because") or ""))) for o in ruled)
    return list(dict.fromkeys(f"{says}: {why}." if why else f"{says}." for says, why in told))


def _y_lead(advice: Mapping[str, Any], option: Mapping[str, Any]) -> list[str]:
    """Return the warning against joining two outputs, where one lead goes to a subwoofer."""
    if option.get("role") != "subwoofer":
        return []
    cautions = [c for c in listing(advice, "cautions") if isinstance(c, Mapping)]
    return [printed(c.get("message")) for c in cautions if c.get("code") == "y-lead"]


_FIGURES = (
    (("level",), "Level at the input", ""),
    (("loudness_vs_rca_db",), "Loudness against the plain link", "dB"),
    (("full_output_margin_db",), "Margin to full output", "dB"),
    (("headroom_db",), "Headroom of the device", "dB"),
    (("hum_below_full_output_db",), "Hum below full output", "dB"),
    (("noise_below_full_output_db",), "Noise below full output (A)", "dB"),
    (("connection_loss_db", "at_20_hz"), "Lost at 20 Hz", "dB"),
    (("connection_loss_db", "at_20_khz"), "Lost at 20 kHz", "dB"),
    (("bandwidth_hz", "low"), "−3 dB, low", "Hz"),
    (("bandwidth_hz", "high"), "−3 dB, high", "Hz"),
    (("tie_current",), "Current in the joined pin 3, peak", "A"),
    (("attenuator", "attenuation"), "Attenuator", "dB"),
    (("attenuator", "source_impedance"), "Impedance behind it", "ohm"),
    (("return_loss_db",), "Return loss", "dB"),
    (("mismatch_loss_db",), "Mismatch loss", "dB"),
)


def _figures(option: Mapping[str, Any]) -> list[tuple[str, str]]:
    told = []
    in_it = needs_pad(option) or is_digital(option)  # an offer has no figures here
    for path, name, unit in _FIGURES:
        entry: Any = option if in_it or path[0] != "attenuator" else None
        for key in path:
            entry = entry.get(key) if isinstance(entry, Mapping) else None
        value = number(entry) if isinstance(entry, Mapping) else None
        if value is None:
            continue
        entry = {**entry, "unit": entry.get("unit") or unit}
        name += ", peak to peak" * (entry.get("measure") == "peak-to-peak")
        if name == "Attenuator" and pad_named(option) != "an attenuator":
            name = "Taken off by the series resistors"
        name, entry = loss_or_rise(name, entry)
        told.append((name, figure(entry)))
    return told


AS_MEASURED = "at the measured level"
"""What the advice says of the operating point where nothing is declared or measured."""


def _notes(
    advice: Mapping[str, Any], option: Mapping[str, Any], before: Sequence[str]
) -> list[str]:
    """Return what to mind of the option as it is used, and is not said at the head."""
    head = " ".join(before)
    minded = [in_words(printed(h.get("message"))) for h in listing(option, "hazards")
              if isinstance(h, Mapping) and h.get("code") not in FIRST]  # fmt: skip
    told = [_sentence(text) for text in minded if text not in head][:2]
    point = clean(option.get("operating_point") or advice.get("operating_point") or "", 120)
    pair = any(
        isinstance(o, Mapping) and o.get("from") == "xlr" for o in listing(advice, "options")
    )
    if pair and point.startswith(("at the device's", "at the declared")):
        point += " between pins 2 and 3"
    if point == AS_MEASURED:
        point = "are those of the measurement: how much the device gives at most was not said"
    return [*told, f"Levels {point}." if point and not is_digital(option) else ""][:4]


def _sentence(text: str) -> str:
    """Return a message as a sentence of its own."""
    stop = "" if text.endswith((".", "!", "?")) else "."
    return f"{text[:1].upper()}{text[1:]}{stop}" if text else ""


TYPED = (
    "Nothing was measured: the figures of the device are typed from a data sheet, and these are "
    "calculated from them."
)


def _typed(advice: Mapping[str, Any]) -> list[str]:
    """Say that nothing was measured, where the device is described by hand."""
    codes = [c.get("code") for c in listing(advice, "cautions") if isinstance(c, Mapping)]
    return [TYPED] if "typed" in codes else []
