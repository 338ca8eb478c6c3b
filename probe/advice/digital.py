"""Digital links: what a lead, a transformer or a bare plug adapter does to level and impedance.

Levels and impedances are those of AES3 (110 ohm, XLR), AES-3id (75 ohm) and the consumer
coaxial link (75 ohm, RCA), as tabulated in RaneNote 149 (D. Bohn, 2001/2014). Levels are V peak
to peak into the right load. With a source ``Z0`` and a load ``ZL``:

    G = (ZL - Z0) / (ZL + Z0)                     reflection                       (1)
    return loss -20 log10 |G|, mismatch loss -10 log10(1 - G^2)                    (2)
    level in the wrong load over that in the right one: 2 ZL / (Z0 + ZL) = 1 + G   (3)
    through a transformer that fits both sides: sqrt(Zout / Zin)                   (4)
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from probe.advice import thresholds as limit
from probe.advice.between_chassis import ampere_words, joined
from probe.advice.case import Verdict
from probe.advice.destination import Cable, Destination, Input
from probe.advice.leads import wiring_of
from probe.advice.note import Note
from probe.advice.preferred import nearest
from probe.advice.subject import Device

Joint = Literal["straight", "transformer", "adapter"]


@dataclass(frozen=True)
class Interface:
    """One digital interface: impedance, V peak to peak sent and needed, longest lead."""

    name: str
    ohm: float
    low_volts: float
    high_volts: float
    needs_volts: float
    length_m: float


AES3 = Interface("AES3", 110.0, 2.0, 7.0, 0.2, 100.0)
AES3ID = Interface("AES-3id", 75.0, 0.8, 1.2, 0.32, 1000.0)
CONSUMER = Interface("the consumer coaxial link", 75.0, 0.4, 0.6, 0.2, 10.0)
"""[published] RaneNote 149, table 1. The lower ends at 75 ohm are the upper ones mirrored about
the nominal 1.0 and 0.5 V (the note prints nominal and maximum only)."""

NOMINAL = {AES3.name: 2.0, AES3ID.name: 1.0, CONSUMER.name: 0.5}
"""V peak to peak that a receiver expects. [published] The same table."""


@dataclass(frozen=True)
class Link:
    """One way of joining two digital sockets."""

    id: str
    from_: str
    to: str
    joint: Joint
    adapter: str | None
    says: str
    lead: Literal["sends", "expects"] = "expects"
    """Whose lead covers the length: behind a transformer at the device the input's, before one at
    the destination the output's."""
    over_110: bool = False
    """The transformer stands where the length runs over the 110 ohm lead, and may be that long."""


LINKS = (
    Link("digital-75-to-75", "digital-75", "digital-75", "straight", None,
         "a 75 ohm coaxial lead made for digital"),
    Link("digital-110-to-110", "digital-110", "digital-110", "straight", None,
         "a 110 ohm balanced lead made for digital: 1 to 1, 2 to 2, 3 to 3"),
    Link("digital-110-to-75/transformer", "digital-110", "digital-75", "transformer",
         "digital transformer 110 to 75 ohm with an attenuator",
         "a digital transformer from 110 to 75 ohm, its attenuator, and a 75 ohm lead"),
    Link("digital-110-to-75/transformer-at-destination", "digital-110", "digital-75", "transformer",
         "digital transformer 110 to 75 ohm with an attenuator, at the destination",
         "a 110 ohm balanced lead over the length, then a digital transformer from 110 to 75 ohm "
         "with its attenuator at the destination", "sends", over_110=True),
    Link("digital-110-to-75/adapter", "digital-110", "digital-75", "adapter",
         "bare plug adapter", "a plug adapter: pin 2 to the centre, pins 1 and 3 to the shell"),
    Link("digital-75-to-110/transformer", "digital-75", "digital-110", "transformer",
         "digital transformer 75 to 110 ohm",
         "a digital transformer from 75 to 110 ohm at the receiver, after a 75 ohm lead", "sends"),
    Link("digital-75-to-110/transformer-at-source", "digital-75", "digital-110", "transformer",
         "digital transformer 75 to 110 ohm, at the source",
         "a digital transformer from 75 to 110 ohm at the source, then a 110 ohm balanced lead "
         "over the length", over_110=True),
    Link("digital-75-to-110/adapter", "digital-75", "digital-110", "adapter",
         "bare plug adapter", "a plug adapter: the centre to pin 2, the shell to pins 1 and 3"),
)  # fmt: skip


