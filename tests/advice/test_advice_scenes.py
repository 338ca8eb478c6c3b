"""A dealer's week: what is chosen and warned of is what an engineer answered beforehand."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.advice.scene_answers import ask, differences
from tests.advice.scene_files import SCENES, read_scene

QUICK = ("02", "09", "12")
"""Scenes with a simulated stage that stay in the default run; the rest take some seconds each."""


def _quick(path: Path) -> bool:
    return path.name[:2] in QUICK or "typed" in read_scene(path)["source"]


def _check(path: Path, folder: Path) -> None:
    scene = read_scene(path)
    # expected: the scene's own arithmetic and rules, tests/advice/scenes/README.md
    assert differences(scene, ask(scene, folder)) == []


@pytest.mark.parametrize("path", [p for p in SCENES if _quick(p)], ids=lambda p: p.stem)
def test_scene(path: Path, tmp_path: Path) -> None:
    _check(path, tmp_path)


@pytest.mark.long
@pytest.mark.parametrize("path", [p for p in SCENES if not _quick(p)], ids=lambda p: p.stem)
def test_scene_with_a_simulated_stage(path: Path, tmp_path: Path) -> None:
    _check(path, tmp_path)
