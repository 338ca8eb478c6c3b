"""bench.toml: a bench's figures as a file, and what a session takes over from them."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from probe.bench.calibration.figures import (
    BenchFigures,
    Figure,
    How,
    InputFigures,
    Match,
    OutputFigures,
)
from probe.errors import BadInput
from probe.formats.mains import MainsHertz, MainsVolts
from probe.formats.text import counted, shown_path
from probe.formats.toml import OneLine, Table, complaint, read_toml
from probe.formats.write import table, tidy

FORMAT_WORD = "probe-bench/1"

MOST_PERCENT = 99.0
"""The largest doubt a session file can hold."""

_Positive = Annotated[float, Field(gt=0.0, le=1e12)]
_NotNegative = Annotated[float, Field(ge=0.0, le=1e12)]
_Numbers = Annotated[tuple[float, ...], Field(max_length=1000)]


class FigureTable(Table):
    """``{ value, u95, how }``, u95 in the value's own unit."""

    value: Annotated[float, Field(ge=-1e12, le=1e12)]
    u95: _NotNegative
    how: How


class PositiveTable(FigureTable):
    """A figure that cannot be zero."""

    value: _Positive


class InputTable(Table):
    """``[[input]]``."""

    volts_full_scale: PositiveTable
    impedance_ohm: PositiveTable
    capacitance_pf: FigureTable
    noise_microvolts: FigureTable | None = None
    hum_microvolts: FigureTable | None = None


class OutputTable(Table):
    """``[[output]]``."""

    volts_full_scale: PositiveTable
    impedance_ohm: FigureTable


class MatchTable(Table):
    """``[match]``: input 1 over input 2."""

    hz: _Numbers
    db: _Numbers
    u95_db: _Numbers
    deg: _Numbers
    u95_deg: _Numbers


class PathTable(Table):
    """``[path]``: what belongs to outputs and inputs together."""

    common_u95_percent: Annotated[float, Field(ge=0.0, le=100.0)] | None = None
    loop_gain: tuple[PositiveTable, ...] = ()
    thd_percent: tuple[FigureTable, ...] = ()
    crosstalk_db: tuple[FigureTable, ...] = ()
    worst_crosstalk_db: float | None = None
    clock_ppm: FigureTable | None = None
    drift_db: float | None = None


class BenchFile(Table):
    """The whole document."""

    interface: Annotated[OneLine, Field(min_length=1)]
    gain: OneLine = ""
    leads: OneLine = ""
    mains_hz: MainsHertz
    mains_v: MainsVolts | None = None
    sample_rate: Annotated[int, Field(ge=8000, le=768000)]
    made_on: date
    made_by: OneLine = ""
    input: Annotated[tuple[InputTable, ...], Field(min_length=1)]
    output: tuple[OutputTable, ...] = ()
    match: MatchTable | None = None
    path: PathTable = PathTable()


def read_bench(path: Path) -> BenchFigures:
    """Read a bench.toml.

    Raises
    ------
    BadInput
        Anything in it that cannot be used, with the place.
    """
    file = read_toml(path, BenchFile, format_word=FORMAT_WORD)
    match = file.match or MatchTable(hz=(), db=(), u95_db=(), deg=(), u95_deg=())
    for key in ("db", "u95_db", "deg", "u95_deg"):
        if len(getattr(match, key)) != len(match.hz):
            raise complaint(
                path,
                ("match", key),
                f"has {counted(len(getattr(match, key)), 'value')} and hz has {len(match.hz)}",
            )
    shared = file.path.common_u95_percent
    return BenchFigures(
        interface=file.interface,
        gain=file.gain,
        leads=file.leads,
        mains_hz=file.mains_hz,
        mains_volts=file.mains_v,
        sample_rate=file.sample_rate,
        made_on=file.made_on,
        made_by=file.made_by,
        inputs=tuple(_input(i) for i in file.input),
        outputs=tuple(
            OutputFigures(_figure(o.volts_full_scale), _figure(o.impedance_ohm))
            for o in file.output
        ),
        loop_gain=_figures(file.path.loop_gain),
        match=Match(match.hz, match.db, match.u95_db, match.deg, match.u95_deg),
        common_u95_relative=0.0 if shared is None else shared / 100.0,
        thd_percent=_figures(file.path.thd_percent),
        crosstalk_db=_figures(file.path.crosstalk_db),
        worst_crosstalk_db=file.path.worst_crosstalk_db,
        clock_ppm=None if file.path.clock_ppm is None else _figure(file.path.clock_ppm),
        drift_db=file.path.drift_db,
    )


