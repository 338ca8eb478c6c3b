"""What one take needs: what is plugged where, what is played, and what the take is called.

A `Plugged` is all that a drawing, a session or a virtual bench has to know; a `Step` adds what is
played and why the take is made.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from probe.session.model import Channel, Load, Side, Signal, State, Terminal


@dataclass(frozen=True)
class Injector:
    """A resistor from the bench's second output into a terminal.

    ``through_ohm`` includes the output's own impedance, ``ohm`` is the resistor alone.
    """

    into: Terminal
    through_ohm: float
    u95_relative: float
    part: str
    ohm: float


@dataclass(frozen=True)
class Plugged:
    """What is connected during one take; ``channels`` has a word for every recorder input."""

    side: Side
    channels: tuple[Channel, ...]
    loads: tuple[Load, ...] = ()
    injector: Injector | None = None
    state: State = "play"
    volume: str = ""
    plays_files: bool = False
    """The device plays files itself: nothing of the bench goes into its input."""
    fixture: bool = False
    """The 100 ohm reference stands in place of the device."""
    loop_back: bool = False
    """Output 1 goes straight to both inputs: no device, no reference."""


@dataclass(frozen=True)
class Step:
    """One take to be made."""

    take: str
    """Its word: ``open``, ``inject-cold``, ``load-hot`` and so on."""
    name: str
    """Its name in the session, unique."""
    plugged: Plugged
    signal: Signal = "multitone"
    reason: str = ""
    """Why it comes now, in a sentence."""

    @property
    def plays(self) -> bool:
        """Whether the device plays tones in it."""
        return self.signal in ("multitone", "tone", "level-steps") and self.plugged.state == "play"

    @property
    def sounds(self) -> bool:
        """Whether output 1 or the device's own player gives tones in it."""
        return self.plays or self.signal == "loop-back"

    @property
    def stem(self) -> str:
        """The name of its sound file, without the ending."""
        return re.sub(r"[^A-Za-z0-9.]+", "-", self.name).strip("-.")


OUTPUT_U95 = 0.005
"""Of an output's full scale where the bench says nothing else."""

SILENT = {"idle", "floor"}
"""Takes of noise: nothing plays, and a minute fraction of a volt is looked for."""

OF_BENCH = {"floor", "loop-back"}
"""Takes of the bench itself: one of each serves a whole session."""

LOADING = {"load-hot", "load-cold", "load-across", "single-ended-loaded"}
"""Takes that put a resistor on the device's output."""

MAXIMA = ("maximum", "single-ended-maximum")
"""Takes that drive an output until it clips: made only where that is asked for."""

INJECTING = {"inject-hot", "inject-cold", "inject-hot-off", "inject-cold-off"}
"""Takes that feed something into the device's output."""


@dataclass(frozen=True)
class Played:
    """What went out while a take was recorded, as a session says it."""

    tones_hz: tuple[float, ...] = ()
    phases_deg: tuple[float, ...] = ()
    drive_volts: float | None = None
    drive_dbfs: float | None = None
    injected_hz: tuple[float, ...] = ()
    injected_deg: tuple[float, ...] = ()
    injected_volts: float = 0.0
    injected_u95_relative: float = OUTPUT_U95
    levels_volts: tuple[float, ...] = ()
    step_s: float | None = None


def take_table(step: Step, played: Played, file: str) -> dict[str, Any]:
    """Return the ``[[take]]`` table of a step; absent keys are left out."""
    plugged = step.plugged
    said: dict[str, Any] = {
        "name": step.name,
        "file": file,
        "side": plugged.side,
        "channels": list(plugged.channels),
        "signal": step.signal,
    }
    if step.sounds:
        said |= {"tones_hz": list(played.tones_hz), "phases_deg": list(played.phases_deg)}
        said |= {"drive_volts": played.drive_volts, "drive_dbfs": played.drive_dbfs}
    if played.levels_volts:
        said |= {"levels_volts": list(played.levels_volts), "step_s": played.step_s}
    said |= {"volume": plugged.volume or None, "state": plugged.state}
    if plugged.loads:
        said["load"] = [_load(load) for load in plugged.loads]
    if plugged.injector is not None:
        said["inject"] = [_inject(plugged.injector, played)]
    return {key: value for key, value in said.items() if value is not None}


def _load(load: Load) -> dict[str, Any]:
    return {
        "from": load.from_,
        "to": load.to,
        "ohm": load.ohm,
        "u95_percent": tidy(100.0 * load.u95_relative),
        "part": load.part,
    }


def _inject(injector: Injector, played: Played) -> dict[str, Any]:
    said: dict[str, Any] = {
        "into": injector.into,
        "through_ohm": injector.through_ohm,
        "u95_percent": tidy(100.0 * injector.u95_relative),
        "part": injector.part,
        "volts": played.injected_volts,
        "volts_u95_percent": tidy(100.0 * played.injected_u95_relative),
    }
    if played.injected_volts > 0.0:
        said |= {"tones_hz": list(played.injected_hz), "phases_deg": list(played.injected_deg)}
    return said


def tidy(value: float) -> float:
    """Undo the last bits of a conversion of units, so that files read as they were meant."""
    return float(f"{value:.12g}")
