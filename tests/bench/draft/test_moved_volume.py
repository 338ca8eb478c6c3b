"""A volume moved between recordings, and names that speak against levels: asked, not stated."""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

import pytest
import soundfile

from probe.bench.draft.draft import draft
from probe.bench.draft.text import Part, Said
from probe.facts.likely import likely_warnings
from probe.session.read import LIKELY_ANSWER, read_session

CAPTURES = Path(__file__).parents[3] / "captures"
LOADS = {"leg": Part(604.0, 0.1, "R1"), "across": Part(1210.0, 0.1, "R3")}
LIKELY = Said(loads=LOADS, maker="Harrowgate", model="Tern", side="right", likely=True)
DAC = CAPTURES / "dac-own-clock"
LONG = pytest.mark.long
FRAMES = 72000
"""A second and a half is enough of each."""


def copied(
    to: Path, takes: dict[str, str], *, moved: tuple[str, ...] = (), decibels: float = 1.0
) -> None:
    """Copy recordings of the converter under other names, some of them at another volume."""
    for take, name in takes.items():
        samples, rate = soundfile.read(DAC / f"right-{take}.flac", always_2d=True, frames=FRAMES)
        gain = 10.0 ** (decibels / 20.0) if take in moved else 1.0
        soundfile.write(to / f"{name}.wav", gain * samples, rate, "PCM_24")


def answers(folder: Path, said: Said = LIKELY) -> dict[str, object]:
    """Return for every name: the ends of its loads, or ``asked``."""
    return answered(draft(folder, said, hot=0)[0])


def answered(text: str) -> dict[str, object]:
    out: dict[str, object] = {}
    for take in tomllib.loads(text)["take"]:
        load = take.get("load", [])
        ends = "asked" if isinstance(load, str) else [(one["from"], one["to"]) for one in load]
        out[Path(take["file"]).stem] = ends
    return out


NAMED = {"open": "right-open", "load-across": "right-load-across", "load-hot": "right-load-hot"}
PLAIN = {"open": "c", "load-across": "a", "load-hot": "b"}


@pytest.mark.parametrize("names", [NAMED, PLAIN], ids=["named", "unnamed"])
@pytest.mark.parametrize(
    "moved", ["load-hot", *(pytest.param(t, marks=LONG) for t in ("load-across", "open"))]
)
def test_one_volume_moved_among_three_takes_leaves_all_asked(tmp_path: Path, names, moved):
    copied(tmp_path, names, moved=(moved,))
    # the demo's own session.toml has loads in two of them; no level tells which, so none is stated
    text, _ = draft(tmp_path, LIKELY, hot=0)
    assert set(answered(text).values()) == {"asked"}
    assert text.count("may have been moved between") >= len(names)


@pytest.mark.parametrize(
    "names", [NAMED, pytest.param(PLAIN, marks=LONG)], ids=["named", "unnamed"]
)
def test_the_same_takes_at_one_volume_are_likely_and_marked(tmp_path: Path, names):
    copied(tmp_path, names)
    text, _ = draft(tmp_path, LIKELY, hot=0)
    found = answered(text)
    # the truth is the demo's own session.toml
    assert [found[names[t]] for t in ("open", "load-across", "load-hot")] == [
        [], [("hot", "cold")], [("hot", "ground")]
    ]  # fmt: skip
    assert text.count("LIKELY, not known: no load") == 1
    assert text.count("LIKELY, not known: a load") == 2
    # without leave nothing that rests on levels stands, the open take neither
    assert set(answers(tmp_path, Said(loads=LOADS)).values()) == {"asked"}


def test_a_moved_take_among_many_is_asked_and_the_others_are_not_taken_for_others(tmp_path: Path):
    takes = ("open", "second-open", "load-hot", "load-cold", "load-across")
    names = {take: f"rec{n}" for n, take in enumerate(takes)}
    copied(tmp_path, names, moved=("load-across",))
    # the demo's own session.toml; the louder take is no load on any of the others
    assert answers(tmp_path) == {
        "rec0": [], "rec1": [], "rec2": [("hot", "ground")], "rec3": [("cold", "ground")],
        "rec4": "asked",
    }  # fmt: skip


def test_an_equal_fall_alone_is_a_load_or_the_volume(tmp_path: Path):
    copied(tmp_path, {"open": "a", "load-across": "b"})
    assert set(answers(tmp_path).values()) == {"asked"}


@pytest.mark.parametrize(
    ("names", "asked"),
    [
        # as named: a load where levels say none and the reverse throws doubt on all
        ({"open": "load-cold", "second-open": "b", "load-hot": "c"}, {"load-cold", "b", "c"}),
        ({"open": "a", "second-open": "b", "load-hot": "open"}, {"a", "b", "open"}),
        # ... another leg only on that take
        ({"open": "open", "second-open": "b", "load-hot": "load-cold"}, {"load-cold"}),
    ],
)
def test_names_that_speak_against_levels_make_a_question(tmp_path: Path, names, asked):
    copied(tmp_path, names)
    assert {name for name, found in answers(tmp_path).items() if found == "asked"} == asked


def test_a_session_says_which_answers_nobody_has_checked(tmp_path: Path):
    shutil.copytree(DAC, tmp_path / "s")
    place = tmp_path / "s" / "session.toml"
    text = place.read_text("utf-8")
    assert likely_warnings(read_session(place)) == []
    marked = text.replace("load = [", f"{LIKELY_ANSWER}, not known: a load\nload = [")
    place.write_text(marked, "utf-8")
    session = read_session(place)
    # as many as the loads of the demo's own session.toml, each with its take's file
    assert session.likely == tuple(t.file for t in session.takes if t.loads)
    (warning,) = likely_warnings(session)
    assert warning["code"] == "likely-answers"
    assert warning["message"].startswith("4 answers in session.toml are likely, not known")
