"""The facts document: written from solved sides, checked when read, turned back into sources."""

from __future__ import annotations

import json
import math
import stat
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import probe
from probe.errors import BadInput
from probe.facts.build import Facts, SideFacts, unseen_leg
from probe.facts.curve_shape import is_number
from probe.facts.curves import curves_of, decode
from probe.facts.derived import ratios
from probe.facts.kept import kept_warnings
from probe.facts.likely import likely_warnings
from probe.facts.limits import with_limits
from probe.facts.other_inputs import held_by_inputs, with_other_inputs, with_other_leads
from probe.facts.other_sources import source_holding
from probe.facts.refused import drawn_currents, refused_stage, refused_warnings
from probe.facts.shape import shape_complaint
from probe.formats.text import printable, shown_path, shown_value
from probe.measures.model import Measured, Part
from probe.phasors.model import Remark, TakePhasors
from probe.session.model import Session, Side
from probe.session.read import session_sha256
from probe.stage.as_source import source_of
from probe.stage.faults import Faults, Polarity, find_faults, polarity
from probe.stage.identify import Identified, TakeUse
from probe.stage.kind import Verdict, decide, gather
from probe.stage.next_take import Next, next_take
from probe.stage.output_silent import AGAIN
from probe.stage.source import Source
from probe.stage.verdict import whichever

Document = dict[str, Any]

FORMAT = "probe-facts/1"

QUIET = frozenset({"late-start", "early-stop", "clock-foreign", "unheard-channel", "disturbed"})
"""Remarks that say what was found and done; they stand with the take, not among the warnings."""

MOST_BYTES = 64_000_000

MOST_DIGITS = 300
"""Of a whole number; beyond, it no longer fits a float."""

CONTRADICTED = Next(
    None,
    "no further take: correct what the take named in the warning declares, or repeat it; then the "
    "others count again",
)
"""What settles a side whose takes contradict each other: no take that is there already, nor
another one."""

HIGHEST_HZ = 1e7
"""No recorder samples fast enough for a tone up there."""


def document(
    session: Session,
    phasors: tuple[TakePhasors, ...],
    sides: dict[Side, Identified],
    measured: Measured | None = None,
) -> Document:
    """Return the facts document of a session; plain values only, ready for JSON."""
    device = session.device
    parts = {} if measured is None else measured.sides
    between = {} if measured is None else dict(measured.between_sides)
    warnings = likely_warnings(session)
    warnings += [_warning(r) for p in phasors for r in p.remarks if r.code not in QUIET]
    warnings += [_warning(r) for one in sides.values() for r in one.remarks]
    warnings += [
        {"code": "assumed-figure", "take": None, "message": f"{a.where}: {a.message}"}
        for a in session.assumptions
    ]
    warnings += [_warning(r) for part in parts.values() for r in part.remarks]
    warnings += refused_warnings(session)
    warnings += kept_warnings(session)
    body = {side: _side(session, one, parts.get(side, Part())) for side, one in sides.items()}
    warnings += [w for side, one in sides.items() for w in _unheard(side, one, body[side])]
    return {
        "format": FORMAT,
        "device": {
            "maker": device.maker,
            "model": device.model,
            "serial": device.serial,
            "kind": device.kind,
            "output": device.output,
            "output_declared": device.output_declared,
            "connectors": list(device.connectors),
            "firmware": device.firmware,
            "stated_polarity": device.stated_polarity,
            "minimum_load_ohm": device.minimum_load_ohm,
            "volume_control": device.volume_control,
            "full_output_volts": device.full_output_volts,
        },
        "made": {
            "by": f"probe {probe.__version__}",
            "on": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "session_sha256": session_sha256(session),
            "bench": _bench(session),
        },
        "sides": body,
        **({"between_sides": between} if between else {}),
        "warnings": warnings,
    }


def _bench(session: Session) -> Document:
    bench = session.bench
    return {
        "interface": bench.interface,
        "mains_hz": bench.mains_hz,
        **({} if bench.mains_volts is None else {"mains_v": bench.mains_volts}),
        "recorded_on": None if bench.recorded_on is None else bench.recorded_on.isoformat(),
        "calibrated_on": None if bench.calibrated_on is None else bench.calibrated_on.isoformat(),
        "inputs": [
            {
                "volts_full_scale": i.volts_full_scale,
                "u95_percent": 100.0 * i.u95_relative,
                **_shared(i.common_u95_relative),
                "impedance_ohm": i.impedance_ohm,
                "capacitance_pf": 1e12 * i.capacitance_farad,
            }
            for i in bench.inputs
        ],
    }


def _shared(common: float) -> Document:
    """Return the part of an input's doubt that all share, where there is one."""
    return {"common_u95_percent": 100.0 * common} if common > 0.0 else {}


def _warning(remark: Remark) -> Document:
    return {"code": remark.code, "take": remark.take or None, "message": remark.message}


