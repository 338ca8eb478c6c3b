"""An output described by hand from a data sheet: ``probe-source/1``.

A data sheet gives levels and perhaps an impedance, and hardly ever the kind of stage. Every kind
that fits what is stated is solved, and the worst verdict is kept; what a kind leaves open runs
over the same corners as an output that was measured only in part.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from statistics import NormalDist
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator

from probe.advice.completed import FLOATING_KINDS
from probe.advice.parts import UNLIKE_LEGS
from probe.advice.ranges import Level, LevelOrNone, Noise, Ohm, SourceOhm
from probe.advice.subject import EVERY_KIND, PLACE
from probe.advice.thresholds import LEAST_LINE_INPUT_VOLTS
from probe.errors import BadInput
from probe.facts.source import TO_MODAL, Source
from probe.formats.kinds import BALANCED, kind_or_balanced
from probe.formats.mains import MainsHertz, MainsVolts
from probe.formats.text import shown_path
from probe.formats.toml import LARGEST_FILE, OneLine, Table, complaint, read_bytes, read_toml

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

FORMAT = "probe-source/1"

SIDE = "mono"

Kind = Literal[
    "differential",
    "electronically-floating",
    "transformer-coupled",
    "ground-sensing",
    "impedance-balanced",
    "unbalanced",
    "pin-3-unconnected",
]
NamedKind = Literal[Kind, "balanced"]
"""What a sheet may say of its kind; one list, for which a slip gets one line."""

ONE_LEG_KINDS = ("ground-sensing", "impedance-balanced", "unbalanced", "pin-3-unconnected")
BOTH_LEGS_KINDS = ("differential", *FLOATING_KINDS)

LEVELS = ("differential_level_v", "hot_level_v", "cold_level_v", "single_ended_level_v")

LEVEL_U95 = 0.05
"""Half-width of the interval of a typed level, as a share: data sheets round. [practice]"""

TWICE = (1.8, 2.2)
"""Level between pins 2 and 3 over that of the RCA centre from which pin 3 must carry half of it:
a stage that drives one leg gives pin 2 what it gives the centre. Data sheets round. [practice]"""

OHM_U95 = 0.2
"""The same of an impedance. [practice]"""

DRAWS = 41
"""Quantiles of a normal error in place of random draws: the ends of a 95 % interval are two of
them, so that few are enough."""

GRID_HZ = tuple(float(f) for f in np.geomspace(10.0, 40000.0, 19))
"""A typed output is taken as flat over these, because nothing else is stated."""


class DeviceTable(Table):
    """What the device is."""

    maker: OneLine = ""
    model: OneLine = ""
    serial: OneLine = ""
    kind: OneLine = ""
    output: Literal["line", "headphone", "speaker"] = "line"
    connectors: tuple[Literal["xlr", "rca", "digital-75", "digital-110"], ...] | None = None
    minimum_load_ohm: Ohm | None = None
    volume_control: bool | None = None


class SourceFile(Table):
    """The file as written: V rms open circuit at full output, ohm."""

    device: DeviceTable = DeviceTable()
    side: Literal["mono"] | None = None
    kinds: tuple[Annotated[NamedKind, BeforeValidator(kind_or_balanced)], ...] | None = None
    differential_level_v: Level | None = None
    hot_level_v: Level | None = None
    cold_level_v: LevelOrNone | None = None
    single_ended_level_v: Level | None = None
    differential_impedance_ohm: SourceOhm | None = None
    hot_impedance_ohm: SourceOhm | None = None
    cold_impedance_ohm: SourceOhm | None = None
    single_ended_impedance_ohm: SourceOhm | None = None
    differential_maximum_v: Level | None = None
    single_ended_maximum_v: Level | None = None
    tied_maximum_v: Level | None = None
    differential_noise_a_v: Noise | None = None
    hot_noise_a_v: Noise | None = None
    cold_noise_a_v: Noise | None = None
    single_ended_noise_a_v: Noise | None = None
    digital_volts_peak_to_peak: Level | None = None
    digital_format: Literal["professional", "consumer"] | None = None
    separate_outputs: bool | None = None
    floating_winding: bool | None = None
    mains_hz: MainsHertz | None = None
    mains_v: MainsVolts | None = None


def is_source(path: Path) -> bool:
    """Tell whether a file calls itself ``probe-source/1``."""
    if not path.is_file() or path.stat().st_size > LARGEST_FILE:  # facts may be larger
        return False
    return f'"{FORMAT}"'.encode() in read_bytes(path)


def says_what_it_is(path: Path) -> None:
    """Refuse a written file without a format: a description by hand or a session.

    Raises
    ------
    BadInput
        It has none.
    """
    if path.suffix != ".toml" or not path.is_file() or path.stat().st_size > LARGEST_FILE:
        return
    if b"format" not in read_bytes(path):
        raise BadInput(
            f'{shown_path(path)}: key "format" is missing; a description by hand says format = '
            f'"{FORMAT}" (a commented one: probe advise --source-template), a session '
            '"probe-session/1"'
        )


def read_source(path: Path) -> tuple[dict[str, Any], dict[str, dict[str, Source]]]:
    """Return the facts that a typed source amounts to, and its stage for every kind that fits.

    Raises
    ------
    BadInput
        As `read_toml`, and for a level that contradicts another or the stated kinds.
    """
    written = read_toml(path, SourceFile, format_word=FORMAT)
    _check(path, written)
    return _facts(written), _sources(written)


def unstated_impedances(facts: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the keys of output impedances that a typed source leaves out, RCA first."""
    stated = facts.get("stated")
    if not isinstance(stated, Mapping):
        return ()
    written = SourceFile.model_validate(stated)
    outputs = _connectors(written)
    pair = (written.differential_impedance_ohm, written.hot_impedance_ohm)
    lacks = {
        "single_ended_impedance_ohm": "rca" in outputs
        and written.single_ended_impedance_ohm is None,
        "differential_impedance_ohm": "xlr" in outputs and pair == (None, None),
    }
    return tuple(key for key, lacking in lacks.items() if lacking)


