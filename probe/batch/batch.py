"""Hundreds of session folders on all cores, through joblib.

Each session is one job: read, analysed and written in a process of its own, with the numerical
libraries held to one thread, exactly as ``probe analyse`` does it. What a job gives back is a few
texts and numbers, so that memory stays flat however many there are. joblib's back end can be
another one (`joblib.parallel_config`), a cluster's as well: see docs/batch.md.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from probe.batch.orphan import working_for
from probe.errors import BadInput, ProbeError
from probe.facts.made import measured_on
from probe.formats.text import printable, shown_path
from probe.simulated import is_simulated

SESSION = "session.toml"

LONGEST_MESSAGE = 300

Write = Callable[[Path, Mapping[str, str]], Any]
"""Writes texts into a folder, all of them or none."""

Progress = Callable[[int, int, str, float | None], None]
"""Called with sessions done, in all, the name of the last one, and the seconds left."""


@dataclass(frozen=True)
class Outcome:
    """What became of one session.

    ``status`` is ``done``, ``kept`` (its facts still hold) or ``failed``; ``rows`` are the summary
    of its sides.
    """

    session: str
    status: str
    message: str
    seconds: float
    rows: tuple[dict[str, Any], ...]


def find_sessions(folders: Sequence[Path]) -> list[Path]:
    """Return every session folder in or below ``folders``, each once, in order.

    Raises
    ------
    BadInput
        A folder is missing, or there is no session in any of them.
    """
    found: dict[Path, None] = {}
    for folder in folders:
        if not folder.is_dir():
            raise BadInput(f"{shown_path(folder)}: is not a folder")
        try:
            for path in sorted(folder.rglob(SESSION)):
                found[path.parent] = None
        except OSError as error:
            raise BadInput(f"{shown_path(folder)}: cannot be read ({error.strerror})") from error
    if not found:
        raise BadInput(f"{shown_path(folders[0])}: no {SESSION} in it or below it")
    return list(found)


def analyse_all(
    sessions: Sequence[Path],
    write: Write,
    *,
    targets: Mapping[Path, Path] | None = None,
    jobs: int = -1,
    draws: int | None = None,
    again: bool = False,
    progress: Progress | None = None,
) -> list[Outcome]:
    """Analyse sessions and write facts and report of each; return the outcomes in order.

    Parameters
    ----------
    sessions
        Session folders.
    write
        How the texts of one session are written; must be a function of a module, because it is
        called in another process.
    targets
        Where the files of a session go; its own folder where it is not named.
    jobs
        Processes; -1 is as many as there are cores. A back end set by `joblib.parallel_config`
        keeps its own number where this is 0.
    draws
        Monte Carlo draws; the usual number where left out.
    again
        Analyse also what was analysed already.
    progress
        Called after each session.
    """
    import joblib

    places = targets or {}
    work = [(s, places.get(s, s), draws, again, write, os.getpid()) for s in sessions]
    outcomes: dict[str, Outcome] = {}
    began = time.monotonic()
    with _back_end(jobs):
        parallel = joblib.Parallel(return_as="generator_unordered", pre_dispatch="2*n_jobs")
        for outcome in parallel(joblib.delayed(_job)(*one) for one in work):
            outcomes[outcome.session] = outcome
            if progress is not None:
                left = _left(outcomes.values(), len(work), time.monotonic() - began)
                progress(len(outcomes), len(work), outcome.session, left)
    return [outcomes[str(s)] for s in sessions]


@contextmanager
def _back_end(jobs: int) -> Iterator[None]:
    """Use processes of this machine with one numerical thread each, or what the caller set."""
    import joblib

    if jobs == 0:
        yield
        return
    with joblib.parallel_config(backend="loky", n_jobs=jobs, inner_max_num_threads=1):
        yield


def _left(done: Iterable[Outcome], total: int, elapsed: float) -> float | None:
    """Return the seconds left, from those that were really analysed."""
    outcomes = list(done)
    worked = sum(1 for o in outcomes if o.status != "kept")
    if worked == 0:
        return None
    return elapsed / worked * (total - len(outcomes))


def _job(
    session: Path, target: Path, draws: int | None, again: bool, write: Write, parent: int
) -> Outcome:
    """Analyse one session in a process that does not outlive the one that asked."""
    with working_for(parent):
        return analyse_one(session, target, draws, again, write)


def analyse_one(
    session: Path, target: Path, draws: int | None, again: bool, write: Write
) -> Outcome:
    """Analyse one session and write its files; whatever goes wrong becomes its outcome."""
    began = time.monotonic()
    try:
        status, facts = _analysed(session, target, draws, again, write)
        rows = tuple(summary_rows(facts))
        return Outcome(str(session), status, "", time.monotonic() - began, rows)
    except ProbeError as error:
        message = str(error)
    except MemoryError:
        message = "not enough memory"
    except Exception as error:  # one bad session never stops the rest
        message = f"a mistake in the program: {type(error).__name__}: {error}"
    told = printable(" ".join(message.splitlines()))[:LONGEST_MESSAGE]
    return Outcome(str(session), "failed", told, time.monotonic() - began, ())


def _analysed(
    session: Path, target: Path, draws: int | None, again: bool, write: Write
) -> tuple[str, dict[str, Any]]:
    from probe.facts import analyse, to_json
    from probe.facts.analyse import DRAWS
    from probe.facts.beside import facts_beside
    from probe.report import render_html
    from probe.session.read import read_session

    count = DRAWS if draws is None else draws
    read = read_session(session)
    if not again:
        kept = facts_beside(read, draws=count, folder=target)
        if kept is not None and (target / "report.html").is_file():
            return "kept", kept
    facts = analyse(read, draws=count)
    write(target, {"facts.json": to_json(facts), "report.html": render_html(facts)})
    return "done", facts


COLUMNS = (
    "session", "status", "message", "maker", "model", "serial", "firmware", "measured_on",
    "simulated", "side", "kind", "confidence", "faults", "polarity",
    "differential_level_V", "differential_level_u95_V",
    "gain_difference_dB", "gain_difference_u95_dB", "hot_impedance_ohm", "hot_impedance_u95_ohm",
    "cold_impedance_ohm", "cold_impedance_u95_ohm", "differential_impedance_ohm",
    "differential_impedance_u95_ohm", "warnings", "seconds",
)  # fmt: skip
"""Of the summary: one row a side, one for a session that failed."""

_FIGURES = (
    ("differential_level", "V"), ("gain_difference", "dB"), ("hot_impedance", "ohm"),
    ("cold_impedance", "ohm"), ("differential_impedance", "ohm"),
)  # fmt: skip


def summary_rows(facts: Mapping[str, Any]) -> Iterable[dict[str, Any]]:
    """Yield the summary of each side of a facts document."""
    device, made = facts["device"], facts.get("made") or {}
    for side, body in facts["sides"].items():
        stage, found = body.get("stage") or {}, body.get("facts") or {}
        row: dict[str, Any] = {
            "maker": device.get("maker"), "model": device.get("model"),
            "serial": device.get("serial"), "firmware": device.get("firmware"),
            "measured_on": measured_on(facts),
            "simulated": "yes" if is_simulated(made) else "no",
            "side": side, "kind": stage.get("kind"), "confidence": stage.get("confidence"),
            "faults": " ".join(str(f) for f in stage.get("faults") or ()),
            "polarity": stage.get("polarity"), "warnings": len(facts.get("warnings") or ()),
        }  # fmt: skip
        for name, unit in _FIGURES:
            entry = found.get(name) or {}
            if not entry.get("bound"):
                row[f"{name}_{unit}"] = entry.get("value")
                row[f"{name}_u95_{unit}"] = entry.get("u95")
        yield row


def table(outcomes: Sequence[Outcome]) -> list[dict[str, Any]]:
    """Return the summary of all sessions, rows with `COLUMNS`."""
    return [
        {
            **dict.fromkeys(COLUMNS),
            **row,
            "session": outcome.session,
            "status": outcome.status,
            "message": outcome.message,
            "seconds": round(outcome.seconds, 3),
        }
        for outcome in outcomes
        for row in outcome.rows or ({},)
    ]
