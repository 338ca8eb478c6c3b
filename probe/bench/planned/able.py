"""Which takes a kit can make of a device, and how each is wired.

The one place that turns a word for a take into plugs.
"""

from __future__ import annotations

from dataclasses import dataclass

from probe.bench.planned.kit import Kit, LoadPart, injector_of, load_of, most_volts
from probe.bench.planned.steps import MAXIMA, Injector, Plugged, Step
from probe.numbers import write_number
from probe.session.model import Channel, Device, Load, Side, Signal, Terminal

FIRST, LAST = "open", "second-open"

ORDER = (
    "open",
    "tone",
    "idle",
    "single-ended",
    "single-ended-tone",
    "floor",
    "loop-back",
    "inject-cold",
    "inject-hot",
    "inject-single-ended",
    "load-cold",
    "load-hot",
    "load-across",
    "single-ended-loaded",
    "maximum",
    "single-ended-maximum",
    "inject-cold-off",
    "inject-hot-off",
    "second-open",
)
"""Every take a guided run can ask for: gentle before not so gentle, loads one by one."""

TITLES = {
    "open": "both legs open",
    "tone": "both legs, one tone",
    "idle": "both legs, nothing played",
    "floor": "the reference in place of the device, nothing played",
    "loop-back": "the interface's own output, one tone",
    "single-ended": "pin 2 and the single-ended output",
    "single-ended-tone": "pin 2 and the single-ended output, one tone",
    "inject-cold": "test tones into pin 3",
    "inject-hot": "test tones into pin 2",
    "inject-single-ended": "test tones into the single-ended output",
    "load-cold": "a resistor on pin 3",
    "load-hot": "a resistor on pin 2",
    "load-across": "a resistor between the legs",
    "single-ended-loaded": "a resistor on the single-ended output",
    "maximum": "both legs, one tone that rises until they clip",
    "single-ended-maximum": "pin 2 and the single-ended output, one tone that rises until it clips",
    "inject-cold-off": "test tones into pin 3, device off",
    "inject-hot-off": "test tones into pin 2, device off",
    "second-open": "both legs open, once more",
}

LEAST_LOAD_RATIO = 5.0
"""A load is no lower than this many times the impedance it works on: the level falls by at most a
sixth, and nothing is asked of the stage that it does not do every day."""

LEAST_LOAD_OHM = 300.0
"""Below this a transformer's winding is loaded harder than it was made for."""


@dataclass(frozen=True)
class Setting:
    """What stays the same through one pass over the takes of a side."""

    device: Device
    kit: Kit
    side: Side
    volume: str = ""
    inputs: int = 2
    output_ohm: float = 0.0
    valve: bool = False
    plays_files: bool = False
    maximum: bool = False
    """The output may be driven until it clips."""
    levels: frozenset[str] = frozenset()
    """Takes of one tone that are wanted at a level of the output, by their words."""

    @property
    def has_reference(self) -> bool:
        """Whether a spare input records the drive."""
        return self.inputs > 2 and not self.plays_files


@dataclass(frozen=True)
class Known:
    """What loads are chosen by: ohms found, volts heard on the legs (rms of all tones)."""

    hot_ohm: float | None = None
    cold_ohm: float | None = None
    across_ohm: float | None = None
    single_ended_ohm: float | None = None
    hot_volts: float = 0.0
    cold_volts: float = 0.0


@dataclass(frozen=True)
class Refused:
    """A take the kit could make but that must not be made, and why."""

    take: str
    why: str

    @property
    def told(self) -> str:
        """Return both in one sentence, the take as it is announced."""
        return f"{TITLES.get(self.take, self.take)}: not made, since {self.why}"


def step_for(take: str, setting: Setting, known: Known, reason: str = "") -> Step | Refused | None:
    """Return how a take is made; None where the kit or the device has not what it needs."""
    plugged: Plugged | Refused | None
    if take in (FIRST, LAST, "tone", "idle"):
        plugged = _plugged(setting, ("hot", "cold"))
    elif take == "floor":
        has = setting.kit.reference is not None
        plugged = _plugged(setting, ("hot", "cold"), fixture=True) if has else None
    elif take == "loop-back":
        has = setting.kit.loop_back and not setting.plays_files
        plugged = _plugged(setting, ("hot", "cold"), loop_back=True) if has else None
    elif take in MAXIMA:
        plugged = _rising(take, setting)
    elif take.startswith("inject"):
        plugged = _injecting(take, setting)
    elif take in ("single-ended", "single-ended-tone"):
        has = _hears_single_ended(setting)
        plugged = _plugged(setting, ("hot", "single-ended")) if has else None
    else:
        plugged = _loading(take, setting, known)
    if plugged is None or isinstance(plugged, Refused):
        return plugged
    name = " ".join(p for p in (setting.side, setting.volume and f"at {setting.volume}") if p)
    signal = _signal(take, plugged)
    return Step(take, f"{name} {take.replace('-', ' ')}", plugged, signal, reason)


def _hears_single_ended(setting: Setting) -> bool:
    return "rca" in setting.device.connectors and setting.kit.single_ended


