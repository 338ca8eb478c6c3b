"""docs/formats.md names everything the program reads and says, and nothing else."""

from __future__ import annotations

import functools
import re
import typing
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from probe.advice.destination import DestinationFile
from probe.advice.digital import LINKS
from probe.advice.source_file import SourceFile
from probe.advice.wiring import OPTIONS
from probe.bench.calibration.document import BenchFile
from probe.facts import analyse_session
from probe.session.document import SessionTable
from probe.simulate.document import StageTable
from probe.stage.faults import FAULTS
from probe.stage.kind import KINDS
from probe.stage.next_take import TAKES
from probe.verify.specification import SpecificationFile
from tests.house import codes
from tests.house.readme import ROOT

PAGE = (ROOT / "docs" / "formats.md").read_text("utf-8")
DEMOS = sorted(path.parent for path in (ROOT / "captures").glob("*/session.toml"))


def section(heading: str) -> str:
    """The text under a second-level heading."""
    return PAGE.split(f"\n## {heading}\n", 1)[1].split("\n## ", 1)[0]


def part(text: str, heading: str) -> str:
    """The text under a third-level heading of a section."""
    return text.split(f"\n### {heading}\n", 1)[1].split("\n### ", 1)[0]


def marked(text: str) -> set[str]:
    """Everything in code marks, single words of a mark like ``{ volts = 8.0 }`` as well."""
    marks = re.findall(r"`([^`\n]+)`", text)
    return {word for mark in marks for word in (mark, *re.findall(r"[A-Za-z][\w/-]*", mark))}


def rows(text: str) -> set[str]:
    """First cells of the tables of a text, each mark by itself."""
    lines = re.findall(r"^\| (`[^|]+`) \|", text, re.M)
    return {name for cell in lines for name in re.findall(r"`([^`]+)`", cell)}


def test_warning_codes() -> None:
    found = codes.warning_codes()
    assert len(found) > 10
    assert rows(section("Warning codes")) == found


def test_advice_codes() -> None:
    table = section("Advice").split("Codes of hazards and cautions", 1)[1]
    found = codes.advice_codes()
    assert len(found) > 20
    assert rows(table) == found


def test_options() -> None:
    table = section("Advice").split("Codes of hazards and cautions", 1)[0]
    assert {name for name in rows(table) if "-to-" in name} == {o.id for o in (*OPTIONS, *LINKS)}


def test_words_of_the_stage() -> None:
    words = marked(part(section("Facts"), "`stage`"))
    assert set(KINDS) | set(FAULTS) | set(TAKES) <= words


def fact_rows() -> set[str]:
    return rows(part(section("Facts"), "`facts`"))


def curve_rows() -> set[str]:
    return rows(part(section("Facts"), "`curves`"))


def test_facts_that_are_put_are_documented() -> None:
    assert len(codes.fact_names()) > 15
    assert codes.fact_names() - fact_rows() == set()


@functools.cache
def facts_of(folder: Path) -> dict[str, Any]:
    return analyse_session(folder, draws=100)


# Every third one is quick, the rest are `long`; the gate runs them all.
@pytest.mark.parametrize(
    "folder",
    [
        pytest.param(p, marks=[pytest.mark.long] * (i % 3 > 0), id=p.name)
        for i, p in enumerate(DEMOS)
    ],
)
def test_demo_says_nothing_undocumented(folder: Path) -> None:
    document = facts_of(folder)
    words = marked(section("Facts"))
    assert document.keys() | document["made"].keys() <= words
    for side in document["sides"].values():
        assert side["facts"].keys() - fact_rows() == set()
        assert side["curves"].keys() - {"hz", "draws"} - curve_rows() == set()
        assert side.keys() | side["stage"].keys() | side["conditions"].keys() <= words
        assert {key for take in side["takes"] for key in take} <= words
        assert {key for fact in side["facts"].values() for key in fact} <= words
    assert {w["code"] for w in document["warnings"]} <= rows(section("Warning codes"))


def keys_of(model: type[BaseModel]) -> set[str]:
    """Every key of a file format, those of its inner tables as well."""
    found: set[str] = set()
    for name, field in model.model_fields.items():
        found.add(field.alias or name)
        for inner in tables_in(field.annotation):
            found |= keys_of(inner)
    return found


def tables_in(annotation: Any) -> list[type[BaseModel]]:
    """Models anywhere inside a type."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for arg in typing.get_args(annotation) for model in tables_in(arg)]


@pytest.mark.parametrize(
    ("heading", "model"),
    [
        ("Session", SessionTable),
        ("Bench", BenchFile),
        ("Destination", DestinationFile),
        ("Source", SourceFile),
        ("Stage", StageTable),
        ("Specification", SpecificationFile),
    ],
)
def test_keys_of_files_are_documented(heading: str, model: type[BaseModel]) -> None:
    words = marked(section(heading))
    if heading == "Stage":  # copies tables of the session, and says so
        words |= marked(section("Session"))
    assert len(keys_of(model)) > 15
    assert keys_of(model) - words == set()
