"""The scenes of `scenes/` as data, and each table in them as a document of its own."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

SCENES = sorted((Path(__file__).parent / "scenes").glob("*.toml"))


def read_scene(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text())


def document(table: dict[str, Any]) -> str:
    """A destination or stage table of a scene as the text of a file."""
    return "".join(f"{key} = {_value(value)}\n" for key, value in table.items())


def _value(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(each)}" for key, each in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    return json.dumps(value)  # strings, numbers, true and false are written alike in both
