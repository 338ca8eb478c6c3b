"""Multimeter readings before anything is connected, and when they stop the run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from probe.line_output import POWER_VOLTS
from probe.session.model import Device, LoadEnd, MeterReading

CONNECT_VOLTS_DC = 0.1
"""Direct voltage above which nothing is connected: a healthy output has some millivolts."""

FAULT_VOLTS_DC = 2.0
"""Direct voltage that no line output has: a fault, a stuck rail, or a bridged power stage, whose
terminals both sit at half its supply."""

IDLE_VOLTS_AC = 0.5
"""Alternating voltage of an output that should be silent: a floating chassis, or it is playing."""

Weight = Literal["fine", "ask", "stop"]


@dataclass(frozen=True)
class Judged:
    """What a reading means: ``stop`` ends the run, ``ask`` wants an answer first."""

    weight: Weight
    text: str


def places(device: Device) -> tuple[tuple[LoadEnd, LoadEnd], ...]:
    """Return between which terminals to measure, in order."""
    found: list[tuple[LoadEnd, LoadEnd]] = [("hot", "ground"), ("cold", "ground")]
    if "rca" in device.connectors:
        found.append(("single-ended", "ground"))
    return tuple(found)


SPOKEN = {
    ("hot", "ground"): "pin 2 and pin 1",
    ("cold", "ground"): "pin 3 and pin 1",
    ("single-ended", "ground"): "the RCA centre and its shell",
}


def judge(reading: MeterReading) -> Judged:
    """Say what a reading between two terminals means."""
    where = SPOKEN.get(reading.between, " and ".join(reading.between))
    if reading.side != "mono":
        where += f" of the {reading.side} output"
    volts_dc, volts_ac = abs(reading.volts_dc or 0.0), reading.volts_ac or 0.0
    if volts_dc > FAULT_VOLTS_DC:
        return Judged(
            "stop",
            f"{volts_dc:g} V direct between {where}: above 2 V suspect a fault, phantom power on "
            "the lead, or a bridged power output. Do not connect anything; have it looked at.",
        )
    if volts_dc > CONNECT_VOLTS_DC:
        return Judged(
            "stop",
            f"{volts_dc:g} V direct between {where}: above 0.1 V do not connect. A leaky coupling "
            "capacitor or an offset does that; wait a minute and measure again.",
        )
    if volts_ac > POWER_VOLTS:
        return Judged(
            "stop",
            f"{volts_ac:g} V alternating between {where}: no silent line output shows that. Do "
            "not connect: a power output, or a chassis without earth against yours.",
        )
    if volts_ac > IDLE_VOLTS_AC:
        return Judged(
            "ask",
            f"{volts_ac:g} V alternating between {where} of a device that plays nothing: is it "
            "playing, or does its chassis float? Join pin 1 first and measure again.",
        )
    return Judged("fine", f"{where}: nothing that stands in the way")


def left_open(before: MeterReading | None, dc: float | None, ac: float | None) -> bool:
    """Whether what was typed now leaves standing an earlier reading that forbids to connect."""
    if before is None:
        return False
    volts_dc = before.volts_dc if dc is None else None
    volts_ac = before.volts_ac if ac is None else None
    return judge(replace(before, volts_dc=volts_dc, volts_ac=volts_ac)).weight == "stop"


def judge_grounds(volts_ac: float) -> Judged:
    """Say what alternating volts between pin 1 and the interface's ground, not yet joined, mean."""
    if volts_ac <= IDLE_VOLTS_AC:
        return Judged("fine", "the grounds are at one potential")
    return Judged(
        "ask",
        f"{volts_ac:g} V alternating between pin 1 and the ground of the interface. Equipment "
        "without a protective earth floats like this, at up to about half the mains voltage: "
        "everything off, then join pin 1 and the grounds FIRST, the signal pins after that. Where "
        "both have a protective earth their wiring is at fault: connect nothing, and have a "
        "licensed person look at it. Never lift an earth.",
    )


def worst(readings: Sequence[MeterReading]) -> Judged:
    """Return the gravest judgement of all readings; fine where there are none."""
    order: dict[Weight, int] = {"fine": 0, "ask": 1, "stop": 2}
    found = [judge(reading) for reading in readings]
    return max(found, key=lambda one: order[one.weight], default=Judged("fine", "no reading"))


REFUSED = {
    "headphone": "a headphone output is not measured here: both halves are driven, and a lead that "
    "joins their returns shorts two amplifiers",
    "speaker": "a loudspeaker output is not measured here: both terminals may be live, and the "
    "interface's ground on one of them is a short circuit",
}
"""By ``output`` of the device."""
