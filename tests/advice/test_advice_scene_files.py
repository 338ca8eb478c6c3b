"""The scenes are sound in themselves: they read, their sums are right, their words are known."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import pytest

from probe.advice.destination import read_destination
from probe.simulate.build import read_stage
from tests.advice.scene_files import SCENES, document, read_scene

FORMATS = Path(__file__).parents[2] / "docs" / "formats.md"
KINDS_OF_ANSWER = {
    "attenuators",
    "destination", "chosen", "never", "avoid", "never_or_avoid", "not_chosen", "no_options",
    "hazards", "figures", "gain_reached", "names_next_take",
}  # fmt: skip
OPTIONS = set(re.findall(r"`((?:rca|xlr|digital-[0-9]+)-to-[a-z0-9/-]+)`", FORMATS.read_text()))
SUMS = {name: getattr(math, name) for name in ("atan", "cos", "log10", "pi", "sin", "sqrt")}

each_scene = pytest.mark.parametrize(
    "scene", [pytest.param(read_scene(path), id=path.stem) for path in SCENES]
)


def test_there_are_scenes() -> None:
    assert len(SCENES) >= 20
    assert len(OPTIONS) >= 12


@each_scene
def test_every_sum_is_right(scene: dict[str, Any]) -> None:
    assert scene["why"]
    for line in scene["arithmetic"]:
        found = eval(line["is"], {"__builtins__": {}}, SUMS)
        # Closed form: the expression beside the value, printed with five digits.
        assert found == pytest.approx(line["value"], rel=1e-4, abs=1e-9), line["says"]


@each_scene
def test_every_answer_belongs_to_a_destination_and_names_known_options(
    scene: dict[str, Any],
) -> None:
    answers = scene["expected"]
    names = [table["name"] for table in scene["destination"]]
    assert [answer["destination"] for answer in answers] == names
    for answer in answers:
        assert set(answer) <= KINDS_OF_ANSWER
        assert answer["chosen"]
        named = {o for key in ("never", "avoid", "never_or_avoid") for o in answer.get(key, [])}
        named |= set(answer.get("not_chosen", [])) | set(answer["chosen"]) - {"none"}
        named |= {line["option"] for line in answer.get("hazards", [])} - {"any"}
        named |= {line["option"] for line in answer.get("figures", [])}
        assert named <= OPTIONS
        assert not set(answer["chosen"]) & set(answer.get("never", []) + answer.get("avoid", []))


@each_scene
def test_destinations_are_destination_files(scene: dict[str, Any], tmp_path: Path) -> None:
    for table in scene["destination"]:
        path = tmp_path / "destination.toml"
        path.write_text(document(table))
        assert read_destination(path).name == table["name"]


@each_scene
def test_the_source_is_a_stage_or_typed(scene: dict[str, Any], tmp_path: Path) -> None:
    (way, table), = scene["source"].items()  # fmt: skip
    assert table["device"]["connectors"]
    if way == "typed":
        return
    path = tmp_path / "stage.toml"
    path.write_text(document(table))
    assert read_stage(path).device.model == table["device"]["model"]
