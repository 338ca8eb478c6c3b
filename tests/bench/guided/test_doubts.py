"""Takes that the analysis cannot place among the others are told, and offered where it helps."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from probe.bench.guided.doubts import Doubts
from probe.bench.judged.interim import Doubt, Interim
from probe.bench.stored.storage import SessionFolder
from probe.simulate.build import stage_of
from probe.simulate.write import simulate

TAKES = ("open", "load-hot", "load-across")


class Somebody:
    """Takes what stands in brackets, and remembers what was said."""

    def __init__(self) -> None:
        self.warned: list[str] = []

    def warn(self, title: str, _text: str) -> None:
        self.warned.append(title)

    def choose(self, _key: str, _question: str, _choices: object, default: str) -> str:
        return default


def session(folder: Path) -> SessionFolder:
    """Three takes without common clock or drive, of a stage whose cold leg has dried out."""
    simulate(
        stage_of({
            "circuit": "cold-capacitor-dried", "seed": 1, "sides": ("left",), "takes": TAKES,
            "phase": "none", "device": {"maker": "Invented", "model": "dried"},
            "bench": {"repeatability_db": 0.02},
        }),
        folder,
    )  # fmt: skip
    return SessionFolder.resume(folder)


def test_a_take_that_nothing_places_is_offered_where_another_stream_would_place_it(
    tmp_path: Path,
) -> None:
    store = session(tmp_path / "s")
    interim = Interim(store.folder, draws=50)
    interim.update("")
    doubts = interim.doubts("left", "")
    # closed form: a leg of 1 uF under a load across turns each tone by an angle of its own, so that
    # no delay fits, and three takes leave no residual to tell (tests/stage/test_stage_delays.py)
    assert [d.code for d in doubts] == ["unplaced-take"]
    take = next(t for t in store.takes if t["name"] == doubts[0].take)
    take["name"] = "left load across"
    found = [Doubt(take["name"], doubts[0].code, doubts[0].message)]
    for timebase, again in ((None, None), ("run-2", None), ("run-1", "load-across")):
        if timebase is not None:
            take |= {"timebase": timebase, "start_frame": 0}
        talk, told = Somebody(), []
        screen: Any = SimpleNamespace(talk=talk, told=told)
        assert Doubts().settle(found, screen, store, "run-2") == again
        assert talk.warned == ["Look [unplaced]"]
        assert ("left load across" in [t["name"] for t in store.takes]) is (again is None)
        assert bool(told) is (again is not None)


POOR = Doubt("left open", "poor-repeatability", "levels differ between takes by 0.1 dB")


@pytest.mark.parametrize(
    ("moved", "asked"),
    # source: docs/formats.md, repeatability_db: 0.05 dB is a bench that is warming up
    [(0.016, False), (0.049, False), (0.06, True)],
)
def test_levels_that_differ_as_drift_does_are_no_takes_fault(moved: float, asked: bool) -> None:
    interim = Interim(Path())
    take: Any = SimpleNamespace(name="left open", side="left", volume="")
    interim.session = SimpleNamespace(takes=(take,))  # type: ignore[assignment]
    warning = {"code": POOR.code, "take": POOR.take, "message": POOR.message}
    interim._facts = {
        "sides": {"left": {"conditions": {"repeatability_db": moved}}}, "warnings": [warning],
    }  # fmt: skip
    assert bool(interim.doubts("left", "")) is asked


def test_levels_that_differ_as_before_are_not_asked_for_again(tmp_path: Path) -> None:
    store, talk = session(tmp_path / "s"), Somebody()
    screen: Any = SimpleNamespace(talk=talk, told=[])
    doubts, other = Doubts(), Doubt("left load hot", "contradicting-take", "it contradicts")
    assert doubts.standing([POOR, other]) == [POOR, other]
    assert doubts.settle([POOR], screen, store, "run-1") == "open"
    assert talk.warned == ["Look [contradiction]"]
    store.takes.append({"name": "left open", "file": "left-open-2.wav"})
    assert doubts.settle([POOR], screen, store, "run-1") is None
    assert talk.warned == ["Look [contradiction]"]
    assert doubts.standing([POOR, other]) == [other]
