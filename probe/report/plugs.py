"""The wiring drawing: both plugs of a lead from the solder side, contacts numbered.

Wires are told apart by pattern as well as by colour, so that a black-and-white printer does.

Contacts of the male XLR-3 seen from the front, key up: 1 left, 2 right, 3 below (AES14,
IEC 61076-2-103, from memory); the female is its mirror image, and the solder side of either is
the mirror image of its front. So from the solder side, key up: female 1 left, 2 right; male
2 left, 1 right.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from probe.report.svg import Point, box, circle, label, line, picture

SOLDER_SIDE: dict[str, dict[str, Point]] = {
    "xlr-female": {"1": (-19.0, -11.0), "2": (19.0, -11.0), "3": (0.0, 22.0)},
    "xlr-male": {"1": (19.0, -11.0), "2": (-19.0, -11.0), "3": (0.0, 22.0)},
}
"""Where each contact lies in a circle of radius 42, key up; y downwards."""

_WIDTH, _HEIGHT = 680.0, 196.0
_LEFT, _RIGHT = 66.0, 614.0
_MIDDLE = 92.0
_NEAR, _FAR = 190.0, 490.0
"""Ends of the wires."""

_ROWS = {"2": 52.0, "centre": 52.0, "3": 92.0, "1": 132.0, "shell": 132.0}
_NAMES = {"1": "1 ground", "2": "2 hot", "3": "3 cold", "centre": "centre", "shell": "shell"}
_STYLE = {"2": "hot", "centre": "hot", "3": "cold", "1": "ground", "shell": "ground"}
"""Pattern of a wire by the contact it is about: solid, long dashes, dots."""


_TRANSFORMER = (292.0, 388.0)
"""Left and right face of a drawn transformer."""


@dataclass(frozen=True)
class Drawn:
    """What is to be drawn, from one option of an advice document."""

    from_: str
    to: str
    wires: tuple[tuple[str, str], ...]
    joined_from: bool
    joined_to: bool
    transformer: bool
    pad: str
    balanced_pad: bool
    series_pad: bool = False
    """Series resistors alone, with none across."""
    tee_pad: bool = False
    """Two series resistors with the shunt between them, as a digital link needs."""
    isolator: str = "an isolating transformer"
    at_device: bool = False
    """The transformer stands at the device, and not at the destination."""


TRANSFORMER_AT_DEVICE = ("digital-110-to-75/transformer", "digital-75-to-110/transformer-at-source")
"""Ways whose transformer stands at the other end than those of all others."""


def drawn_of(option: Mapping[str, Any], *, with_pad: bool) -> Drawn:
    """Read the drawing out of an option; ``with_pad``: its attenuator belongs to it."""
    wiring = option.get("wiring") or {}
    ends = [_connector(option.get(k)) for k in ("from", "to")]
    wires = [tuple(w.split("-", 1)) for w in wiring.get("wires", ()) if "-" in w]
    wires = [w for w in wires if w[0] in _ROWS and w[1] in _ROWS]
    pad = option.get("attenuator") if with_pad else None
    designs = pad.get("designs") or [{}] if isinstance(pad, Mapping) else [{}]
    digital = str(option.get("id")).startswith("digital")
    return Drawn(
        from_=ends[0],
        to=ends[1],
        wires=tuple((w[0], w[1]) for w in wires),
        joined_from=bool(wiring.get("joined_from")),
        joined_to=bool(wiring.get("joined_to")),
        transformer="transformer" in str(option.get("id")),
        isolator=f"{'a digital' if digital else 'an isolating'} transformer",
        at_device=str(option.get("id")) in TRANSFORMER_AT_DEVICE,
        pad=_pad_text(designs[0]) if isinstance(pad, Mapping) else "",
        balanced_pad=bool(designs[0].get("in_each_leg")),
        series_pad="shunt_ohm" not in designs[0],
        tee_pad=bool(designs[0].get("tee")),
    )


def _connector(word: object) -> str:
    return {"digital-75": "rca", "digital-110": "xlr"}.get(str(word), str(word))


def _pad_text(design: Mapping[str, Any]) -> str:
    from probe.numbers import write_number

    if "series_ohm" not in design:
        return "attenuator"
    series = write_number(float(design["series_ohm"]), "ohm")
    each = " each" if design.get("in_each_leg") else ""
    if "shunt_ohm" not in design:
        return f"{series}{each} in series"
    shunt = write_number(float(design["shunt_ohm"]), "ohm")
    return f"{series} twice, {shunt} between them" if design.get("tee") else (
        f"{series}{each}, {shunt} across")  # fmt: skip


def lead_drawing(key: str, drawn: Drawn, source: str, destination: str) -> Markup:
    """Return the drawing of a lead with its two plugs, and its description in words."""
    parts: list[Markup] = []
    parts += _plug(drawn.from_, "female", _LEFT, f"at {source}")
    parts += _plug(drawn.to, "male", _RIGHT, f"at {destination}")
    parts += _terminals(drawn.from_, _NEAR, "end")
    parts += _terminals(drawn.to, _FAR, "start")
    parts += _through_transformer(drawn) if drawn.transformer else _wires(drawn)
    parts += _joins(drawn)
    if drawn.pad:
        parts += _pad(drawn)
    return picture(
        key, f"Wiring, {source} to {destination}", described(drawn), (_WIDTH, _HEIGHT), parts
    )


def legend(drawing: Markup) -> str:
    """Return how a drawing is read, of what is in it."""
    key = ", key up" * ('class="key"' in drawing)
    cold = " Long dashes: cold." * ('class="lead cold"' in drawing)
    return (
        f"Both plugs from the solder side, where the wires go in{key}. Solid: hot.{cold} "
        "Dots: ground and shield."
    )


def described(drawn: Drawn) -> str:
    """Return the wiring in words, for those who cannot see the drawing."""
    told = [f"{_said(a)} at the device to {_said(b)} at the destination" for a, b in drawn.wires]
    if drawn.transformer:
        told = [
            f"{_winding(drawn.from_)} at the device to one side of {drawn.isolator} at the "
            f"{'device' if drawn.at_device else 'destination'}; its other side to "
            f"{_winding(drawn.to)} at the destination",
            "the grounds of the two sides are not joined in it",
        ]
    if drawn.joined_from:
        told.append("pins 1 and 3 joined in the device's plug")
    if drawn.joined_to:
        told.append("pins 1 and 3 joined in the destination's plug")
    # behind a transformer the plug is that of its lead, or in its case
    wound = ["1", "2", "3"] if drawn.transformer else []
    near, far = ([w[end] for w in drawn.wires] for end in (0, 1))
    for contact in _loose(drawn.from_, near and [*near, *wound], joined=drawn.joined_from):
        told.append(f"{_said(contact)} at the device connected to nothing")
    for contact in _loose(drawn.to, far and [*far, *wound], joined=drawn.joined_to):
        told.append(f"{_said(contact)} at the destination connected to nothing")
    if drawn.pad:
        named = "resistors" if drawn.series_pad else "attenuator"
        told.append(f"{named} in the destination's plug: {drawn.pad}")
    return "; ".join(told) + "."


def _winding(connector: str) -> str:
    """Return the contacts between which a winding lies."""
    return "pins 2 and 3" if connector == "xlr" else "centre and shell"


def _said(contact: str) -> str:
    return f"pin {contact}" if contact in "123" else contact


def _loose(connector: str, used: Sequence[str], *, joined: bool) -> list[str]:
    if connector != "xlr" or joined or not used:
        return []
    return [c for c in ("2", "3", "1") if c not in used]


def _plug(connector: str, gender: str, x: float, where: str) -> list[Markup]:
    marks = [circle(x, _MIDDLE, 42.0, "body")]
    if connector == "xlr":
        marks.append(box(x - 6.0, _MIDDLE - 47.0, 12.0, 8.0, "key"))
        for number, (dx, dy) in SOLDER_SIDE[f"xlr-{gender}"].items():
            marks.append(circle(x + dx, _MIDDLE + dy, 10.5, "cup"))
            marks.append(label(number, x + dx, _MIDDLE + dy + 5.0, "number", "middle"))
        name = f"XLR {gender}"
    else:
        marks += [circle(x, _MIDDLE, 30.0, "ring"), circle(x, _MIDDLE, 9.0, "cup")]
        inwards = 1.0 if x < _WIDTH / 2.0 else -1.0
        anchor = "start" if inwards > 0.0 else "end"
        for name, dx, dy in (("centre", 9.0, 0.0), ("shell", 30.0 * 0.8, 30.0 * 0.6)):
            y = _MIDDLE + dy
            marks.append(line([(x + dx * inwards, y), (x + 46.0 * inwards, y)], "thin"))
            marks.append(label(name, x + 49.0 * inwards, y + 4.0, "small", anchor))
        name = "RCA plug"
    marks.append(label(name, x, 20.0, "name", "middle"))
    return [*marks, *_place(where, x)]


_LINE, _LINES, _STEP = 20, 3, 16.0
"""Characters of a line under a plug, most lines, and their distance."""


def _place(where: str, x: float) -> list[Markup]:
    """Return a name under its plug, wrapped; only what no three lines hold is cut."""
    lines = textwrap.wrap(where, _LINE, max_lines=_LINES, placeholder="…")
    edge, anchor = (0.0, "start") if x < _WIDTH / 2.0 else (_WIDTH, "end")
    return [label(text, edge, 157.0 + _STEP * at, "small", anchor) for at, text in enumerate(lines)]


def _terminals(connector: str, x: float, anchor: str) -> list[Markup]:
    contacts = ("2", "3", "1") if connector == "xlr" else ("centre", "shell")
    shift = -10.0 if anchor == "end" else 10.0
    marks = []
    for contact in contacts:
        y = _ROWS[contact]
        marks.append(circle(x, y, 4.0, "dot"))
        marks.append(label(_NAMES[contact], x + shift, y + 5.0, "t", anchor))
    return marks


def _wires(drawn: Drawn) -> list[Markup]:
    marks = []
    for near, far in drawn.wires:
        style = _STYLE[near] if near in "123" else _STYLE[far]
        y1, y2 = _ROWS[near], _ROWS[far]
        points = [(_NEAR, y1), (_NEAR + 60.0, y1), (_FAR - 60.0, y2), (_FAR, y2)]
        marks.append(line(points, f"lead {style}"))
    for x, connector, used, joined, out in (
        (_NEAR, drawn.from_, [w[0] for w in drawn.wires], drawn.joined_from, 1.0),
        (_FAR, drawn.to, [w[1] for w in drawn.wires], drawn.joined_to, -1.0),
    ):
        for contact in _loose(connector, used, joined=joined):
            marks += _nothing(x + 16.0 * out, _ROWS[contact], out)
    return marks


def _nothing(x: float, y: float, out: float) -> list[Markup]:
    cross = [line([(x - 6.0, y - 6.0), (x + 6.0, y + 6.0)], "cross"),
             line([(x - 6.0, y + 6.0), (x + 6.0, y - 6.0)], "cross")]  # fmt: skip
    anchor = "start" if out > 0 else "end"
    return [*cross, label("to nothing", x + 14.0 * out, y + 5.0, "small", anchor)]


def _joins(drawn: Drawn) -> list[Markup]:
    marks = []
    for joined, x, out in ((drawn.joined_from, _NEAR, 1.0), (drawn.joined_to, _FAR, -1.0)):
        if joined:
            side = x + 26.0 * out
            points = [(x, _ROWS["3"]), (side, _ROWS["3"]), (side, _ROWS["1"]), (x, _ROWS["1"])]
            marks.append(line(points, "join"))
            anchor = "start" if out > 0 else "end"
            marks.append(label("3 and 1 joined", side + 8.0 * out, 112.0, "small", anchor))
    return marks


def _through_transformer(drawn: Drawn) -> list[Markup]:
    x1, x2 = _TRANSFORMER
    marks = [
        box(x1, 36.0, x2 - x1, 72.0, "case"),
        label("transformer", 340.0, 77.0, "small", "middle"),
        label("grounds not joined", 340.0, 152.0, "small", "middle"),
    ]
    cold = {"xlr": "3", "rca": "shell"}
    for connector, end, face in ((drawn.from_, _NEAR, x1), (drawn.to, _FAR, x2)):
        hot = "2" if connector == "xlr" else "centre"
        marks.append(line([(end, _ROWS[hot]), (face, _ROWS[hot])], "lead hot"))
        back = cold[connector]
        marks.append(line([(end, _ROWS[back]), (face, 92.0)], "lead cold"))
    if drawn.from_ == "xlr":
        marks.append(line([(_NEAR, _ROWS["1"]), (x1 + 20.0, _ROWS["1"]), (x1 + 20.0, 108.0)],
                          "lead ground"))  # fmt: skip
    return marks


def _return_at(drawn: Drawn, x: float) -> float:
    """Return where the wire to the shell runs at ``x``: aslant behind a transformer."""
    if not drawn.transformer:
        return 132.0
    return 92.0 + (132.0 - 92.0) * (x - _TRANSFORMER[1]) / (_FAR - _TRANSFORMER[1])


def _tee(drawn: Drawn) -> list[Markup]:
    x = _FAR - 92.0
    bottom = _return_at(drawn, x + 36.0)
    return [box(x - 6.0, 30.0, 86.0, 118.0, "plugbox"), box(x, 45.0, 22.0, 14.0, "part"),
            box(x + 50.0, 45.0, 22.0, 14.0, "part"),
            line([(x + 36.0, 52.0), (x + 36.0, bottom)], "thin"),
            box(x + 30.0, (52.0 + bottom) / 2.0 - 11.0, 12.0, 22.0, "part"),
            label(drawn.pad, x + 36.0, 24.0, "small", "middle")]  # fmt: skip


def _pad(drawn: Drawn) -> list[Markup]:
    if drawn.tee_pad:
        return _tee(drawn)
    x = _FAR - 58.0
    marks = [box(x - 8.0, 30.0, 46.0, 118.0, "plugbox")]
    rows = [52.0, 92.0] if drawn.balanced_pad else [52.0]
    marks += [box(x, y - 7.0, 26.0, 14.0, "part") for y in rows]
    bottom = 92.0 if drawn.balanced_pad else _return_at(drawn, x + 32.0)
    if not drawn.series_pad:
        marks += [line([(x + 32.0, 52.0), (x + 32.0, bottom)], "thin"),
                  box(x + 26.0, (52.0 + bottom) / 2.0 - 11.0, 12.0, 22.0, "part")]  # fmt: skip
    marks.append(label(drawn.pad, x + 15.0, 24.0, "small", "middle"))
    return marks