def _signal(take: str, plugged: Plugged) -> Signal:
    """Return what is played in a take."""
    if plugged.fixture or plugged.loop_back:
        return "floor" if plugged.fixture else "loop-back"
    if take in ("tone", "single-ended-tone"):
        return "tone"
    if take in MAXIMA:
        return "level-steps"
    injects_only = plugged.plays_files and plugged.injector is not None
    return "idle" if plugged.state == "off" or take == "idle" or injects_only else "multitone"


def able(setting: Setting, known: Known) -> dict[str, Step]:
    """Return every take that can be made, by its word, in order."""
    found = {take: step_for(take, setting, known) for take in ORDER}
    return {take: step for take, step in found.items() if isinstance(step, Step)}


def refused(setting: Setting, known: Known) -> list[Refused]:
    """Return the takes the kit could make but that must not be made."""
    found = (step_for(take, setting, known) for take in ORDER)
    return [one for one in found if isinstance(one, Refused)]


def _plugged(
    setting: Setting,
    channels: tuple[Channel, Channel],
    loads: tuple[Load, ...] = (),
    injector: Injector | None = None,
    *,
    off: bool = False,
    fixture: bool = False,
    loop_back: bool = False,
) -> Plugged:
    hears_drive = setting.has_reference and not off and not fixture and not loop_back
    spare: Channel = "reference" if hears_drive else "unused"
    silent: tuple[Channel, ...] = ("unused",)
    rest = (spare, *silent * setting.inputs)
    return Plugged(
        setting.side,
        (*channels, *rest[: setting.inputs - 2]),
        loads,
        injector,
        "off" if off else "play",
        setting.volume,
        setting.plays_files,
        fixture,
        loop_back,
    )


def _rising(take: str, setting: Setting) -> Plugged | Refused | None:
    alike = step_for("single-ended" if take == "single-ended-maximum" else FIRST, setting, Known())
    if not setting.maximum or not isinstance(alike, Step):
        return None
    if setting.plays_files:
        return Refused(
            take,
            "the device plays files itself, up to their full scale: play it what "
            "probe tones level-steps writes, and record that by hand",
        )
    return alike.plugged


def _injecting(take: str, setting: Setting) -> Plugged | None:
    part = setting.kit.injector
    if part is None:
        return None
    if take == "inject-single-ended":
        if not _hears_single_ended(setting):
            return None
        injector = injector_of(part, "single-ended", setting.output_ohm)
        return _plugged(setting, ("hot", "single-ended"), injector=injector)
    into: Terminal = "cold" if "cold" in take else "hot"
    injector = injector_of(part, into, setting.output_ohm)
    return _plugged(setting, ("hot", "cold"), injector=injector, off=take.endswith("off"))


def _loading(take: str, setting: Setting, known: Known) -> Plugged | Refused | None:
    if take == "load-across":
        place, ends, ohm = "across", ("hot", "cold"), known.across_ohm
        volts = known.hot_volts + known.cold_volts
    elif take == "single-ended-loaded":
        if not _hears_single_ended(setting):
            return None
        place, ends, ohm = "single-ended", ("single-ended", "ground"), known.single_ended_ohm
        volts = known.hot_volts
    else:
        leg = take.removeprefix("load-")
        place, ends = "leg", (leg, "ground")
        ohm = known.cold_ohm if leg == "cold" else known.hot_ohm
        volts = known.cold_volts if leg == "cold" else known.hot_volts
    parts = setting.kit.loads_for(place)
    if not parts:
        return None
    reasons = [_objection(part, setting, ohm, volts) for part in parts]
    allowed = [part for part, reason in zip(parts, reasons, strict=True) if reason is None]
    if not allowed:
        return Refused(take, str(reasons[0]))
    load = load_of(allowed[-1], *ends)  # type: ignore[arg-type]
    channels: tuple[Channel, Channel] = (
        ("hot", "single-ended") if place == "single-ended" else ("hot", "cold")
    )
    return _plugged(setting, channels, (load,))


def _objection(part: LoadPart, setting: Setting, ohm: float | None, volts: float) -> str | None:
    """Return why a resistor must not be put there, or None."""
    minimum = setting.device.minimum_load_ohm
    if minimum is not None and part.ohm < minimum:
        return f"{part.ohm:g} ohm is below the maker's minimum load of {minimum:g} ohm"
    if part.ohm < LEAST_LOAD_OHM:
        return f"{part.ohm:g} ohm is below {LEAST_LOAD_OHM:g} ohm, too low for any winding"
    if ohm is not None and part.ohm < LEAST_LOAD_RATIO * ohm:
        found = write_number(ohm, "ohm")
        return f"{part.ohm:g} ohm is less than {LEAST_LOAD_RATIO:g} times the {found} found there"
    if setting.valve and ohm is None:
        said = "a valve output is loaded only after an injection has shown its impedance"
        if setting.kit.injector is None:
            said += "; an injector of 10 kohm or more in the kit would settle it"
        return said
    if volts > most_volts(part):
        return f"{volts:.1f} V on it is more than {part.part} should bear; turn the level down"
    return None
