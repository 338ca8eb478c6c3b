"""A tone that rises step by step, looked at before each next one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from probe.bench.stream.card import StreamFormat
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.rising import Stairs
from probe.bench.stream.sound import Part
from probe.bench.stream.stop import Reason
from probe.errors import BadInput
from tests.bench.stream.played import RATE, Kept, tone

FORM = StreamFormat(RATE, 2, 2)
STEP_S = 0.2
LEVELS = (-20.0, -19.0, -18.0, -17.0, -16.0)


def rise(path: Path, kept: Kept, enough: int, ceiling: float = 1.0, levels=LEVELS):  # type: ignore[no-untyped-def]
    seen: list[int] = []

    def look(k: int, file: Path) -> str | None:
        assert file.suffix == ".part"
        seen.append(k)
        return "that is enough" if k == enough else None

    with Recorder(kept.card, FORM) as recorder:
        recorder.set_ceilings([ceiling] * 2)
        done = recorder.rise(path, [Part(0, tone())], Stairs(levels, STEP_S, look), None)
    return done, seen


def test_steps_are_as_high_and_as_long_as_asked(tmp_path: Path) -> None:
    done, seen = rise(tmp_path / "a.wav", Kept(), enough=99)
    assert done.complete
    assert (done.ended, seen, done.lost) == (None, [0, 1, 2, 3, 4], ())
    samples, _ = soundfile.read(tmp_path / "a.wav", always_2d=True)
    step = round(STEP_S * RATE)
    for k, db in enumerate(LEVELS):
        inside = samples[k * step + 2000 : (k + 1) * step, 0]
        # closed form: a cosine of peak 0.5 at so many decibels; a fade of 20 ms before it
        assert np.max(np.abs(inside)) == pytest.approx(0.5 * 10 ** (db / 20), rel=1e-3)


def test_enough_fades_out_before_the_next_step_and_keeps_what_there_is(tmp_path: Path) -> None:
    kept = Kept()
    done, seen = rise(tmp_path / "a.wav", kept, enough=2)
    assert done.complete
    assert done.ended is not None
    assert (done.ended.reason, done.ended.message, seen) == (
        Reason.ENOUGH, "that is enough", [0, 1, 2],
    )  # fmt: skip
    assert [p.name for p in tmp_path.iterdir()] == ["a.wav"]
    # closed form: no louder step was begun
    assert np.max(np.abs(kept.played)) <= 0.5 * 10 ** (LEVELS[2] / 20) * (1 + 1e-6)
    last = np.flatnonzero(np.abs(kept.played[:, 0]) > 1e-6)[-1]
    # source: the rule that a tone is gone within 20 ms, a block and the card's two included
    assert last - (done.start_frame + done.frames) < 0.02 * RATE + 3 * 256


def test_an_input_at_its_ceiling_ends_it_and_the_steps_before_stay(tmp_path: Path) -> None:
    ceiling = 0.5 * 10 ** (-18.5 / 20)
    done, seen = rise(tmp_path / "a.wav", Kept(), enough=99, ceiling=ceiling)
    assert done.complete
    assert done.ended is not None
    assert (done.ended.reason, seen) == (Reason.TOO_LOUD, [0, 1])


def test_steps_above_the_limit_are_refused_before_anything_sounds(tmp_path: Path) -> None:
    kept = Kept()
    with pytest.raises(BadInput, match="above the limit"):
        rise(tmp_path / "a.wav", kept, enough=99, levels=(-20.0, 7.0))
    assert not np.any(kept.played)