def reflection(source_ohm: float, load_ohm: float) -> float:
    """Return the reflection of a load on a source or line (1)."""
    return (load_ohm - source_ohm) / (load_ohm + source_ohm)


def return_loss_db(source_ohm: float, load_ohm: float) -> float:
    """Return the return loss, dB (2); infinite for a match."""
    size = abs(reflection(source_ohm, load_ohm))
    return math.inf if size == 0.0 else -20.0 * math.log10(size)


def mismatch_loss_db(source_ohm: float, load_ohm: float) -> float:
    """Return the power lost to the mismatch, dB (2)."""
    return -10.0 * math.log10(1.0 - reflection(source_ohm, load_ohm) ** 2)


def transformed(volts: float, from_ohm: float, to_ohm: float) -> float:
    """Return the level behind an ideal transformer that fits both sides (4)."""
    return volts * math.sqrt(to_ohm / from_ohm)


@dataclass(frozen=True)
class LossPad:
    """Two resistors that match a higher to a lower resistance with the least loss, ohm and dB."""

    series_ohm: float
    shunt_ohm: float
    power_loss_db: float
    voltage_ratio_db: float


def minimum_loss_pad(high_ohm: float, low_ohm: float) -> LossPad:
    """Return the L pad with its series resistor on the higher side, both sides matched.

    ``series = sqrt(Zh (Zh - Zl))``, ``shunt = Zl sqrt(Zh / (Zh - Zl))`` (image impedances).
    """
    series = math.sqrt(high_ohm * (high_ohm - low_ohm))
    shunt = low_ohm * math.sqrt(high_ohm / (high_ohm - low_ohm))
    parallel = 1.0 / (1.0 / shunt + 1.0 / low_ohm)
    ratio = parallel / (series + parallel)
    power = ratio**2 * high_ohm / low_ohm
    return LossPad(series, shunt, -10.0 * math.log10(power), 20.0 * math.log10(ratio))


@dataclass(frozen=True)
class TeePad:
    """A matched attenuator of two equal series resistors and one shunt between them."""

    series_ohm: float
    shunt_ohm: float
    attenuation_db: float


def tee_pad(ohm: float, attenuation_db: float) -> TeePad:
    """Return the matched T attenuator in values of E24, with the attenuation they give.

    ``series = Z (k - 1)/(k + 1)``, ``shunt = 2 Z k/(k^2 - 1)``, ``k`` the voltage ratio.
    """
    k = 10.0 ** (attenuation_db / 20.0)
    series = nearest(ohm * (k - 1.0) / (k + 1.0), "E24")
    shunt = nearest(2.0 * ohm * k / (k * k - 1.0), "E24")
    outer = 1.0 / (1.0 / shunt + 1.0 / (series + ohm))
    ratio = outer / (ohm + series + outer) * ohm / (series + ohm)
    return TeePad(series, shunt, -20.0 * math.log10(2.0 * ratio))


