"""What has nothing to do with an answer changes nothing of it; more hum makes no way work."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest

from probe.cli.main import main

SHELF = """
format = "probe-shelf/1"
currency = "EUR"
"""

LEAD = """
[[part]]
name = "{name}"
kind = "lead"
from = "{end}"
to = "{far}"
wires = {wires}
price = {price}
stock = 9
length_m = {metres}
"""

RCA = {"end": "rca-male", "far": "rca-male", "wires": '["centre-centre", "shell-shell"]'}
XLR = {"end": "xlr-female", "far": "xlr-male", "wires": '["1-1", "2-2", "3-3"]'}
OF_USE = [{**RCA, "name": "Phono 2 m", "price": 9, "metres": 2.0},
          {**XLR, "name": "Mike 2 m", "price": 20, "metres": 2.0}]  # fmt: skip
TOO_LONG = [{**RCA, "name": "Phono 40 m", "price": 90, "metres": 40.0},
            {**XLR, "name": "Mike 40 m", "price": 200, "metres": 40.0}]  # fmt: skip


def device(folder: Path, rng: random.Random) -> list[str]:
    """Write a device; return the arguments for it and two or three boxes without their ground."""
    volts = rng.choice([1.0, 2.0, 4.0])
    kind = rng.choice(["differential", "transformer-coupled", "electronically-floating"])
    least = rng.choice(["", "minimum_load_ohm = 2000\n"])
    path = folder / "device.toml"
    path.write_text(
        f'format = "probe-source/1"\nkinds = ["{kind}"]\ndifferential_level_v = {volts}\n'
        "differential_impedance_ohm = 100\nseparate_outputs = true\n"
        f"single_ended_level_v = {volts / 2.0}\nsingle_ended_impedance_ohm = 100\n"
        '[device]\nmaker = "Wexcombe"\nmodel = "Ockley"\noutput = "line"\n'
        f'connectors = ["xlr", "rca"]\nkind = "preamplifier"\n{least}',
        "utf-8",
    )
    boxes: list[str] = []
    while len(boxes) < 2:
        ohm, needs = rng.choice([600, 2000, 10000, 47000]), rng.choice([0.2, 0.5, 1.0])
        typed = rng.choice([f"rca:{ohm}:{needs}V", f"xlr:{ohm}/leg:{needs}V:buffered"])
        if typed not in boxes:
            boxes.append(typed)
    return [str(path), *boxes]


def asked(args: list[str], capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """Return the JSON of an answer."""
    assert main(["advise", *args, "--cable", "1m", "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def by_box(found: dict[str, Any]) -> dict[str, Any]:
    """Return what is used for each box, what every way of it is, and what the set makes of it."""
    told = {}
    for choice in found["choices"]:
        box = choice["destination"]
        ways = [o for o in found["options"] if o["destination"] == box]
        held = [o for one in found["sets"][:1] for o in one["options"] if o["destination"] == box]
        told[box] = choice["option"], *(
            sorted((o["id"], o["side"], o["verdict"], json.dumps(o.get("full_output_margin_db")))
                   for o in some) for some in (ways, held)
        )  # fmt: skip
    return told


def bought(found: dict[str, Any]) -> tuple[dict[str, int], float]:
    """Return how many of each part are on all lists together, and what they cost."""
    parts: dict[str, int] = {}
    for entry in found["shelf"]:
        for part in entry["parts"]:
            parts[part["name"]] = parts.get(part["name"], 0) + part["packages"]
    return parts, sum(entry["total"] or 0.0 for entry in found["shelf"])


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.long
def test_order_and_what_is_of_no_use_change_nothing(
    seed: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: another answer for the same boxes, by what else lies there or how they are typed."""
    path, *boxes = device(tmp_path, random.Random(seed))
    plain, more = tmp_path / "shelf.toml", tmp_path / "more.toml"
    plain.write_text(SHELF + "".join(LEAD.format(**p) for p in OF_USE), "utf-8")
    more.write_text(SHELF + "".join(LEAD.format(**p) for p in OF_USE + TOO_LONG), "utf-8")
    first = asked([path, *boxes, "--ground", "same-strip", "--shelf", str(plain)], capsys)
    # by definition: 40 m lie coiled up where 1 m is asked for, with one of 2 m there
    with_more = asked([path, *boxes, "--ground", "same-strip", "--shelf", str(more)], capsys)
    # by definition: the same boxes
    turned = asked([path, *boxes[::-1], "--ground", "same-strip", "--shelf", str(plain)], capsys)
    for other in (with_more, turned):
        assert by_box(other) == by_box(first)
        assert bought(other) == bought(first)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.long
def test_more_between_the_chassis_makes_no_way_work(
    seed: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: a way refused for its hum, and used where there is more of it."""
    args = device(tmp_path, random.Random(100 + seed))
    before: dict[tuple[str, ...], tuple[bool, float | None]] = {}
    for volts in (0.1, 3, 30, 300, 3000):
        found = asked([*args, "--ground", f"{volts}mV/1ohm"], capsys)
        for o in found["options"]:
            key = o["destination"], o["id"], o["side"]
            works, hum = o["verdict"] in ("use", "works"), o.get("hum_below_full_output_db")
            low = None if hum is None else hum.get("low", hum.get("value"))
            was_working, had = before.get(key, (True, None))
            # by definition: hum is in proportion to the difference
            assert was_working or not works, key
            assert low is None or had is None or low <= had + 0.01, key
            before[key] = works, low
