"""The isolating transformer of a shelf: each way has the one that fits its plugs and does best."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.basket import Basket, lists, with_shelf_parts
from probe.advice.destination import Cable, Destination, Input
from probe.advice.ground import of_preset
from probe.advice.shelf import read_shelf
from probe.advice.transformers import find_transformer, library
from tests.advice.stages import facts, symmetrical

FAR = Input("rca", "rca", "single-ended", 20e3, sensitivity_volts=0.8,
            ground=of_preset("two-rooms"))  # fmt: skip

RCA_ENDS = ("rca-female", "rca-male")
ENDS = (RCA_ENDS, ("xlr-female", "xlr-male"), ("xlr-female", "rca-male"))


def isolator(
    name: str, ends: tuple[str, str], price: float, data: str | None, stock: int = 4
) -> str:
    keys: dict[str, Any] = {"name": name, "kind": "transformer", "from": ends[0], "to": ends[1],
                            "price": price, "stock": stock}  # fmt: skip
    keys |= {} if data is None else {"transformer": data}
    return "\n".join(["[[part]]", *(f"{k} = {json.dumps(v)}" for k, v in keys.items()), ""])


def used_with(tmp_path: Path, *parts: str) -> tuple[str | None, str, float, list[str], Basket]:
    """Return the option, the part it is solved with, its level, what is taken, and the list."""
    path = tmp_path / "shelf.toml"
    path.write_text("\n".join(('format = "probe-shelf/1"', *parts)))
    shelf = read_shelf(path)
    document = facts(connectors=("rca",))
    document["sides"] = dict.fromkeys(("left", "right"), document["sides"]["left"])
    there = Destination("amp", (FAR,), Cable(8.0, 800e-12, 0.24, 0.02), operating_volts=1.0)
    there = with_shelf_parts(there, shelf)
    found = advise(document, dict.fromkeys(("left", "right"), symmetrical()), there)
    (choice,) = found.choices
    held = [o for o in found.options if o.option.id == choice.option]
    level = held[0].figures.level if held else None
    (listed,) = lists(found, there, shelf).own
    part = held[0].option.part.name if held else ""
    names = [t.part.name for t in listed.taken if t.part.kind == "transformer"]
    return choice.option, part, 0.0 if level is None else level.value, names, listed


GOOD = isolator("good", RCA_ENDS, 60.0, "alder")


@pytest.mark.parametrize("ends", ENDS)
@pytest.mark.parametrize("data", sorted(library()))
def test_a_cheap_part_beside_a_good_one_makes_no_way_worse(
    tmp_path: Path, ends: tuple[str, str], data: str
) -> None:
    """Lost: a 20 euro part whose plugs do not fit has the shop order what lies on its shelf."""
    option, _, level, names, _ = used_with(tmp_path, GOOD, isolator("cheap", ends, 20.0, data))
    alone = used_with(tmp_path, GOOD)
    assert alone[0] == option == "rca-to-rca/transformer"
    if ends != RCA_ENDS:
        assert (level, names) == (alone[2], ["good"])
    # closed form: half of the 1 V that is played misses 0.8 V by 4.1 dB;
    # 1.5 H behind 270 ohm in place of 15 H behind 120 lose several times the bass
    if ends == RCA_ENDS and data in ("yarrow", "sorrel"):
        assert names == ["good"]


def test_the_cheaper_of_two_that_do_as_well_is_taken(tmp_path: Path) -> None:
    more = isolator("large", RCA_ENDS, 90.0, "larch")
    assert used_with(tmp_path, more, GOOD)[3] == ["good"]
    assert used_with(tmp_path, more)[3] == ["large"]


def test_what_is_there_goes_before_what_is_to_be_ordered(tmp_path: Path) -> None:
    away = isolator("away", RCA_ENDS, 30.0, "alder", stock=0)
    assert used_with(tmp_path, away, GOOD)[3] == ["good"]


def test_where_nothing_on_the_shelf_does_an_ordinary_one_is_meant(tmp_path: Path) -> None:
    """Lost: the way is dropped for what happens to lie there, though any shop has the part."""
    option, part, _, names, _ = used_with(tmp_path, isolator("half", RCA_ENDS, 20.0, "yarrow"))
    assert (option, part, names) == ("rca-to-rca/transformer", "", [])


def test_one_that_was_named_is_solved_whatever_lies_there(tmp_path: Path) -> None:
    path = tmp_path / "shelf.toml"
    path.write_text("\n".join(('format = "probe-shelf/1"', GOOD)))
    named = find_transformer("larch")
    there = with_shelf_parts(Destination("amp", (FAR,), transformer=named), read_shelf(path))
    assert there.transformers_of(FAR, "rca-to-rca/transformer") == (named,)


def test_a_part_without_data_goes_after_one_that_has_them_and_is_told(tmp_path: Path) -> None:
    """Lost: 12 euros for a box that may be anything, beside one that is known to do."""
    bare = isolator("bare", RCA_ENDS, 12.0, None)
    beside = used_with(tmp_path, bare, GOOD)
    assert beside[3] == ["good"]
    assert not any("bare" in told for told in beside[4].says)
    *_, names, alone = used_with(tmp_path, bare)
    assert names == ["bare"]
    for told in (alone.says, alone.to_json()["says_plain"]):
        # docs/advice.md: what a bought one must have, as calculated with
        assert any("bare: the shelf has no data of it; it must have 1:1" in t for t in told)


def test_of_two_ways_that_lack_as_much_the_one_whose_transformer_is_there(tmp_path: Path) -> None:
    """Lost: nine isolators lie there, and the same one is ordered for want of a short lead."""
    there = isolator("sockets", ("rca-female", "rca-female"), 9.0, "alder")
    *_, names, listed = used_with(tmp_path, there)
    assert names == ["sockets"]
    # arithmetic: two at 9; what is not there is ordered
    assert (listed.total, len(listed.missing)) == (18.0, 2)
    assert not any("transformer" in p.says for p in listed.missing)