def _unheard(side: str, identified: Identified, body: Document) -> list[Document]:
    """Return a leg that no take hears, unless the verdict explains it."""
    out = []
    one_leg = body["stage"]["driven_legs"] == "one-leg"
    explained = ("unused", "reference", *(("hot", "cold") if one_leg else ()))
    for p in identified.takes:
        if not p.played.any():
            continue
        for channel, deaf in zip(p.take.channels, p.unheard, strict=True):
            if deaf and channel not in explained:
                message = f"the {channel} channel hears none of the tones: check its lead"
                out.append({"code": "unheard-channel", "take": p.take.name, "message": message})
    if body["stage"]["kind"] == "unbalanced":
        out += [w for leg in ("hot", "cold") if (w := _never_heard(leg, identified))]
    del side
    return out


def _never_heard(leg: str, identified: Identified) -> Document | None:
    """Return what else a leg may be that counts as tied: what is tied is heard as tones go in."""
    held = [p for p in identified.takes if p.played.any() and leg in p.take.channels]
    fed = [p.take.name for p in held
           if any(i.into == leg and i.volts > 0.0 for i in p.take.injections)]  # fmt: skip
    if not fed or not all(p.unheard[p.take.channels.index(leg)] for p in held):
        return None
    pin = {"hot": 2, "cold": 3}[leg]
    message = (
        f"no take hears the {leg} leg, not even what is put on it: pin {pin} is tied to pin 1, or "
        f"the lead from it to the recorder is not plugged in or broken. With the device off, an "
        f"ohmmeter from pin {pin} to pin 1 of its socket tells: below 1 ohm it is tied"
    )
    return {"code": "unheard-channel", "take": fed[0], "message": message}


def _side(session: Session, identified: Identified, part: Part | None = None) -> Document:
    part = Part() if part is None else part
    told = polarity(identified)
    evidence = gather(identified, told.value)
    led = with_other_leads(session, identified)
    verdict = whichever(decide(evidence), [decide(gather(o, told.value)) for o in led])
    if evidence.clean:
        faults = find_faults(identified, verdict, told, session.device)
    else:
        told = Polarity("undetermined", "the takes contradict each other")
        faults = Faults((), ())
    following = next_take(identified, evidence, verdict) if evidence.clean else CONTRADICTED
    if following.take is None and "single-ended-dead" in faults.named:
        following = Next("single-ended", f"nothing is heard of that output: {AGAIN}")
    source = source_of(identified) if evidence.clean else None
    builder = SideFacts(session, identified, verdict)
    known = builder.build() if evidence.clean else _standing(session, identified, builder)
    wider: tuple[str, ...] = ()
    if evidence.clean:
        others = (*led, *with_other_inputs(session, identified, evidence, verdict))
        known, wider = held_by_inputs(session, others, evidence, verdict, known)
        source = source_holding(source, [source_of(one) for one in others])
    facts = {**known, **part.facts}
    return {
        "stage": {
            "driven_legs": verdict.driven_legs,
            "kind": verdict.kind,
            "confidence": verdict.confidence,
            "also_possible": [
                {"kind": p.kind, "confidence": p.confidence} for p in verdict.also_possible
            ],
            "next_take": following.take,
            "next_take_reason": following.reason,
            "path": "undetermined",
            "path_evidence": list(part.lists.get("path_evidence", ())),
            "polarity": told.value,
            "polarity_against": told.against,
            "faults": list(faults.found),
            "possible_faults": [t.fault for t in faults.possible],
            "possible_faults_told_by": [
                {"fault": t.fault, "message": t.message} for t in faults.possible
            ],
            "reasons": [*verdict.reasons, *wider],
            **refused_stage(session, identified.side, {u.name for u in identified.uses if u.used}),
            **drawn_currents(identified.group),
            **part.stage,
        },
        "conditions": {
            "volume": identified.volume,
            **_drive(identified),
            "repeatability_db": 8.685889638 * identified.repeatability.level,
            "repeatability_from_residuals": identified.repeatability.freedom > 0,
            "draws": identified.draws,
        },
        "facts": with_limits({**facts, **ratios(facts)}, identified),
        "facts_at": [
            {**row, "facts": with_limits(row["facts"], identified, facts)} for row in part.facts_at
        ],
        "curves": {**curves_of(identified, source, unseen_leg(identified, verdict)), **part.curves},
        "hum_lines": list(part.lists.get("hum_lines", ())),
        "harmonics": list(part.lists.get("harmonics", ())),
        "takes": [_take(u) for u in identified.uses],
    }


def _standing(session: Session, identified: Identified, builder: SideFacts) -> Facts:
    """What takes in contradiction leave: what was heard, and what needs no suspect take."""
    heard = builder.only_recorded()
    rest = identified.standing
    if rest is None or rest.group is None:
        return heard
    verdict = decide(gather(rest, polarity(rest).value))
    return {**heard, **SideFacts(session, rest, verdict).build()}


def _drive(identified: Identified) -> Document:
    """Return the drive all levels stand at: that of the first take which states one."""
    group = identified.group
    takes = [] if group is None else [o.phasors.take for o in group.takes]
    for take in takes:
        if take.drive_volts is not None or take.drive_dbfs is not None:
            return {"drive_volts": take.drive_volts, "drive_dbfs": take.drive_dbfs}
    return {"drive_volts": None, "drive_dbfs": None}


