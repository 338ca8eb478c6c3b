"""TOML files of a versioned format, read through a pydantic model; every complaint is one line."""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ConfigDict

M = TypeVar("M", bound=BaseModel)


class Table(BaseModel):
    """Base of every table people write: unknown keys, NaN, infinity and wrong types refused."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


def read_toml(path: Path, model: type[M], *, format_word: str) -> M:
    """Read ``path`` as ``model``; the file's ``format`` key must equal ``format_word``.

    Raises
    ------
    BadInput
        Missing or unreadable file, damaged TOML (with the line), wrong format word, unknown
        key (with the nearest known one), wrong type or value (with the key's path).
    """
    raise NotImplementedError
