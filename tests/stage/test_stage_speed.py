"""Ten thousand draws of a nine-take session with twelve tones, and a whole side."""

from __future__ import annotations

import time

import numpy as np

from probe.stage.agreement import Repeatability
from probe.stage.drawn_errors import batch_errors, level_errors, shared_errors
from probe.stage.fitted import LEGS
from probe.stage.identify import identify
from probe.stage.realise import excitation, realise
from probe.stage.resolve import resolve
from probe.stage.solve import fit
from probe.stage.takes import played_group

from .forward import FULL, TONES, drawn_errors, record, separate

DRAWS, BATCH = 10_000, 250
SECONDS = 1.5
"""Of processor, which other work on the machine hardly adds to. Common practice, no source: "well
under a second", room for a slower machine."""


def test_ten_thousand_draws(capsys):
    _, phasors = record(separate(), FULL, errors=drawn_errors(1, FULL))
    played = tuple(p for p in phasors)
    group = played_group(played)
    assert len(group.takes) == 9
    assert len(group.hz) == len(TONES) == 12
    excited = excitation(group)
    solved = fit(group, LEGS, level=0.0023, excited=excited)
    rng = np.random.default_rng(1)
    shared = shared_errors(played, DRAWS, rng)
    levels = level_errors(played, Repeatability(0.0023, 0, 0.0), DRAWS, rng)
    batches = [slice(a, a + BATCH) for a in range(0, DRAWS, BATCH)]
    errors = [batch_errors(group, shared, levels, part, rng) for part in batches]
    best = np.inf
    for _ in range(10):  # the least of several is what the work costs
        start = time.process_time()
        theta = [resolve(solved, realise(group, BATCH, e, excited)) for e in errors]
        best = min(best, time.process_time() - start)
        if best < SECONDS:
            break
    with capsys.disabled():
        print(f"\n{DRAWS} draws, 9 takes, 12 tones: {best:.2f} s of processor")
    # source: the stage's own numbers, 4 V between the legs; 0.25 % of each channel's gain and
    # 0.02 dB leave a draw in a thousand beyond 0.7 %
    difference = np.abs(np.concatenate(theta)[:, 6, 0, 0])
    assert np.percentile(difference, 0.1) > 3.96
    assert np.percentile(difference, 99.9) < 4.04
    assert best < SECONDS


def test_a_whole_side_with_two_thousand_draws(capsys):
    session, phasors = record(separate(), FULL, errors=drawn_errors(1, FULL))
    start = time.process_time()
    identify(session, phasors, "left", draws=2000)
    spent = time.process_time() - start
    with capsys.disabled():
        print(f"\none side, 2000 draws: {spent:.2f} s of processor")
    # common practice, no source: regression only
    assert spent < 10.0