@dataclass(frozen=True)
class DigitalAdvice:
    """One digital link, judged. Levels in V peak to peak at the receiver, ends of what may be."""

    link: Link
    box: str
    socket: str
    low_volts: float
    high_volts: float
    return_loss_db: float
    mismatch_loss_db: float
    pad: TeePad | None
    verdict: Verdict
    hazards: tuple[Note, ...]
    reasons: tuple[str, ...]
    deciding: tuple[Note, ...] = ()
    """Of the hazards those by which it does not work."""
    ask_first: tuple[Note, ...] = ()
    """What a maker has to be asked before anything is bought for it."""

    length_m: float = 0.0
    """Of the lead, where that is more than its standard promises."""
    promised_m: float = 0.0
    """Length that its standard promises then."""

    @property
    def try_first(self) -> str:
        """What can be tried before anything is bought: a plain lead that merely is too long.

        The length of a standard is what it promises, not where links break; but of much more
        nobody says anything, and a lead of that length is seldom there to be tried.
        """
        if not self.merely_long or self.length_m > limit.DIGITAL_TRIED * self.promised_m:
            return ""
        earths = any(h.code == "digital-earths" for h in self.hazards)
        joins = "; it joins the chassis, and may bring hum into other leads between them"
        return (
            f"try {self.link.says}: it is {self.length_m - self.promised_m:.3g} m beyond the "
            f"{self.promised_m:g} m the standard promises, which is not where links break; "
            f"drop-outs or silence would show it, nothing is harmed{joins * earths}"
        )

    @property
    def merely_long(self) -> bool:
        """Nothing but its length speaks against a plain lead."""
        decides = {h.code for h in self.deciding}
        return self.link.joint == "straight" and decides == {"digital-length"}

    @property
    def against(self) -> list[Note]:
        """What speaks against it; where something does, not how its attenuator is made."""
        fitted = bool(self.deciding) and self.pad is not None
        return [
            h for h in self.hazards
            if h in self.deciding or not (fitted and h.code == "digital-level")
        ]  # fmt: skip

    def to_json(self) -> dict[str, Any]:
        """Return the link as an option of the advice."""
        out: dict[str, Any] = {
            "id": self.link.id,
            "side": "both",
            "destination": self.box,
            "input": self.socket,
            "from": self.link.from_,
            "to": self.link.to,
            "adapter": self.link.adapter,
            "says": self.link.says,
            "wiring": wiring_of(self.link.id),
            "reference": "none",
            "level": {
                "value": (self.low_volts + self.high_volts) / 2.0,
                "unit": "V",
                "low": self.low_volts,
                "high": self.high_volts,
                "measure": "peak-to-peak",
            },
            "mismatch_loss_db": {"value": self.mismatch_loss_db, "unit": "dB"},
        }
        if math.isfinite(self.return_loss_db):
            out["return_loss_db"] = {"value": self.return_loss_db, "unit": "dB"}
        if self.pad is not None:
            out["attenuator"] = _fitted(self, self.pad, out["level"])
        out["hazards"] = [h.to_json() for h in self.hazards]
        out["verdict"] = self.verdict
        out["reasons"] = list(self.reasons)
        out["because"] = "; ".join(h.message for h in self.against)
        return out


def _fitted(advice: DigitalAdvice, pad: TeePad, level: dict[str, Any]) -> dict[str, Any]:
    """Return the attenuator, the level behind it, and what is left to mind."""
    share = 10.0 ** (-pad.attenuation_db / 20.0)
    return {
        "fitted": True,
        "says": _pad_says(pad),
        "attenuation": {"value": pad.attenuation_db, "unit": "dB"},
        "level": {**level, **{k: level[k] * share for k in ("value", "low", "high")}},
        "designs": [{"series": "E24", "series_ohm": pad.series_ohm, "shunt_ohm": pad.shunt_ohm,
                     "tee": True, "attenuation_db": pad.attenuation_db}],
        "hazards": [h.to_json() for h in advice.hazards if h.code != "digital-level"],
    }  # fmt: skip


def _pad_says(pad: TeePad) -> str:
    return (
        f"{pad.attenuation_db:.1f} dB at 75 ohm: {pad.series_ohm:g} ohm in and out, "
        f"{pad.shunt_ohm:g} ohm from between them to the shell"
    )


