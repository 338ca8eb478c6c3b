"""Complete connections as netlists for the circuit simulator, written by hand for each option.

Nothing here comes from the project's own network: the difference amplifier is four resistors
round an amplifier of gain 1e9, the transformer a coupled pair of inductors. Only part values
are shared. Node ``h``/``c``/``r`` are the stage's terminals, ``g`` the destination's ground,
``i2``/``i3`` the input's pins (``i2`` also the centre of an RCA input).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from probe.advice import parts
from probe.advice.destination import Cable, Input
from tests.spice.circuits import Circuit
from tests.spice.ngspice import Tone, solve


@dataclass(frozen=True)
class Connection:
    """One stage, one option, one input, one lead."""

    circuit: Circuit
    option: str
    socket: Input
    cable: Cable
    mismatch: float = 0.0


HUM_OUTPUTS = ("v(heard)", "v(i2)", "v(minus)", "v(g)")


@dataclass(frozen=True)
class Hummed:
    """What the simulator says of 1 V between the chassis: V heard, mean of the input's pins, V."""

    heard: Any
    common: Any


@dataclass(frozen=True)
class Heard:
    """What the simulator says: V at the input for 1 V of drive, A in the tie (None: no tie)."""

    hz: Any
    level: Any
    tie: Any


def simulate(connection: Connection, hz: Sequence[float]) -> Heard:
    """Solve the whole connection at ``hz``."""
    lines = _netlist(connection)
    outputs = ["v(heard)"]
    tied = any(line.startswith("vtie ") for line in lines)
    if tied:
        outputs.append("i(vtie)")
    found = solve("\n".join(lines), ["vdrive"], [Tone(f, ("vdrive",)) for f in hz], outputs)
    return Heard(np.asarray(hz), found["v(heard)"], found.get("i(vtie)") if tied else None)


def simulate_hum(connection: Connection, hz: Sequence[float]) -> Hummed:
    """Solve the same circuit with the device silent and 1 V of difference between the chassis."""
    lines = _netlist(connection)
    found = solve(
        "\n".join(lines), ["vdrive", "vemf"], [Tone(f, ("vemf",)) for f in hz], HUM_OUTPUTS
    )
    mean = (found["v(i2)"] + found["v(minus)"]) / 2.0 - found["v(g)"]
    return Hummed(found["v(heard)"], mean)


def _netlist(connection: Connection) -> list[str]:
    lines = [connection.circuit.includes(), "vdrive drive 0 dc 0 ac 0"]
    lines.append(connection.circuit.instance("dut", "drive", "h", "c", "r"))
    lines += lead_lines(connection)
    lines += input_lines(connection)
    # the input reports the difference it hears; unused legs need a path for the simulator
    lines += ["eheard heard 0 i2 minus 1", "rheard heard 0 1k"]
    lines += [
        "rih h 0 1e12",
        "ric c 0 1e12",
        "rir r 0 1e12",
        "ri3 i3 0 1e13",
        "ri2 i2 0 1e13",
        "rig g 0 1e13",
    ]
    return lines


def _wire(name: str, near: str, far: str, shield_end: str, cable: Cable) -> list[str]:
    ohm = parts.CONTACT_OHM + parts.CONDUCTOR_OHM_PER_M * cable.length_m
    half = cable.farad / 2.0
    lines = [f"r{name} {near} {far} {ohm!r}", f"c{name}f {far} {shield_end} {half!r}"]
    if near != "0":
        lines.append(f"c{name}n {near} 0 {half!r}")
    return lines


def _shield(far: str, cable: Cable) -> str:
    return f"rshield 0 {far} {cable.shield_ohm + cable.contact_ohm!r}"


def _tie(a: str, b: str) -> list[str]:
    return [f"vtie {a} tiemid dc 0 ac 0", f"rtie tiemid {b} {parts.TIE_OHM!r}"]


def _iso(p: str, q: str, r: str, s: str) -> list[str]:
    t = parts.ISOLATING_TRANSFORMER
    own = t.magnetising_henry + t.leakage_henry / 2.0
    other = own * t.ratio**2
    k = t.magnetising_henry * t.ratio / (own * other) ** 0.5
    return [
        f"riso1 {p} iso1 {t.primary_ohm!r}", f"riso2 {r} iso2 {t.secondary_ohm!r}",
        f"lp iso1 {q} {own!r}", f"ls iso2 {s} {other!r}", f"kiso lp ls {k!r}",
        f"rloss iso1 {q} {t.loss_ohm!r}",
        f"cp {p} {q} {t.primary_farad!r}", f"cs {r} {s} {t.secondary_farad!r}",
        f"cb1 {p} {r} {t.between_farad!r}", f"cb2 {q} {s} {t.between_farad!r}",
    ]  # fmt: skip


def lead_lines(connection: Connection) -> list[str]:
    """The lead of an option with the ground path; ``vemf`` drives it."""
    cable, ground = connection.cable, connection.socket.ground
    earth = (
        f"cearth e g {ground.farad!r}"
        if ground.farad is not None
        else f"rearth e g {ground.ohm or parts.EARTH_OHM!r}"
    )
    return ["vemf e 0 dc 0 ac 0", earth, *_LEADS[connection.option](cable)]


