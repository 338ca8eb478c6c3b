"""Reaching into a facts document in which anything may be absent or of another type."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


def mapping(parent: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    """Return the table under ``key``, empty where there is none."""
    value = parent.get(key)
    return value if isinstance(value, Mapping) else {}


def listing(parent: Mapping[str, Any], key: str) -> Sequence[Any]:
    """Return the list under ``key``, empty where there is none."""
    value = parent.get(key)
    return value if isinstance(value, list | tuple) else ()


def entry_of(facts: Mapping[str, Any], name: str) -> Mapping[str, Any] | None:
    """Return the entry of one fact, or None where it was not measured."""
    value = facts.get(name)
    return value if isinstance(value, Mapping) else None


def identifier(key: str) -> str:
    """Return ``key`` reduced to what may stand in an HTML id."""
    return "".join(c for c in key if c.isascii() and c.isalnum()) or "side"


def is_typed(facts: Mapping[str, Any]) -> bool:
    """Tell whether a facts document was typed from a data sheet: nothing in it was measured."""
    return facts.get("typed") is True