def digital_options(device: Device, destination: Destination) -> tuple[DigitalAdvice, ...]:
    """Return every digital link that the connectors of both ends allow, judged."""
    return tuple(
        _judged(link, device, socket, destination)
        for socket in destination.inputs
        for link in LINKS
        if link.from_ in device.connectors and link.to == socket.connector
    )


@dataclass(frozen=True)
class _Ends:
    """What sends, what expects, and what lies between."""

    sends: Interface
    expects: Interface
    device: Device
    socket: Input
    cable: Cable
    mains_hz: float


def _judged(link: Link, device: Device, socket: Input, destination: Destination) -> DigitalAdvice:
    sends, expects = _sends(link, device), _expects(link, socket)
    sent = _sent(sends, device)
    source, load = sends.ohm, expects.ohm
    mismatch, returned = 0.0, math.inf
    if link.joint == "transformer":
        low, high = (transformed(v, source, load) for v in sent)
    else:
        low, high = (v * (1.0 + reflection(source, load)) for v in sent)
        mismatch, returned = mismatch_loss_db(source, load), return_loss_db(source, load)
    advice = DigitalAdvice(
        link, socket.box, socket.name, low, high, returned, mismatch,
        pad=None, verdict="works", hazards=(), reasons=(),
    )  # fmt: skip
    cable = destination.cable_of(socket)
    ends = _Ends(sends, expects, device, socket, cable, destination.mains_hz)
    for rule in (_adapter, _level, _format, _length, _lead, _earths):
        advice = rule(advice, ends)
    rest = tuple(h for h in advice.hazards if h not in advice.deciding)
    advice = replace(advice, hazards=(*advice.deciding, *rest))
    return replace(advice, reasons=(*advice.reasons, *(h.message for h in advice.hazards)))


def _sends(link: Link, device: Device) -> Interface:
    if link.from_ == "digital-110":
        return AES3
    return AES3ID if device.digital_format == "professional" else CONSUMER


def _expects(link: Link, socket: Input) -> Interface:
    if link.to == "digital-110":
        return AES3
    return AES3ID if socket.digital_format == "professional" else CONSUMER


def nominal_volts(device: Device, connector: str) -> float:
    """Return what a digital output sends, V peak to peak: as stated, else what is expected."""
    link = next(one for one in LINKS if one.from_ == connector)
    return device.digital_volts or NOMINAL[_sends(link, device).name]


def _sent(sends: Interface, device: Device) -> tuple[float, float]:
    declared = device.digital_volts
    return (sends.low_volts, sends.high_volts) if declared is None else (declared, declared)


BADNESS: tuple[Verdict, ...] = ("works", "cannot-tell", "avoid", "never")
"""Verdicts, the mildest first."""


def _with(
    advice: DigitalAdvice, note: Note, verdict: Verdict = "works", *, hazard: bool = True
) -> DigitalAdvice:
    if not hazard:
        return replace(advice, reasons=(*advice.reasons, note.message))
    found = replace(advice, hazards=(*advice.hazards, note))
    if verdict == "works":
        return found
    worse = max(advice.verdict, verdict, key=BADNESS.index)
    return replace(found, verdict=worse, deciding=(*advice.deciding, note))


def _adapter(advice: DigitalAdvice, ends: _Ends) -> DigitalAdvice:
    """Say what the bare mismatch really does, and what matters more."""
    if advice.link.joint != "adapter":
        return advice
    says = (
        f"{ends.sends.ohm:g} ohm on {ends.expects.ohm:g} ohm by itself is "
        f"{advice.return_loss_db:.1f} dB return loss and {advice.mismatch_loss_db:.2f} dB of "
        f"level; {_matching(ends.sends.ohm, ends.expects.ohm)}; level, grounding and format "
        "matter more"
    )
    advice = _with(advice, Note("digital-mismatch", says), hazard=False)
    grounds = "a bare adapter puts one leg of the balanced side on ground"
    return _with(advice, Note("digital-grounding", grounds), "avoid")


