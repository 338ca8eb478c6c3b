"""A list of takes for paper: what to meter, plug, mind, tick and note, in order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from probe.bench.planned.able import Known, Setting, able, refused
from probe.bench.planned.cautions import (
    Caution,
    before,
    before_connecting,
    before_meter,
    before_probes,
)
from probe.bench.planned.meters import places
from probe.bench.planned.steps import Step
from probe.bench.shown.drawing import sentences, svg, terminal
from probe.errors import BadInput
from probe.session.model import Side

YOURSELF = Caution(
    "yourself",
    "You hold the level",
    "No program limits what your player gives. Begin each take at the lowest volume and come up "
    "slowly, 6 dB below the most the recorder takes. Meter what you inject: all tones together "
    "below 1.4 V peak, through 10 kohm or more; below 50 mV into a device that is off. Where a "
    "caution below says that the program does something, you do it.",
)
"""The bench's cautions were written for a program at the controls; here there is none."""

NAMES = {"hot": "pin 2", "cold": "pin 3", "ground": "pin 1", "single-ended": "RCA centre"}

ONLY_ONCE = ("level of the player, dB FS or as its display says", "input gain of the recorder")
"""To be noted once for all takes, beside the device itself."""

WIDTH = 78


@dataclass(frozen=True)
class TakeList:
    """All that is printed: one setting for each side, their takes, what must not be made."""

    settings: tuple[Setting, ...]
    steps: tuple[tuple[Step, ...], ...]
    left_out: tuple[str, ...]


def take_list(settings: Sequence[Setting]) -> TakeList:
    """Return the takes a kit can make of a device.

    Nothing is known of the device yet: loads are those the maker allows.

    Raises
    ------
    BadInput
        There is not one take to be made.
    """
    steps = tuple(tuple(able(s, Known()).values()) for s in settings)
    if not any(steps):
        raise BadInput("takes: with this kit no take can be made; probe kit --template")
    left_out = dict.fromkeys(r.told for s in settings for r in refused(s, Known()))
    return TakeList(tuple(settings), steps, tuple(left_out))


def side_settings(setting: Setting, sides: Sequence[Side]) -> tuple[Setting, ...]:
    """Return the same setting for each side."""
    from dataclasses import replace

    return tuple(replace(setting, side=side) for side in sides)


def _tones(step: Step) -> str:
    if step.plugged.injector is not None and step.plugged.state == "off":
        return "device off; inject tones into the leg: probe tones inject, 50 mV peak at most"
    if step.plugged.injector is not None:
        return "device plays the multitone; inject tones: probe tones inject, 1.4 V peak at most"
    if step.signal == "tone":
        return (
            "device plays one tone: probe tones tone, 4 s or longer, no peak above the multitone's"
        )
    if step.signal == "loop-back":
        return (
            "no device: the player itself plays that tone into both inputs, as loud there as in "
            "the take of one tone"
        )
    if step.signal == "floor":
        return "nothing plays; 60 s at the very gain of the idle take: the recorder's own noise"
    if step.signal == "idle":
        return "nothing plays; device on, not muted, 60 s"
    return "device plays the multitone: probe tones multitone, 4 s or longer"


def _to_note(step: Step) -> tuple[str, ...]:
    found = ["file", "channels (1, 2): " + ", ".join(step.plugged.channels), "remarks"]
    if step.plugged.injector is not None:
        found.insert(2, "injected volts rms per tone, as metered or calculated")
    for load in step.plugged.loads:
        found.insert(2, f"resistor used ({load.part}, {load.ohm:g} ohm)")
    return tuple(found)


def text(takes: TakeList) -> str:
    """Return the list as plain text of at most 78 columns."""
    lines = ["TAKE LIST", "", *_note("device: maker, model, serial"), *_note("date, place")]
    for word in ONLY_ONCE:
        lines += _note(word)
    for caution in (*before_meter(), YOURSELF):
        lines += _caution(caution)
    for setting, steps in zip(takes.settings, takes.steps, strict=True):
        lines += ["", f"SIDE: {setting.side}", ""]
        for caution in before_probes(valve=setting.valve):
            lines += _caution(caution)
        lines += ["[ ] Multimeter first, nothing else connected:"]
        lines += [
            f"      {NAMES[a]} to {NAMES[b]}:  ________ V direct   ________ V alternating"
            for a, b in places(setting.device)
        ]
        lines += _wrapped("Above 0.1 V direct: stop. Above 2 V: a fault or a bridged output.", 6)
        for caution in before_connecting(setting):
            lines += _caution(caution)
        lines += _note(f"volume of the {setting.side} side, left alone from here on")
        for number, step in enumerate(steps, 1):
            lines += ["", f"[ ] {number}. {step.name}"]
            for caution in before(step):
                lines += _caution(caution)
            lines += ["", *(f"    {line}".rstrip() for line in terminal(step).splitlines()), ""]
            lines += _wrapped(_tones(step), 4)
            for word in _to_note(step):
                lines += _note(word)
    if takes.left_out:
        lines += ["", "Not to be made:"]
        for line in takes.left_out:
            lines += _wrapped(line, 4)
    return "\n".join(lines) + "\n"


def _wrapped(sentence: str, indent: int) -> list[str]:
    import textwrap

    return [" " * indent + line for line in textwrap.wrap(sentence, WIDTH - indent)]


def _caution(caution: Caution) -> list[str]:
    return ["", *_wrapped(f"[ ] CAUTION, {caution.title}: {caution.text}", 4)]


