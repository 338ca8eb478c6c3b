"""What to plug where: as lines for a terminal, as sentences to be read aloud, and as SVG.

All three are made from the same `Row`s, so that they cannot disagree.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from probe.bench.planned.steps import Plugged, Step

PINS = {"hot": "pin 2 (hot)", "cold": "pin 3 (cold)", "single-ended": "RCA centre"}
POINTS = {"hot": "A", "cold": "B", "single-ended": "C"}
_GROUND = "pin 1, shell"
_REFERENCE = "resistor to G"
"""What stands at A and B where the reference is in place of the device."""

_OUTPUT = "output 1"
"""What goes to A and B where the interface hears itself."""


@dataclass(frozen=True)
class Row:
    """One conductor from the device to the interface."""

    terminal: str
    pin: str
    point: str
    goes_to: str


@dataclass(frozen=True)
class Resistor:
    """A resistor between two points; ``lower`` empty: from output 2 into the upper one."""

    upper: str
    lower: str
    text: str


def rows_of(plugged: Plugged) -> tuple[tuple[Row, ...], tuple[Resistor, ...]]:
    """Return conductors, top to bottom, and resistors; a loaded leg stands beside ground."""
    terminals = [c for c in plugged.channels if c in PINS]
    loads = plugged.loads
    if len(loads) == 1 and "ground" in (loads[0].from_, loads[0].to):
        loaded = loads[0].from_ if loads[0].to == "ground" else loads[0].to
        terminals.sort(key=lambda t: t == loaded)
    pins = dict.fromkeys(PINS, _REFERENCE) if plugged.fixture else PINS
    pins = dict.fromkeys(PINS, _OUTPUT) if plugged.loop_back else pins
    rows = [Row(t, pins[t], POINTS[t], f"input {plugged.channels.index(t) + 1}") for t in terminals]
    rows.append(Row("ground", "its ground" if plugged.loop_back else _GROUND, "G", "ground"))
    points = {**POINTS, "ground": "G"}
    order = [row.point for row in rows]
    resistors = []
    for load in loads:
        upper, lower = sorted((points[load.from_], points[load.to]), key=order.index)
        resistors.append(Resistor(upper, lower, f"{load.ohm:g} ohm ({load.part})"))
    if plugged.injector is not None:
        one = plugged.injector
        resistors.append(Resistor(points[one.into], "", f"{one.ohm:g} ohm ({one.part})"))
    return tuple(rows), tuple(resistors)


def sentences(step: Step) -> list[str]:
    """Return what to plug where, one sentence each."""
    plugged = step.plugged
    rows, resistors = rows_of(plugged)
    if plugged.loop_back:
        return [
            "The device's output off the lead; nothing of the device is connected.",
            "Output 1 of the interface to input 1 and to input 2, by one lead with two ends.",
            "Nothing on output 2, no injector, no resistor.",
        ]
    if plugged.fixture:
        return [
            "The reference plug on the lead in place of the device: a resistor from A to G, one "
            "from B to G.",
            *(f"{r.point} to {r.goes_to}." for r in rows if r.goes_to != "ground"),
            "Nothing on output 2, no injector.",
            "Nothing plays; output 1 may stay where it is.",
        ]
    said = [
        f"{r.pin[0].upper()}{r.pin[1:]} of the {_output(plugged)} to {r.goes_to}." for r in rows
    ]
    for one in resistors:
        if one.lower:
            said.append(f"{one.text} between {one.upper} and {one.lower}.")
        else:
            pin = next(r.pin for r in rows if r.point == one.upper)
            said.append(f"Output 2 of the interface through {one.text} into {pin}.")
    if plugged.injector is None:
        said.append("Nothing on output 2." if not resistors else "No injector.")
    if not plugged.loads:
        said.append("No load resistor.")
    if "reference" in plugged.channels:
        index = plugged.channels.index("reference") + 1
        said.append(f"Output 1 of the interface also to input {index}.")
    drive = "Output 1 of the interface to the device's input."
    if plugged.plays_files:
        drive = "Nothing on output 1: the device plays its own files."
    said.append("The device is switched off." if plugged.state == "off" else drive)
    return said


def _spoken(row: Row) -> str:
    return "the ground of the inputs" if row.goes_to == "ground" else row.goes_to


def _output(plugged: Plugged) -> str:
    if plugged.fixture:
        return "reference"
    return "output" if plugged.side == "mono" else f"{plugged.side} output"


def _whose(plugged: Plugged) -> str:
    if plugged.loop_back:
        return "the interface's output"
    return "the reference plug" if plugged.fixture else f"{_output(plugged)} of the device"


_LEFT, _RESISTOR, _POINT, _RIGHT = 15, 24, 52, 56


def terminal(step: Step) -> str:
    """Return the drawing as lines of at most 78 columns, with line characters."""
    plugged = step.plugged
    rows, resistors = rows_of(plugged)
    head = "REFERENCE, not the device" if plugged.fixture else f"DEVICE, {_output(plugged)}"
    head = "THE INTERFACE ITSELF, no device" if plugged.loop_back else head
    lines = [f"{head:<40}{'':16}INTERFACE"]
    for number, row in enumerate(rows):
        line = f"{row.pin:<{_LEFT}}" + "─" * (_POINT - _LEFT) + f" {row.point} " + "── "
        lines.append(line + row.goes_to)
        lines += _hanging(row, rows[number + 1 :], resistors)
        if any(r.upper == row.point and r.lower for r in resistors):
            mark = len(lines) - 1 - len(_hanging(row, rows[number + 1 :], resistors))
            lines[mark] = _dotted(lines[mark])
        elif any(r.lower == row.point for r in resistors):
            lines[-1] = _dotted(lines[-1])
    for one in resistors:
        if not one.lower:
            lines.append("")
            arrow = f"into {one.upper} ◄──[ {one.text} ]"
            lines.append(f"{'':<{_RESISTOR - 6}}{arrow:─<{_RIGHT + 6 - _RESISTOR}} output 2")
    drive = "switched OFF" if plugged.state == "off" else "device's input ◄"
    if plugged.loop_back:
        lines.append("the device is off the lead; nothing on output 2")
    elif plugged.fixture:
        lines.append("nothing plays; nothing on output 2")
    elif plugged.plays_files and plugged.state != "off":
        lines.append("the device plays a file itself; nothing on output 1")
    elif plugged.state != "off":
        lines.append(f"{drive:<{_LEFT}}" + "─" * (_RIGHT - len(drive)) + " output 1")
    else:
        lines.append(f"the device is {drive}")
    return "\n".join(lines)


def ascii_only(text: str) -> str:
    """Return a drawing for a terminal without line characters."""
    return text.translate(_ASCII)


def _dotted(line: str) -> str:
    return line[:_RESISTOR] + "●" + line[_RESISTOR + 1 :]


def _hanging(row: Row, below: tuple[Row, ...], resistors: tuple[Resistor, ...]) -> list[str]:
    """Return the lines of a resistor from this row to the next."""
    for one in resistors:
        if one.upper == row.point and one.lower and below and one.lower == below[0].point:
            stroke = " " * _RESISTOR + "│"
            body = f"[ {one.text} ]"
            place = max(_RESISTOR - len(body) // 2, 0)
            return [stroke, " " * place + body, stroke]
    return []


_ASCII = str.maketrans({"─": "-", "│": "|", "●": "o", "◄": "<", "Ω": "O"})


# -- the same, larger

_W, _ROW, _TOP = 860, 84, 70

_EDGE = -40
"""Left edge of the device's frame: its longest label has room in it, in print, too."""