def _matching(one_ohm: float, other_ohm: float) -> str:
    """Return what resistors that match both sides would cost."""
    high, low = max(one_ohm, other_ohm), min(one_ohm, other_ohm)
    pad = minimum_loss_pad(high, low)
    return (
        f"resistors that match both ({pad.series_ohm:.0f} ohm in series on the {high:g} ohm side, "
        f"{pad.shunt_ohm:.0f} ohm across the other) cost {pad.power_loss_db:.1f} dB of power and "
        "ground the leg all the same"
    )


def _level(advice: DigitalAdvice, ends: _Ends) -> DigitalAdvice:
    high, low, most = advice.high_volts, advice.low_volts, ends.expects.high_volts
    if high > most * (1.0 + 1e-9):
        wanted = 20.0 * math.log10(high / NOMINAL[ends.expects.name])
        says = f"{_volts(low, high)} peak to peak reach an input that expects " \
               f"{NOMINAL[ends.expects.name]:g} V and accepts {most:g} V"  # fmt: skip
        if advice.link.joint == "adapter":
            return _with(advice, Note("digital-level", says), "avoid")
        pad = tee_pad(ends.expects.ohm, wanted)
        fitted = f"{says}: an attenuator belongs to it, {_pad_says(pad)}"
        least = low * 10.0 ** (-pad.attenuation_db / 20.0)
        advice = replace(advice, pad=pad)
        if least < ends.expects.needs_volts:
            short = (
                f"behind it {low:.2g} V would be {least:.2g} V, less than the "
                f"{ends.expects.needs_volts:g} V that are needed"
            )
            fitted += f"; {short}"
            ask = "ask the maker of the device for the level of this output"
            which = f"the attenuator is chosen for {high:.3g} V peak to peak, and {short}"
            asked = Note("digital-level", f"{ask} (digital_volts_peak_to_peak): {which}")
            advice = replace(advice, ask_first=(*advice.ask_first, asked))
        return _with(advice, Note("digital-level", fitted))
    if low < ends.expects.needs_volts:
        needs = ends.expects.needs_volts
        says = f"only {low:.2g} V peak to peak reach an input that needs {needs:g} V"
        return _with(advice, Note("digital-level", says), "avoid")
    if low < 0.999 * ends.expects.low_volts:
        says = (
            f"{_volts(low, high)} peak to peak: below what {ends.expects.name} sends, above "
            f"the {ends.expects.needs_volts:g} V its receiver needs"
        )
        return _with(advice, Note("digital-low", says))
    return advice


def _format(advice: DigitalAdvice, ends: _Ends) -> DigitalAdvice:
    """Compare the channel status sent with the one accepted."""
    sent = ends.device.digital_format or _usual_format(advice.link.from_)
    if ends.socket.digital_format == "both" or sent == ends.socket.digital_format:
        return advice
    if ends.socket.digital_format is None and sent == _usual_format(advice.link.to):
        return advice
    says = f"the output sends the {sent} channel-status format"
    if ends.socket.digital_format is not None:
        takes = f"{says}, and the receiver takes the {ends.socket.digital_format} one"
        return _with(advice, Note("digital-format", takes), "avoid")
    asked = Note(
        "digital-format",
        f"ask the maker of the receiver whether this input takes the {sent} channel-status format "
        "(one bit tells which is which; digital_format): where it does not, the link may "
        "stay silent, and all of it is bought for nothing",
    )
    advice = replace(advice, ask_first=(asked, *advice.ask_first))
    return _with(advice, Note("digital-format", f"{says}: the receiver must accept it"))


def _usual_format(connector: str) -> str:
    return "professional" if connector == "digital-110" else "consumer"