def _figure(said: FigureTable, factor: float = 1.0) -> Figure:
    return Figure(said.value * factor, said.u95 * factor, said.how)


def _figures(said: Sequence[FigureTable]) -> tuple[Figure, ...]:
    return tuple(_figure(s) for s in said)


def _input(said: InputTable) -> InputFigures:
    noise, hum = said.noise_microvolts, said.hum_microvolts
    return InputFigures(
        _figure(said.volts_full_scale),
        _figure(said.impedance_ohm),
        _figure(said.capacitance_pf, 1e-12),
        None if noise is None else _figure(noise, 1e-6),
        None if hum is None else _figure(hum, 1e-6),
    )


def bench_text(bench: BenchFigures) -> str:
    """Return the text of bench.toml."""
    head = [
        "# The bench's own figures. how: metered, series, shunt, exchanged, terminated, loop-back,",
        "# data-sheet, or assumed. u95: half-width of the 95 % interval, in the value's own unit.",
    ]
    if not bench.absolute:
        head.append(
            "# NO METER WAS READ: volts_full_scale is not measured; ratios and ohms are as stated."
        )
    parts = [
        "\n".join(head),
        table(
            f'format = "{FORMAT_WORD}"',
            {
                "interface": bench.interface,
                "gain": bench.gain or None,
                "leads": bench.leads or None,
                "mains_hz": bench.mains_hz,
                "mains_v": bench.mains_volts,
                "sample_rate": bench.sample_rate,
                "made_on": bench.made_on,
                "made_by": bench.made_by or None,
            },
        ),
        *(table("[[input]]", _input_keys(i)) for i in bench.inputs),
        *(
            table(
                "[[output]]",
                {
                    "volts_full_scale": _said(o.volts_full_scale),
                    "impedance_ohm": _said(o.impedance_ohm),
                },
            )
            for o in bench.outputs
        ),
        table("[match]                         # input 1 over input 2", _match_keys(bench.match)),
        table("[path]", _path_keys(bench)),
    ]
    return "\n".join(parts)


def _input_keys(i: InputFigures) -> dict[str, object]:
    return {
        "volts_full_scale": _said(i.volts_full_scale),
        "impedance_ohm": _said(i.impedance_ohm),
        "capacitance_pf": _said(i.capacitance_farad, 1e12),
        "noise_microvolts": _said(i.noise_volts, 1e6),
        "hum_microvolts": _said(i.hum_volts, 1e6),
    }


def _match_keys(match: Match) -> dict[str, object]:
    def short(row: Sequence[float], places: int) -> list[float]:
        return [round(v, places) for v in row]

    return {
        "hz": list(match.hz),
        "db": short(match.db, 5),
        "u95_db": short(match.u95_db, 5),
        "deg": short(match.deg, 4),
        "u95_deg": short(match.u95_deg, 4),
    }


def _path_keys(bench: BenchFigures) -> dict[str, object]:
    worst, drift = bench.worst_crosstalk_db, bench.drift_db
    return {
        "common_u95_percent": tidy(round(100.0 * bench.common_u95_relative, 4)),
        "loop_gain": [_said(g) for g in bench.loop_gain] or None,
        "thd_percent": [_said(t) for t in bench.thd_percent] or None,
        "crosstalk_db": [_said(c) for c in bench.crosstalk_db] or None,
        "worst_crosstalk_db": None if worst is None else round(worst, 1),
        "clock_ppm": _said(bench.clock_ppm),
        "drift_db": None if drift is None else round(drift, 4),
    }


def _said(figure: Figure | None, factor: float = 1.0) -> dict[str, object] | None:
    """Return a figure with six digits: far below any doubt of a bench."""
    if figure is None:
        return None
    value, u95 = figure.value * factor, figure.u95 * factor
    return {"value": float(f"{value:.6g}"), "u95": float(f"{u95:.3g}"), "how": figure.how}


