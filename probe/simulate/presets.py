"""The takes of a bench by name, so that a stage need not spell them out."""

from __future__ import annotations

from probe.session.model import Channel
from probe.simulate.document import (
    InjectorTable,
    InjectTable,
    LoaderTable,
    LoadTable,
    Preset,
    TakeTable,
)

FULL: tuple[Preset, ...] = (
    "open",
    "single-ended",
    "inject-cold",
    "inject-hot",
    "load-cold",
    "load-hot",
    "load-across",
    "single-ended-loaded",
    "second-open",
)
"""``takes = "full"``: injections before loads, a second open take at the end."""

SWEEP_S = 6.0
"""Of the preset sweep: half a second for each octave."""

_LEGS: tuple[Channel, ...] = ("hot", "cold")


def preset_take(
    preset: Preset, loads: LoaderTable, injector: InjectorTable, tones: tuple[float, ...]
) -> TakeTable:
    """Return a preset as the table somebody could have written.

    Parameters
    ----------
    preset
        Which one.
    loads, injector
        The resistors and the injector at hand.
    tones
        The injector's frequencies, Hz.
    """
    match preset:
        case "open" | "second-open":
            return TakeTable(channels=_LEGS)
        case "open-exchanged":
            return TakeTable(channels=("cold", "hot"))
        case "single-ended":
            return TakeTable(channels=("hot", "single-ended"))
        case "single-ended-loaded":
            load = _load("single-ended", "ground", loads.single_ended_ohm, loads, "R4")
            return TakeTable(channels=("hot", "single-ended"), load=(load,))
        case "load-cold":
            return TakeTable(
                channels=_LEGS, load=(_load("cold", "ground", loads.leg_ohm, loads, "R1"),)
            )
        case "load-hot":
            return TakeTable(
                channels=_LEGS, load=(_load("hot", "ground", loads.leg_ohm, loads, "R1"),)
            )
        case "load-across":
            return TakeTable(
                channels=_LEGS, load=(_load("hot", "cold", loads.across_ohm, loads, "R3"),)
            )
        case "inject-cold":
            return TakeTable(channels=_LEGS, inject=(_inject("cold", injector, tones),))
        case "inject-hot":
            return TakeTable(channels=_LEGS, inject=(_inject("hot", injector, tones),))
        case "inject-single-ended":
            inject = _inject("single-ended", injector, tones)
            return TakeTable(channels=("hot", "single-ended"), inject=(inject,))
        case "inject-cold-off":
            return _off(_inject("cold", injector, tones, injector.volts_off))
        case "inject-hot-off":
            return _off(_inject("hot", injector, tones, injector.volts_off))
        case "idle-exchanged":
            return TakeTable(channels=("cold", "hot"), signal="idle")
        case "input-hot":
            return TakeTable(channels=_LEGS, driven_input_leg="hot")
        case "input-cold":
            return TakeTable(channels=_LEGS, driven_input_leg="cold")
        case "sweep":
            return TakeTable(
                channels=_LEGS,
                signal="sweep",
                from_hz=15.0,
                to_hz=22.0e3,
                sweep_s=SWEEP_S,
                silence_before_s=0.5,
                silence_after_s=1.0,
            )
        case "other-side":
            return TakeTable(channels=_LEGS, driven_side="other")
        case "idle" | "floor" | "channel-match":
            return TakeTable(channels=_LEGS, signal=preset)
        case "check-hot":
            return TakeTable(
                channels=_LEGS, signal="check", inject=(_inject("hot", injector, tones),)
            )
        case "check-cold":
            return TakeTable(
                channels=_LEGS, signal="check", inject=(_inject("cold", injector, tones),)
            )


def _load(from_: str, to: str, ohm: float, loads: LoaderTable, part: str) -> LoadTable:
    return LoadTable.model_validate(
        {"from": from_, "to": to, "ohm": ohm, "u95_percent": loads.u95_percent, "part": part}
    )


def _inject(
    into: str, injector: InjectorTable, tones: tuple[float, ...], volts: float | None = None
) -> InjectTable:
    return InjectTable.model_validate(
        {
            "into": into,
            "through_ohm": injector.through_ohm,
            "u95_percent": injector.u95_percent,
            "part": injector.part,
            "volts": injector.volts if volts is None else volts,
            "volts_u95_percent": injector.volts_u95_percent,
            "tones_hz": tones,
            "phases_deg": injector.phases_deg,
            "tell_phases": injector.tell_phases,
        }
    )


def _off(inject: InjectTable) -> TakeTable:
    return TakeTable(channels=_LEGS, signal="idle", state="off", inject=(inject,))