def possible_kinds(facts: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the kinds that a typed source with an XLR output may be; none of any other."""
    stated = facts.get("stated")
    if not isinstance(stated, Mapping):
        return ()
    written = SourceFile.model_validate(stated)
    return _kinds(written) if "xlr" in _connectors(written) else ()


def restated(
    facts: Mapping[str, Any], key: str, value: float | bool | tuple[str, ...]
) -> tuple[dict[str, Any], dict[str, dict[str, Source]]]:
    """Return what `read_source` returned, with one line more; it plays where it played."""
    written = SourceFile.model_validate({**facts["stated"], key: value})
    there = {PLACE: facts[PLACE]} if PLACE in facts else {}
    return _facts(written) | there, _sources(written)


def described(
    lines: Mapping[str, Any],
) -> tuple[dict[str, Any], dict[str, dict[str, Source]]]:
    """Return what `read_source` returns, of the lines of a file; pydantic refuses what it does."""
    written = SourceFile.model_validate(lines)
    return _facts(written), _sources(written)


def with_device_line(facts: Mapping[str, Any], key: str, value: float | bool) -> dict[str, Any]:
    """Return facts, of a description by hand or of a session, with one line more on the device."""
    found = {**facts, "device": {**facts["device"], key: value}}
    if isinstance(stated := facts.get("stated"), Mapping):
        device = {**(stated.get("device") or {}), key: value}
        found["stated"] = {**stated, "device": device}
    return found


def _check(path: Path, written: SourceFile) -> None:
    hot, cold, pair = written.hot_level_v, written.cold_level_v, written.differential_level_v
    for key in LEVELS:
        _check_line_level(path, key, getattr(written, key))
    if written.kinds == ():
        raise complaint(path, ("kinds",), "is empty; take it out where the kind is not stated")
    if cold is not None and hot is None:
        raise complaint(path, ("cold_level_v",), "says nothing without hot_level_v")
    if pair is not None and hot is not None:
        raise complaint(path, ("hot_level_v",), "give either it or differential_level_v, not both")
    if written.floating_winding is not None and "transformer-coupled" not in _kinds(written):
        raise complaint(path, (FLOATING,), "is said of a transformer, and the stated kinds or "
                        "levels exclude one")  # fmt: skip
    stated = set(written.kinds or ()) & set(BOTH_LEGS_KINDS)
    if cold == 0.0 and stated:
        raise complaint(
            path, ("cold_level_v",), f"0 V on pin 3 is not what a stage of kind {min(stated)} gives"
        )
    _check_tied(path, written)
    connectors = written.device.connectors
    if not _connectors(written):
        raise complaint(path, (), "no level is stated: differential_level_v (or hot_level_v and "
                        "cold_level_v) of an XLR, single_ended_level_v of an RCA")  # fmt: skip
    for connector, levels in (("xlr", (pair, hot)), ("rca", (written.single_ended_level_v,))):
        if connectors and connector in connectors and all(v is None for v in levels):
            key = "differential_level_v" if connector == "xlr" else "single_ended_level_v"
            raise complaint(path, ("device", "connectors"), f"{connector} needs {key}")


def _check_tied(path: Path, written: SourceFile) -> None:
    """Refuse what no leg can give by itself, pin 3 joined to pin 1."""
    tied, most = written.tied_maximum_v, written.differential_maximum_v
    if tied is None:
        return
    if "xlr" not in _connectors(written):
        raise complaint(path, ("tied_maximum_v",), "is said of an XLR output, and none is stated")
    if most is not None and tied > most:
        raise complaint(
            path, ("tied_maximum_v",),
            f"{tied:g} V of pin 2 alone, where the pair gives {most:g} V at most "
            f"(differential_maximum_v); {most:g} V or less is allowed: look it up again",
        )  # fmt: skip


def _check_line_level(path: Path, key: str, volts: float | None) -> None:
    """Refuse what no line output gives at full output; a leg may carry nothing at all."""
    if not volts or volts >= LEAST_LINE_INPUT_VOLTS:
        return
    raise complaint(
        path, (key,),
        f"{volts * 1e3:g} mV is what a pick-up cartridge of a record player gives (about 5 mV with "
        "a moving magnet, 0.5 mV with a moving coil), or a microphone: no line output, and no lead "
        "or adapter makes it one. A phono (or microphone) preamplifier goes between, which "
        "amplifies some hundred times and puts bass and treble right; describe the output of that "
        f"one (line outputs: 100 mV and more; refused below {LEAST_LINE_INPUT_VOLTS * 1e3:g} mV)",
    )  # fmt: skip


def _connectors(written: SourceFile) -> list[str]:
    if written.device.connectors is not None:
        return list(written.device.connectors)
    found = []
    if written.differential_level_v or written.hot_level_v:
        found.append("xlr")
    if written.single_ended_level_v:
        found.append("rca")
    return found


def _kinds(written: SourceFile) -> tuple[str, ...]:
    """Return the kinds that fit what is stated."""
    if "xlr" not in _connectors(written):
        return ("unbalanced",)
    if (named := _named(written)) is not None:
        return named
    if written.hot_level_v is None or written.cold_level_v is None:
        return BOTH_LEGS_KINDS if _twice(written) else EVERY_KIND
    return BOTH_LEGS_KINDS if written.cold_level_v > 0.0 else ONE_LEG_KINDS


def _named(written: SourceFile) -> tuple[str, ...] | None:
    """Return the kinds that the sheet names; None: none, for "balanced" alone is said of all."""
    named = tuple(k for k in dict.fromkeys(written.kinds or ()) if k != BALANCED)
    return named or None


def said_balanced(facts: Mapping[str, Any]) -> bool:
    """Tell whether a typed source is called balanced, and by no kind."""
    stated = facts.get("stated")
    if not isinstance(stated, Mapping):
        return False
    written = SourceFile.model_validate(stated)
    return bool(written.kinds) and _named(written) is None


def _twice(written: SourceFile) -> bool:
    """Tell whether the balanced level is twice the single-ended one, so that both legs carry it."""
    pair, single = written.differential_level_v, written.single_ended_level_v
    if pair is None or single is None:
        return False
    return TWICE[0] <= pair / single <= TWICE[1]


def _left_out(written: SourceFile) -> str:
    """Return why kinds were left out where the sheet does not say it, or why none were."""
    if _named(written) is not None or "xlr" not in _connectors(written):
        return ""
    if not _twice(written):
        return LEFT_OPEN if written.kinds and _kinds(written) == EVERY_KIND else ""
    return (
        f"{written.differential_level_v:g} V between pins 2 and 3 are twice the "
        f"{written.single_ended_level_v:g} V of the RCA: taken as an output whose two legs carry "
        "half each; kinds that drive one leg are left out (kinds = [...] in the file says "
        "otherwise)"
    )


LEFT_OPEN = (
    '"balanced" leaves every kind open: it is said of two driven legs, of one driven leg of two '
    "with like impedances, and on many a sheet of a single-ended output on an XLR; its maker can "
    "say whether both legs have like impedances"
)
"""What a word does not tell, where levels do not either."""


def _pair_volts(written: SourceFile) -> float:
    if written.differential_level_v is not None:
        return written.differential_level_v
    return (written.hot_level_v or 0.0) + (written.cold_level_v or 0.0)


def _facts(written: SourceFile) -> dict[str, Any]:
    kinds = _kinds(written)
    connectors = _connectors(written)
    full = written.single_ended_level_v if "xlr" not in connectors else _pair_volts(written)
    device = written.device.model_dump(exclude_none=True) | {"connectors": connectors}
    device["output_declared"] = "output" in written.device.model_fields_set
    if full:
        device["full_output_volts"] = full
    for name in ("digital_volts_peak_to_peak", "digital_format"):
        if getattr(written, name) is not None:
            device[name] = getattr(written, name)
    values = {
        name.removesuffix("_v"): {"value": value, "unit": "V", "u95": LEVEL_U95 * value}
        for name, value in written.model_dump(exclude_none=True).items()
        if name.endswith(("_maximum_v", "_noise_a_v"))
    }
    legs = "one-leg" if set(kinds) <= set(ONE_LEG_KINDS) else "both-legs"
    stage = {
        "kind": kinds[0] if len(kinds) == 1 else "undetermined",
        "also_possible": [{"kind": k, "confidence": None} for k in kinds if len(kinds) > 1],
        "driven_legs": legs,
        "polarity": "undetermined",
        "faults": [],
        "next_take": None,
        FLOATING: written.floating_winding,
    }
    return {
        "format": "probe-facts/1",
        "typed": True,
        "stated": written.model_dump(exclude_none=True),
        "one_channel": written.side == SIDE,
        "taken_within": {"levels": LEVEL_U95, "impedances": OHM_U95, "legs_alike": UNLIKE_LEGS},
        "taken_as": _left_out(written),
        "device": device,
        "made": {"by": "typed from a data sheet"},
        "sides": {SIDE: {"stage": stage, "facts": values}},
        "warnings": [],
    }


def _sources(written: SourceFile) -> dict[str, dict[str, Source]]:
    if not {"xlr", "rca"} & set(_connectors(written)):
        return {}
    return {SIDE: {kind: _source(written, kind) for kind in _kinds(written)}}


def _source(written: SourceFile, kind: str) -> Source:
    """Return the output as one kind would have it; what the kind leaves open is NaN."""
    voc, leg_voc = _levels(written, kind)
    z, leg_z = _impedances(written, kind)
    errors = _errors(4)
    pair_level, single_level = (1.0 + LEVEL_U95 / 1.96 * e for e in errors[:2])
    levels = np.stack([pair_level, pair_level, single_level], axis=1)
    ohms = 1.0 + OHM_U95 / 1.96 * errors[2]
    z_draws, leg_z_draws = z[None] * ohms[:, None, None], leg_z[None] * ohms[:, None, None]
    unlike = UNLIKE_LEGS / 1.96 / 2.0 * errors[3]
    leg_z_draws[:, 0, 0] *= 1.0 + unlike
    leg_z_draws[:, 1, 1] *= 1.0 - unlike
    if np.isfinite(leg_z[:2, :2]).all():
        z_draws[:, :2, :2] = TO_MODAL[:2, :2] @ leg_z_draws[:, :2, :2] @ TO_MODAL[:2, :2].T
    points = len(GRID_HZ)
    return Source(
        np.array(GRID_HZ),
        np.tile(voc, (points, 1)),
        np.tile(z, (points, 1, 1)),
        np.tile((voc * levels)[:, None], (points, 1)),
        np.tile(z_draws[:, None], (points, 1, 1)),
        np.tile(leg_voc, (points, 1)),
        np.tile(leg_z, (points, 1, 1)),
        np.tile((leg_voc * levels)[:, None], (points, 1)),
        np.tile(leg_z_draws[:, None], (points, 1, 1)),
    )


def _errors(count: int) -> tuple[Floats, ...]:
    """Return errors of ``count`` figures, in standard deviations, shape (DRAWS,) each.

    All run over the same quantiles, in orders that have nothing to do with each other.
    """
    steps = np.arange(DRAWS) / (DRAWS - 1.0)
    inside = 0.25 / (DRAWS - 1.0)
    shares = np.clip(steps, inside, 1.0 - inside)
    normal = np.array([NormalDist().inv_cdf(float(share)) for share in shares])
    order = np.random.default_rng(1).permutation
    return tuple(normal[order(DRAWS)] for _ in range(count))


def _levels(written: SourceFile, kind: str) -> tuple[Complex, Complex]:
    """Return open-circuit voltages, modal and at the terminals, shape (3,)."""
    single = written.single_ended_level_v or np.nan
    if "xlr" not in _connectors(written):
        bare = np.array([np.nan, np.nan, single], dtype=np.complex128)
        return bare, bare.copy()
    pair = _pair_volts(written)
    hot, cold = pair, 0.0
    if kind in BOTH_LEGS_KINDS:
        hot = written.hot_level_v or pair / 2.0
        cold = hot - pair
    legs = np.array([hot, cold, single], dtype=np.complex128)
    return np.array([*(TO_MODAL[:2, :2] @ legs[:2]), single]), legs


def _impedances(written: SourceFile, kind: str) -> tuple[Complex, Complex]:
    """Return the impedance matrix, modal and at the terminals, shape (3, 3)."""
    z = np.full((3, 3), np.nan, dtype=np.complex128)
    leg_z = z.copy()
    z[2, 2] = leg_z[2, 2] = _or_nan(written.single_ended_impedance_ohm)
    if written.separate_outputs:
        for one in (z, leg_z):
            one[2, :2] = one[:2, 2] = 0.0
    hot, cold, pair = _leg_ohms(written)
    if kind in FLOATING_KINDS:
        z[0, 0] = pair
        return z, leg_z
    leg_z[0, 0] = hot
    if kind in ("differential", "impedance-balanced"):
        leg_z[1, 1] = cold
        leg_z[0, 1] = leg_z[1, 0] = 0.0
        z[:2, :2] = TO_MODAL[:2, :2] @ leg_z[:2, :2] @ TO_MODAL[:2, :2].T
    return z, leg_z


FLOATING = "floating_winding"


def may_float(facts: Mapping[str, Any]) -> bool:
    """Tell whether a typed source is transformer-coupled and leaves open whether that floats."""
    stated = facts.get("stated") or {}
    return possible_kinds(facts) == ("transformer-coupled",) and stated.get(FLOATING) is None


APART = "separate_outputs"


def may_share(facts: Mapping[str, Any]) -> bool:
    """Tell whether a typed source leaves open what its two outputs share."""
    stated = facts.get("stated")
    if not isinstance(stated, Mapping) or stated.get(APART):
        return False
    return {"xlr", "rca"} <= set(_connectors(SourceFile.model_validate(stated)))


def _leg_ohms(written: SourceFile) -> tuple[float, float, float]:
    """Return the impedances of hot, of cold and between the legs; NaN where not stated.

    Legs of which one is stated, or only the two together, are taken as alike.
    """
    pair = _or_nan(written.differential_impedance_ohm)
    hot = _or_nan(written.hot_impedance_ohm)
    hot = pair / 2.0 if np.isnan(hot) else hot
    cold = _or_nan(written.cold_impedance_ohm)
    cold = hot if np.isnan(cold) else cold
    return hot, cold, hot + cold if np.isnan(pair) else pair


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else value


TEMPLATE = """\
# An output as its data sheet has it, for probe advise where nothing was measured.
# Keep what is stated, take out the rest: what is missing is taken over its usual range.
format = "probe-source/1"

# Which kind of stage it is, if the sheet says so; left out, every kind that fits is solved
# and the worst verdict kept. One or more of: differential, electronically-floating,
# transformer-coupled, ground-sensing, impedance-balanced, unbalanced, pin-3-unconnected;
# "balanced" alone names none, and leaves them all open
# kinds = ["differential"]

# Levels at full output (full volume, 0 dB FS), open circuit, V rms; of a record player that gives
# millivolts those of its phono preamplifier
differential_level_v = 4.0        # between pins 2 and 3; or hot_level_v and cold_level_v
single_ended_level_v = 2.0        # RCA

# differential_impedance_ohm = 100.0   # between the legs; or hot_ and cold_impedance_ohm
# single_ended_impedance_ohm = 100.0
# separate_outputs = true              # XLR and RCA have an amplifier or a resistor each inside
# floating_winding = true              # transformer-coupled: no centre tap to ground
# differential_maximum_v = 8.0         # before it distorts, where that is more than the level
# single_ended_maximum_v = 4.0
# tied_maximum_v = 4.0                 # pin 2 by itself, with pin 3 joined to pin 1, undistorted:
                                       # as its maker allows it
# differential_noise_a_v = 4.0e-6      # A-weighted; hot_, cold_, single_ended_ likewise
# single_ended_noise_a_v = 4.0e-6

# mains_hz = 60                   # of the place it plays in; left out, 50 Hz and 230 V
# mains_v = 120

# side = "mono"                   # one channel, such as the line output for a subwoofer; left out,
                                  # it is a stereo device whose sides are alike

[device]
maker = "Harrowgate"
model = "Siskin"
output = "line"                   # line | headphone | speaker
connectors = ["xlr", "rca"]       # xlr | rca | digital-75 | digital-110
# minimum_load_ohm = 600.0        # what the maker allows: of an XLR output between pins 2 and 3
# volume_control = true           # it has one of its own: a knob, keys or a remote; left out, what
                                  # its kind tells, and asked about where the answer hangs on it
# kind = "player"
"""
"""A commented source file that reads as it stands."""
