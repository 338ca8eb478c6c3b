"""The session a stage becomes: as session.toml, and as data for studies that need no files."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path

from probe.formats.write import table, tidy
from probe.session.model import Injection, LevelSteps, Load, RecorderInput, Session, Take
from probe.simulate.spec import StageSpec, TakeSpec


def session_of(stage: StageSpec, folder: Path) -> Session:
    """Return the session as a reader of ``folder`` would find it, without writing anything."""
    return Session(
        folder=folder,
        toml_path=folder / "session.toml",
        device=stage.device,
        bench=stage.bench,
        meters=stage.meters,
        takes=tuple(take_of(take, folder) for take in stage.takes),
    )


def take_of(take: TakeSpec, folder: Path) -> Take:
    """Return one take as a reader would find it."""
    return Take(
        name=take.name,
        file=take.file,
        path=folder / take.file,
        side=take.side,
        channels=take.channels,
        inputs=take.inputs,
        signal=take.signal,
        tones_hz=take.tones_hz,
        phases_rad=take.phases_rad if take.tell_phases and take.tones_hz else None,
        drive_volts=_declared_drive(take),
        drive_dbfs=take.drive_dbfs,
        volume=take.volume,
        state=take.state,
        driven_input_leg=take.driven_input_leg,
        timebase=take.timebase,
        start_frame=take.start_frame,
        loads=take.loads,
        injections=tuple(_injection_of(i, take.tell_injected_phases) for i in take.injections),
        sample_rate=take.sample_rate,
        frames=take.frames,
        level_steps=LevelSteps(take.levels_volts, take.step_s) if take.levels_volts else None,
        sweep=take.sweep,
        driven_side=take.driven_side,
    )


def _declared_drive(take: TakeSpec) -> float | None:
    said = take.plays and take.drive_dbfs is None and not take.levels_volts
    return take.drive_volts if said else None


def _injection_of(injection: Injection, tell: bool) -> Injection:
    if tell:
        return injection
    return Injection(**{**injection.__dict__, "phases_rad": None})


def session_toml(stage: StageSpec) -> str:
    """Return the text of session.toml."""
    parts = [
        "# SIMULATED: made by `probe simulate` from the circuit of stage.toml, not recorded.",
        f"# Circuit: {stage.origin}. No device of this name exists.",
        'format = "probe-session/1"',
        "",
        _device(stage),
        _bench(stage),
        *(_meter(stage)),
        *(_take(take) for take in stage.takes),
    ]
    return "\n".join(parts)


def _device(stage: StageSpec) -> str:
    device = stage.device
    said: dict[str, object] = {
        "maker": device.maker,
        "model": device.model,
        "serial": device.serial or None,
        "kind": device.kind or None,
        "output": device.output if device.output_declared else None,
        "connectors": list(device.connectors) if stage.connectors_said else None,
        "firmware": device.firmware or None,
        "stated_polarity": device.stated_polarity,
        "minimum_load_ohm": device.minimum_load_ohm,
        "volume_control": device.volume_control,
    }
    if device.full_output_volts is not None:
        said["full_output"] = {"volts": device.full_output_volts}
    return table("[device]", said)


def _bench(stage: StageSpec) -> str:
    bench = stage.bench
    head = table(
        "[bench]",
        {
            "interface": bench.interface,
            "mains_hz": bench.mains_hz,
            "recorded_on": bench.recorded_on,
            "repeatability_db": bench.repeatability_db,
        },
    )
    inputs = [table("[[bench.input]]", _input(i)) for i in bench.inputs]
    outputs = [
        table(
            "[[bench.output]]",
            {"volts_full_scale": o.volts_full_scale, "impedance_ohm": o.impedance_ohm},
        )
        for o in bench.outputs
    ]
    return "\n".join([head, *inputs, *outputs])


def _input(channel: RecorderInput) -> dict[str, object]:
    return {
        "volts_full_scale": channel.volts_full_scale,
        "u95_percent": tidy(100.0 * channel.u95_relative),
        "impedance_ohm": channel.impedance_ohm,
        "impedance_u95_percent": tidy(100.0 * channel.impedance_u95_relative),
        "capacitance_pf": tidy(1e12 * channel.capacitance_farad),
        "capacitance_u95_pf": tidy(1e12 * channel.capacitance_u95_farad),
    }


def _meter(stage: StageSpec) -> list[str]:
    return [
        table(
            "[[meter]]",
            {
                "side": m.side,
                "between": list(m.between),
                "volts_dc": m.volts_dc,
                "volts_ac": m.volts_ac,
            },
        )
        for m in stage.meters
    ]


def _take(take: TakeSpec) -> str:
    tell = take.tell_phases and bool(take.tones_hz)
    said: dict[str, object] = {
        "name": take.name,
        "file": take.file,
        "side": take.side,
        "channels": list(take.channels),
        "signal": take.signal,
        "tones_hz": list(take.tones_hz) or None,
        "phases_deg": _degrees(take.phases_rad) if tell else None,
        "levels_volts": list(take.levels_volts) or None,
        "step_s": take.step_s if take.levels_volts else None,
        "drive_volts": _declared_drive(take),
        "drive_dbfs": None if take.drive_dbfs is None else tidy(take.drive_dbfs),
        "volume": take.volume or None,
        "state": take.state,
        "driven_input_leg": None if take.driven_input_leg == "both" else take.driven_input_leg,
        "driven_side": None if take.driven_side == "both" else take.driven_side,
        "from_hz": take.sweep.from_hz if take.sweep else None,
        "to_hz": take.sweep.to_hz if take.sweep else None,
        "sweep_s": take.sweep.seconds if take.sweep else None,
        "volts_full_scale": [i.volts_full_scale for i in take.inputs] if take.scaled else None,
        "timebase": take.timebase,
        "start_frame": take.start_frame if take.timebase is not None else None,
        "load": [_load(load) for load in take.loads] or None,
        "inject": [_inject(i, take.tell_injected_phases) for i in take.injections] or None,
    }
    return table("[[take]]", said)


def _load(load: Load) -> dict[str, object]:
    return {
        "from": load.from_,
        "to": load.to,
        "ohm": load.ohm,
        "u95_percent": tidy(100.0 * load.u95_relative),
        "part": load.part,
    }


def _inject(injection: Injection, tell: bool) -> dict[str, object]:
    return {
        "into": injection.into,
        "through_ohm": injection.through_ohm,
        "u95_percent": tidy(100.0 * injection.u95_relative),
        "part": injection.part,
        "volts": injection.volts,
        "volts_u95_percent": tidy(100.0 * injection.volts_u95_relative),
        "tones_hz": list(injection.tones_hz) or None,
        "phases_deg": _degrees(injection.phases_rad) if tell and injection.tones_hz else None,
    }


def _degrees(phases: Iterable[float] | None) -> list[float] | None:
    return None if phases is None else [tidy(math.degrees(p)) for p in phases]