def svg(step: Step) -> str:
    """Return the drawing as an inline SVG with a title and a description."""
    plugged = step.plugged
    rows, resistors = rows_of(plugged)
    injecting = any(not r.lower for r in resistors)
    height = _TOP + _ROW * (len(rows) + (1 if injecting else 0)) + 60
    y = {row.point: _TOP + 40 + _ROW * n for n, row in enumerate(rows)}
    body = [
        _box(_EDGE, 160 - _EDGE, height, _whose(plugged)),
        _box(700, 150, height, "interface"),
    ]
    for row in rows:
        body.append(_line(160, y[row.point], 700, y[row.point]))
        body.append(_text(150, y[row.point], row.pin, "end"))
        body.append(_text(712, y[row.point], row.goes_to, "start"))
        body.append(f'<circle cx="600" cy="{y[row.point]}" r="7" class="dot"/>')
        body.append(_text(600, y[row.point] - 14, row.point, "middle"))
    for one in resistors:
        if one.lower:
            body += _upright(380, y[one.upper], y[one.lower], one.text)
    last = _TOP + 40 + _ROW * len(rows)
    if injecting:
        one = next(r for r in resistors if not r.lower)
        body += _injector(last, y[one.upper], one.text)
        last += _ROW
    said = " ".join(sentences(step))
    drive = "plays a file" if plugged.plays_files else "device's input"
    drive = "switched off" if plugged.state == "off" else drive
    drive = "nothing plays" if plugged.fixture else drive
    drive = "no device" if plugged.loop_back else drive
    body.append(_text(150, last, drive, "end"))
    of_bench = plugged.fixture or plugged.loop_back
    if plugged.state != "off" and not plugged.plays_files and not of_bench:
        body.append(_line(160, last, 700, last))
        body.append(_text(712, last, "output 1", "start"))
    view = f"{_EDGE - 10} 0 {_W + 10 - _EDGE} {height + 20}"
    return (
        f'<svg viewBox="{view}" role="img" aria-labelledby="plug-t plug-d">'
        f'<title id="plug-t">What to plug where</title><desc id="plug-d">{escape(said)}</desc>'
        + "".join(body)
        + "</svg>"
    )


def _box(x: float, width: float, height: float, title: str) -> str:
    return (
        f'<rect x="{x}" y="40" width="{width}" height="{height - 40}" rx="8" class="box"/>'
        + _text(x, 24, title, "start")
    )


def _line(x1: float, y1: float, x2: float, y2: float) -> str:
    return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" class="wire"/>'


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return f'<text x="{x}" y="{y + 5}" text-anchor="{anchor}">{escape(text)}</text>'


def _upright(x: float, top: float, bottom: float, text: str) -> list[str]:
    middle = (top + bottom) / 2.0
    return [
        _line(x, top, x, bottom),
        f'<rect x="{x - 12}" y="{middle - 22}" width="24" height="44" class="part"/>',
        _text(x + 24, middle, text, "start"),
        f'<circle cx="{x}" cy="{top}" r="5" class="dot"/>',
        f'<circle cx="{x}" cy="{bottom}" r="5" class="dot"/>',
    ]


def _injector(y: float, leg: float, text: str) -> list[str]:
    return [
        _line(300, y, 700, y),
        f'<rect x="440" y="{y - 12}" width="60" height="24" class="part"/>',
        _text(470, y - 22, text, "middle"),
        f'<line x1="300" y1="{leg + 12}" x2="300" y2="{y}" class="gap"/>',
        _line(300, leg, 300, y),
        f'<circle cx="300" cy="{leg}" r="5" class="dot"/>',
        _text(712, y, "output 2", "start"),
    ]