def _take(use: TakeUse) -> Document:
    return {
        "take": use.name,
        "file": use.file,
        "used": use.used,
        "why_not": use.why_not,
        "steady_s": list(use.steady_s),
        "delay_s": use.delay_s,
        "clock_ppm": 1e6 * use.clock_error,
        "residual": use.residual,
    }


def to_json(facts: Document) -> str:
    """Return the document as JSON text; NaN and infinity are refused, not written."""
    return json.dumps(facts, indent=1, allow_nan=False, ensure_ascii=False) + "\n"


def read_facts(path: str | Path) -> Document:
    """Read a facts file, or the facts inside a report.

    Raises
    ------
    BadInput
        Missing, not JSON, of another format, or without the parts that every facts file has.
    """
    path = Path(path)
    name = shown_path(path)
    try:
        facts = json.loads(
            _inside(_text(path)), parse_constant=_no_constant, parse_float=_finite, parse_int=_whole
        )
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise BadInput(f"{name}: cannot be read ({reason}); give a facts.json") from error
    except RecursionError as error:
        raise BadInput(
            f"{name}: not a facts file (brackets within brackets, far deeper than any facts file); "
            "write it with probe analyse"
        ) from error
    except json.JSONDecodeError as error:
        raise BadInput(
            f"{name}: not a facts file (no JSON at line {error.lineno}, column {error.colno}); "
            "write it with probe analyse"
        ) from error
    except ValueError as error:
        what = printable(str(error).splitlines()[0][:120])
        raise BadInput(f"{name}: not a facts file ({what}); write it with probe analyse") from error
    if not isinstance(facts, dict) or facts.get("format") != FORMAT:
        seen = shown_value(facts.get("format") if isinstance(facts, dict) else facts)
        raise BadInput(f'{name}: format is {seen}, "{FORMAT}" is what can be read here')
    if facts.get("typed") is True:
        raise BadInput(
            f"{name}: typed from a data sheet, nothing in it was measured; give probe advise the "
            "source file it was made from"
        )
    wrong = shape_complaint(facts)
    if wrong is not None:
        raise BadInput(f"{name}: {wrong}; write the file again with probe analyse")
    return facts


def _text(path: Path) -> str:
    """Return the text of an ordinary file: a pipe or a device could keep us for ever."""
    status = path.stat()
    if stat.S_ISDIR(status.st_mode):
        raise IsADirectoryError(None, "it is a folder")
    if not stat.S_ISREG(status.st_mode):
        raise OSError(None, "it is not an ordinary file")
    if status.st_size > MOST_BYTES:
        raise ValueError(f"too large, {status.st_size} bytes of at most {MOST_BYTES}")
    return path.read_text(encoding="utf-8")


_EMBEDDED = '<script type="application/json" id="probe-facts">'
"""What stands before the facts in a report; nothing in them can end the element."""


def _inside(text: str) -> str:
    """Return the facts inside a report, or the text itself where it is none."""
    if not text.lstrip().startswith("<!DOCTYPE html>"):
        return text
    _, found, after = text.partition(_EMBEDDED)
    if not found:
        raise ValueError("a page without facts inside")
    return after.partition("</script>")[0]


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not allowed")


def _finite(digits: str) -> float:
    value = float(digits)
    if not math.isfinite(value):
        raise ValueError(f"{digits[:20]} is too large a number")
    return value


def _whole(digits: str) -> int:
    if len(digits) > MOST_DIGITS:
        raise ValueError(f"a number of {len(digits)} digits is too large")
    return int(digits)


def source_from_facts(facts: Document, side: str) -> Source | None:
    """Return the identified stage of one side, None where the device never played.

    Raises
    ------
    BadInput
        The side is not there, or its curves or draws are damaged.
    """
    body = facts["sides"].get(side)
    if body is None:
        raise BadInput(f"facts: there is no side {side!r}, only {', '.join(facts['sides'])}")
    curves = body["curves"]
    if curves.get("hz") == []:
        return None
    try:
        return decode(_tones(curves.get("hz")), curves.get("draws"))
    except ValueError as error:
        raise BadInput(
            f"facts: sides.{side}.curves is damaged ({printable(str(error))[:80]}); write it again"
        ) from error


def _tones(found: object) -> NDArray[np.float64]:
    if not isinstance(found, list) or not all(is_number(one) for one in found):
        raise ValueError("hz is missing or not a list of numbers")
    hz = np.array(found, dtype=np.float64)
    if not np.all((hz > 0.0) & (hz < HIGHEST_HZ)):
        raise ValueError("frequencies are not all above zero, or beyond any recording")
    if not np.all(np.diff(hz) > 0.0):
        raise ValueError("frequencies do not rise")
    return hz


__all__ = ["Verdict", "document", "read_facts", "source_from_facts", "to_json"]