def _length(advice: DigitalAdvice, ends: _Ends) -> DigitalAdvice:
    over = _runs_over(advice.link, ends)
    metres, allowed = ends.cable.length_m, over.length_m
    if metres > allowed:
        says = f"{metres:.3g} m is longer than the {allowed:g} m of {over.name}"
        advice = replace(advice, length_m=metres, promised_m=allowed)
        return _with(advice, Note("digital-length", says), "avoid")
    if not advice.link.over_110:
        return advice
    spare = _decibels(advice.low_volts / ends.expects.needs_volts)
    share = spare / _decibels(over.low_volts / over.needs_volts)
    if metres <= share * allowed:
        return advice
    says = (
        f"the {allowed:g} m of {over.name} are for {over.low_volts:g} V peak to peak: of "
        f"{advice.low_volts:.2g} V the lead may take {spare:.1f} dB, as much as "
        f"{share * allowed:.0f} m at the most that {over.name} lets it lose. For {metres:.3g} m "
        f"its maker has to state less than {spare / metres:.2g} dB a metre at 6 MHz"
    )
    return _with(advice, Note("digital-length", says), "cannot-tell")


def _runs_over(link: Link, ends: _Ends) -> Interface:
    """Return the interface whose length holds: over a 75 ohm lead the shorter of both ends'."""
    if not link.over_110:
        return min(ends.sends, ends.expects, key=lambda interface: interface.length_m)
    return ends.sends if link.lead == "sends" else ends.expects


def _decibels(ratio: float) -> float:
    return 20.0 * math.log10(ratio)


def _lead(advice: DigitalAdvice, ends: _Ends) -> DigitalAdvice:
    """Say what is known of the lead's impedance."""
    ohm = (ends.sends if advice.link.lead == "sends" else ends.expects).ohm
    if ends.cable.impedance_ohm is None:
        says = (
            "an analogue interconnect used as a digital lead: its impedance is unknown; "
            f"take one made for {ohm:g} ohm"
        )
        return _with(advice, Note("digital-lead", says), hazard=False)
    loss = return_loss_db(ohm, ends.cable.impedance_ohm)
    if loss < LEAST_RETURN_LOSS_DB:
        lead = f"a {ends.cable.impedance_ohm:g} ohm lead on {ohm:g} ohm"
        says = f"{lead}: {loss:.1f} dB return loss"
        return _with(advice, Note("digital-lead", says), hazard=False)
    return advice


def _earths(advice: DigitalAdvice, ends: _Ends) -> DigitalAdvice:
    """Say what the shield carries between two chassis, where that is more than filters leak."""
    found = joined(ends.socket.ground, ends.cable, ends.mains_hz)
    if advice.link.joint == "transformer" or found is None or not ends.socket.ground.source_known:
        return advice
    if found.high <= limit.GROUND_LEAKAGE_AMPERE:
        return advice
    says = (
        f"its shield joins the two chassis and carries {ampere_words(found.high)} between them: no "
        "hum in itself, but what isolators keep out of analogue leads between the same boxes flows "
        f"here. A digital isolating transformer, {ends.expects.ohm:g} to {ends.expects.ohm:g} ohm, "
        "or an optical link keeps it out"
    )
    return _with(advice, Note("digital-earths", says))


LEAST_RETURN_LOSS_DB = 15.0
"""Of a lead on its receiver. [published, from memory] AES-3id asks it of a driver."""


def _volts(low: float, high: float) -> str:
    return f"{low:.3g} V" if math.isclose(low, high) else f"{low:.3g} to {high:.3g} V"


def digital_lines(links: Sequence[DigitalAdvice], *, details: bool = False) -> list[str]:
    """Return a line for each link that is not used, and one for all that speaks against it.

    Nobody asks for those of a box that uses the same interface at both ends: with ``details``.
    """
    straight = {a.box for a in links if a.verdict == "use" and a.link.joint == "straight"}
    lines = []
    for a in links:
        if a.verdict == "use" or (a.box in straight and not details):
            continue
        lines.append(f"{a.verdict}: {a.link.id}: {a.link.says}")
        lines += [f"{a.link.id}: {h.message}" for h in a.against]
    return lines
