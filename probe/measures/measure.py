"""All measures of all sides, in one call."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from probe.measures.between import between_sides
from probe.measures.distortion import distortion
from probe.measures.drift import drift
from probe.measures.maximum import maximum
from probe.measures.model import Measured, Part, Subject, merged
from probe.measures.noise import noise
from probe.measures.path.collect import path
from probe.measures.rejection import rejection
from probe.measures.response import response
from probe.measures.spectra import Progress, Recordings
from probe.measures.volume import against_volume
from probe.phasors.model import TakePhasors
from probe.session.model import Session, Side
from probe.stage.identify import Identified

Measure = Callable[[Subject], Part]
Between = Callable[[Mapping[Side, Subject]], dict[str, Any]]

MEASURES: tuple[Measure, ...] = (
    noise,
    distortion,
    maximum,
    drift,
    response,
    rejection,
    against_volume,
    path,
)
"""Of one side each; their facts and curves have different names."""

BETWEEN: tuple[Between, ...] = (between_sides,)
"""Of all sides together; their keys stand beside ``sides`` in the document."""


def measures(
    session: Session,
    phasors: tuple[TakePhasors, ...],
    identified: Mapping[Side, Identified],
    *,
    progress: Progress | None = None,
    wanted: Sequence[Measure] = MEASURES,
    between: Sequence[Between] = BETWEEN,
) -> Measured:
    """Return what every measure found.

    Parameters
    ----------
    session
        As read.
    phasors
        Of all its takes that carry tones.
    identified
        The solved stage of each side.
    wanted, between
        The measures that are made.
    progress
        Called as ``progress(done, total, name)`` in blocks of the takes that are read here.

    Raises
    ------
    BadInput
        If a take's audio cannot be read.
    """
    recordings = Recordings(session.bench.mains_hz, progress)
    subjects = {
        side: Subject(session, side, one, phasors, recordings) for side, one in identified.items()
    }
    sides = {s: merged(measure(subject) for measure in wanted) for s, subject in subjects.items()}
    together: dict[str, Any] = {}
    for measure in between:
        together.update(measure(subjects))
    return Measured(sides, together)