def write_bench(bench: BenchFigures, path: Path) -> None:
    """Write bench.toml, complete or not at all; an earlier one of that name is replaced.

    Raises
    ------
    BadInput
        The folder cannot be made or written to.
    """
    aside: str | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, aside = tempfile.mkstemp(prefix=".bench-", dir=path.parent)
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(bench_text(bench))
        Path(aside).replace(path)
        aside = None
    except OSError as error:
        raise BadInput(
            f"{shown_path(path)}: cannot be written: {error.strerror or error}"
        ) from error
    finally:
        if aside is not None:
            Path(aside).unlink(missing_ok=True)


def session_tables(bench: BenchFigures) -> dict[str, Any]:
    """Return what ``[bench]`` of a session takes over: plain keys, ``input`` and ``output``.

    ``input`` and ``output`` are lists of tables, for ``[[bench.input]]`` and ``[[bench.output]]``.
    """
    return {
        "interface": bench.interface,
        "mains_hz": bench.mains_hz,
        "mains_v": bench.mains_volts,
        "calibrated_on": bench.made_on,
        "common_u95_percent": tidy(round(100.0 * bench.common_u95_relative, 4)),
        "input": [
            {
                "volts_full_scale": tidy(i.volts_full_scale.value),
                "u95_percent": _percent(i.volts_full_scale),
                "impedance_ohm": tidy(i.impedance_ohm.value),
                "impedance_u95_percent": _percent(i.impedance_ohm),
                "capacitance_pf": max(0.0, tidy(i.capacitance_farad.value * 1e12)),
                "capacitance_u95_pf": tidy(i.capacitance_farad.u95 * 1e12),
            }
            for i in bench.inputs
        ],
        "output": [
            {
                "volts_full_scale": tidy(o.volts_full_scale.value),
                "u95_percent": _percent(o.volts_full_scale),
                "impedance_ohm": max(0.0, tidy(o.impedance_ohm.value)),
            }
            for o in bench.outputs
        ],
    }


def _percent(figure: Figure) -> float:
    return float(f"{min(100.0 * figure.u95 / figure.value, MOST_PERCENT):.4g}")


TEMPLATE = """\
# The bench's own figures: one file for each interface, gain setting and set of leads.
# "probe calibrate" measures them and writes this file; typed by hand it serves as well.
# Every figure: value, u95 (half-width of its 95 % interval, in the value's own unit), and
# how: "metered" (a multimeter at the terminal), "series" and "shunt" (a known resistor),
# "exchanged" (leads), "terminated" (inputs), "loop-back", "data-sheet", "assumed".
format = "probe-bench/1"
interface = "two-channel interface"
gain = "line, both knobs at the mark"
leads = "breakout lead A"
mains_hz = 50
# mains_v = 230                 # for the advice: what a box without an earth stands at half of
sample_rate = 48000
made_on = 2026-03-14

[[input]]                       # one for each input, in the order of the channels
volts_full_scale = { value = 8.70, u95 = 0.09, how = "metered" }      # V peak that reads 1.0
impedance_ohm = { value = 20000.0, u95 = 200.0, how = "series" }      # to pin 1, lead included
capacitance_pf = { value = 150.0, u95 = 20.0, how = "series" }
# noise_microvolts = { value = 6.0, u95 = 0.3, how = "terminated" }   # V rms, 20 Hz to 20 kHz
# hum_microvolts = { value = 0.8, u95 = 0.2, how = "terminated" }     # mains lines to 1 kHz

[[output]]
volts_full_scale = { value = 4.0, u95 = 0.04, how = "metered" }       # V peak, open circuit
impedance_ohm = { value = 75.0, u95 = 1.0, how = "shunt" }

# [match]                       # input 1 over input 2 on one voltage, at each frequency
# hz = [997.0]
# db = [0.02]
# u95_db = [0.01]
# deg = [0.01]
# u95_deg = [0.02]

# [path]
# common_u95_percent = 1.0      # the part of volts_full_scale's doubt all inputs share
# loop_gain = [ { value = 0.46, u95 = 0.001, how = "loop-back" } ]    # output to input, full scales
# thd_percent = [ { value = 0.001, u95 = 0.0005, how = "loop-back" } ]
# crosstalk_db = [ { value = -110.0, u95 = 1.0, how = "loop-back" } ] # 1 into 2, then 2 into 1
# worst_crosstalk_db = -95.0    # of all tones
# clock_ppm = { value = 0.0, u95 = 0.1, how = "loop-back" }           # recorder against player
# drift_db = 0.002              # of the match, from the first recording to the last
"""