def _xlr_to_xlr(cable: Cable) -> list[str]:
    return [
        *_wire("w2", "h", "i2", "g", cable),
        *_wire("w3", "c", "i3", "g", cable),
        _shield("g", cable),
    ]


def _tied_at_destination(cable: Cable) -> list[str]:
    """Tied in the destination's socket, or where a short RCA lead hangs on the adapter (``j``)."""
    if cable.tail is None:
        return [*_xlr_to_xlr(cable), *_tie("i3", "g")]
    tail, half = cable.tail, cable.tail.farad / 2.0
    wire = parts.CONTACT_OHM + parts.CONDUCTOR_OHM_PER_M * tail.length_m
    return [
        *_wire("w2", "h", "j2", "j", cable), *_wire("w3", "c", "i3", "j", cable),
        _shield("j", cable), *_tie("i3", "j"),
        f"rtail2 j2 i2 {wire!r}", f"ctailn j2 j {half!r}", f"ctailf i2 g {half!r}",
        f"rtail j g {tail.shield_ohm + tail.contact_ohm!r}",
    ]  # fmt: skip


_LEADS = {
    "rca-to-rca": lambda k: [*_wire("w", "r", "i2", "g", k), _shield("g", k)],
    "xlr-to-xlr": _xlr_to_xlr,
    "xlr-to-xlr/transformer": lambda k: [
        *_wire("w2", "h", "p2", "0", k), *_wire("w3", "c", "p3", "0", k),
        *_iso("p2", "p3", "i2", "i3"),
    ],
    "xlr-to-rca/pin-3-open": lambda k: [*_wire("w", "h", "i2", "g", k), _shield("g", k)],
    "xlr-to-rca/pin-3-tied-at-source": lambda k: [
        *_wire("w", "h", "i2", "g", k), _shield("g", k), *_tie("c", "0"),
    ],
    "xlr-to-rca/pin-3-tied-at-destination": lambda k: _tied_at_destination(k),
    "xlr-to-rca/transformer": lambda k: [
        *_wire("w2", "h", "p2", "0", k), *_wire("w3", "c", "p3", "0", k),
        *_iso("p2", "p3", "i2", "g"),
    ],
    "rca-to-xlr/pin-3-tied-at-source": lambda k: [
        *_wire("w2", "r", "i2", "g", k), *_wire("w3", "0", "i3", "g", k), _shield("g", k),
    ],
    "rca-to-xlr/pin-3-tied-at-destination": lambda k: [
        *_wire("w", "r", "i2", "g", k), _shield("g", k), f"rjoin i3 g {parts.TIE_OHM!r}",
    ],
    "rca-to-xlr/pin-3-open": lambda k: [*_wire("w", "r", "i2", "g", k), _shield("g", k)],
    "rca-to-xlr/transformer": lambda k: [
        *_wire("w", "r", "p2", "sh", k), _shield("sh", k), *_iso("p2", "sh", "i2", "i3"),
    ],
    "rca-to-rca/transformer": lambda k: [
        *_wire("w", "r", "p2", "sh", k), _shield("sh", k), *_iso("p2", "sh", "i2", "g"),
    ],
}  # fmt: skip


def input_lines(connection: Connection) -> list[str]:
    """What hangs on the input's pins."""
    socket, m = connection.socket, connection.mismatch
    z, between = socket.impedance_ohm, socket.impedance_is == "between-legs"
    if socket.receiver == "single-ended":
        lines = [f"rin i2 g {z!r}", "vminus minus g dc 0"]
        if socket.pin_3 == "ground":
            lines += _tie("i3", "g")
        return lines
    cold, lines = "i3", []
    if socket.pin_3 == "ground":
        lines += _tie("i3", "g")
    if socket.pin_3 == "open":
        cold, lines = "in3", [f"rinside in3 g {parts.TIE_OHM!r}"]
    lines.append(f"vminus minus {cold} dc 0")
    if socket.circuit == "difference-amplifier":
        # four resistors of half the stated impedance: R + R in series to ground on the hot leg
        r = z / 2.0
        hot, neg = r * (1.0 + m / 2.0), r * (1.0 - m / 2.0)
        lines += [f"ra i2 pos {hot!r}", f"rb pos g {hot!r}", f"rc {cold} neg {neg!r}",
                  f"rd neg out {neg!r}", "eamp out g pos neg 1e9"]  # fmt: skip
    elif socket.circuit == "buffered":
        each = z / 2.0 if between else z
        lines += [f"ra i2 g {each * (1 + m / 2)!r}", f"rc {cold} g {each * (1 - m / 2)!r}"]
    else:
        farad = parts.RECEIVER_COMMON_MODE_FARAD
        lines += [f"ra i2 {cold} {z if between else 2 * z!r}",
                  f"ca i2 g {farad * (1 - m / 2)!r}",
                  f"cc {cold} g {farad * (1 + m / 2)!r}"]  # fmt: skip
    return lines
