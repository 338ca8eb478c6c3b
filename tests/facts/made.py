"""A facts document of takes made from a stage given as numbers, its files on disk."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from probe.facts.document import document
from probe.phasors.model import TakePhasors
from probe.session.model import Session
from probe.stage.identify import Identified, identify
from tests.stage.forward import Errors, record


def session_on_disk(folder: Path, stage, plans, **more) -> tuple[Session, tuple[TakePhasors, ...]]:
    """A recorded session whose files exist, so that they can be hashed."""
    more.setdefault("errors", Errors(noise=1e-6))
    session, phasors = record(stage, plans, **more)
    takes = []
    for take in session.takes:
        path = folder / take.file
        path.write_bytes(take.name.encode())
        takes.append(replace(take, path=path))
    toml = folder / "session.toml"
    toml.write_text('format = "probe-session/1"\n', encoding="utf-8")
    return replace(session, folder=folder, toml_path=toml, takes=tuple(takes)), phasors


def made(
    folder: Path, stage, plans, *, draws: int = 300, seed: int = 1, **more
) -> tuple[dict, Identified]:
    """The document and what it was built from, one side."""
    session, phasors = session_on_disk(folder, stage, plans, **more)
    side = more.get("side", "left")
    found = identify(session, phasors, side, draws=draws, seed=seed)
    return document(session, phasors, {side: found}), found