def _note(word: str) -> list[str]:
    head = f"    {word}: "
    return [head + "_" * max(8, WIDTH - len(head))]


_STYLE = """
:root { color-scheme: light; }
body { font: 11pt/1.45 system-ui, sans-serif; max-width: 46rem; margin: 2rem auto; padding: 0 1rem;
       color: #111; background: #fff; }
h1 { font-size: 1.6rem; } h2 { margin-top: 2.5rem; border-bottom: 2px solid #111; }
section.take { break-inside: avoid; border-top: 1px solid #777; padding-top: .6rem; }
h3 { margin: .4rem 0; }
.tick { display: inline-block; width: .9em; height: .9em; border: 1.5px solid #111;
       margin-right: .5em; vertical-align: -.1em; }
.caution { border-left: 4px solid #b00; padding: .2rem .8rem; margin: .6rem 0;
           break-inside: avoid; }
.note { display: flex; gap: .6rem; margin: .7rem 0; }
.note span:last-child { flex: 1; border-bottom: 1px solid #777; }
svg { max-width: 100%; height: auto; font: 22px system-ui, sans-serif; }
svg .box { fill: none; stroke: #777; stroke-width: 2; }
svg .wire { stroke: #111; stroke-width: 3; }
svg .part { fill: #fff; stroke: #111; stroke-width: 3; } svg .dot { fill: #111; }
svg text { font: 600 17px system-ui, sans-serif; }
table { border-collapse: collapse; } td, th { padding: .3rem .8rem; text-align: left; }
td.blank { border-bottom: 1px solid #777; min-width: 6rem; }
@page { size: A4; margin: 11mm 13mm; }
@media print { body { margin: 0; padding: 0; max-width: none; font-size: 9.5pt; line-height: 1.3; }
               h2 { break-before: page; margin-top: 1rem; } h2.first { break-before: auto; }
               h3 { margin: .1rem 0; break-after: avoid; } p { margin: .3rem 0; }
               section.take { padding-top: .3rem; margin-top: .5rem; }
               .caution { margin: .25rem 0; padding: .05rem .6rem; font-size: 8.5pt; }
               .note { margin: .45rem 0; } .note span:last-child { min-width: 3cm; }
               .sheet { display: flex; gap: 5mm; }
               .sheet > .drawn { flex: none; width: 9.6cm; } .sheet > .said { flex: 1; }
               svg { overflow: visible; } svg text { font-size: 18.5px; } }
"""

_BOX = '<span class="tick" role="img" aria-label="to tick"></span>'


def html(takes: TakeList) -> str:
    """Return the list as one HTML page, made for print, without anything from elsewhere."""
    body = ["<h1>Take list</h1>", *map(_blank, ("device: maker, model, serial", "date, place"))]
    body += [_blank(word) for word in ONLY_ONCE]
    body += [_boxed(c) for c in (*before_meter(), YOURSELF)]
    for index, (setting, steps) in enumerate(zip(takes.settings, takes.steps, strict=True)):
        first = ' class="first"' if index == 0 else ""
        body.append(f"<h2{first}>Side: {escape(setting.side)}</h2>")
        body += [_boxed(c) for c in before_probes(valve=setting.valve)]
        body += _meter_table(setting)
        body += [_boxed(c) for c in before_connecting(setting)]
        body.append(_blank(f"volume of the {setting.side} side, left alone from here on"))
        body += [_take_section(number, step) for number, step in enumerate(steps, 1)]
    if takes.left_out:
        items = "".join(f"<li>{escape(line)}</li>" for line in takes.left_out)
        body.append(f"<h2>Not to be made</h2><ul>{items}</ul>")
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Take list</title><style>{_STYLE}</style></head><body><main>\n"
        + "\n".join(body)
        + "\n</main></body></html>\n"
    )


def _meter_table(setting: Setting) -> list[str]:
    rows = "".join(
        f'<tr><th scope="row">{NAMES[a]} to {NAMES[b]}</th><td class="blank"></td>'
        '<td class="blank"></td></tr>'
        for a, b in places(setting.device)
    )
    return [
        f"<p>{_BOX}Multimeter first, nothing else connected. Above 0.1 V direct: stop. Above 2 V: "
        "a fault or a bridged output.</p>",
        '<table><tr><th scope="col">between</th><th scope="col">V direct</th>'
        f'<th scope="col">V alternating</th></tr>{rows}</table>',
    ]


def _take_section(number: int, step: Step) -> str:
    said = " ".join(escape(s) for s in sentences(step))
    parts = [f"<h3>{_BOX}{number}. {escape(step.name)}</h3>"]
    parts += [_boxed(c) for c in before(step)]
    parts += ['<div class="sheet"><div class="drawn">', _drawing(step), '</div><div class="said">']
    parts += [f"<p>{said}</p>", f"<p><strong>{escape(_tones(step))}</strong></p>"]
    parts += [*(_blank(word) for word in _to_note(step)), "</div></div>"]
    return '<section class="take">' + "\n".join(parts) + "</section>"


def _drawing(step: Step) -> str:
    """Return the drawing with names of its own, so that many stand on one page."""
    own = step.name.replace(" ", "-").replace("'", "")
    return svg(step).replace("plug-", f"plug-{own}-")


def _boxed(caution: Caution) -> str:
    return (
        f'<div class="caution">{_BOX}<strong>Caution, {escape(caution.title)}.</strong> '
        f"{escape(caution.text)}</div>"
    )


def _blank(word: str) -> str:
    return f'<div class="note"><span>{escape(word)}:</span><span></span></div>'
