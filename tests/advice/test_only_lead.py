"""A way that fails only by the capacitance of a usual lead is solved with one that does."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from probe.cli.main import main
from probe.report.leaflet import leaves_of

VALVE = """\
format = "probe-source/1"
single_ended_level_v = 1.0
single_ended_maximum_v = 20.0
single_ended_impedance_ohm = 2200.0
[device]
maker = "Ostrey"
model = "Triode"
kind = "valve preamplifier"
output = "line"
connectors = ["rca"]
minimum_load_ohm = 20000.0
"""

RCA = {"from": "rca-male", "to": "rca-male", "wires": ["centre-centre", "shell-shell"]}
LONG = ["rca:47k:1V", "--ground", "same-strip", "--cable", "22m"]

# closed form, used below: 2200 ohm and 20 % beside 47 kohm are 2500 ohm; a decibel is lost at
# 20 kHz where w R C = sqrt(10^0.1 - 1) = 0.509, with 1.62 nF: over 22 m 73.6 pF/m
MOST = 70


def lead(name: str, pf: float, price: float, metres: float = 22.0, stock: int = 6) -> str:
    whole = {"name": name, "kind": "lead", "stock": stock, "price": price, "length_m": metres,
             "capacitance_pf_per_m": pf, **RCA}  # fmt: skip
    return "[[part]]\n" + "\n".join(f"{k} = {json.dumps(v)}" for k, v in whole.items()) + "\n"


THIN, GOOD, FANCY = lead("thin", 350.0, 9.0), lead("good", 55.0, 38.0), lead("fancy", 150.0, 490.0)


@pytest.fixture
def ask(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    """Return the screen as one line, and the document."""

    def of(args: list[str], *leads: str, source: str = VALVE) -> tuple[str, dict[str, Any]]:
        paths = tmp_path / "source.toml", tmp_path / "shelf.toml"
        paths[0].write_text(source)
        paths[1].write_text('format = "probe-shelf/1"\n' + "".join(leads))
        line = ["advise", str(paths[0]), *args] + (["--shelf", str(paths[1])] if leads else [])
        assert main(line) == 0
        screen = " ".join(capsys.readouterr().out.split())
        assert main([*line, "--json"]) == 0
        return screen, json.loads(capsys.readouterr().out)

    return of


def only(document: dict[str, Any]) -> dict[str, Any]:
    (found,) = [o for o in document["options"] if o["id"] == "rca-to-rca"]
    return dict(found)


def test_a_lead_on_the_shelf_that_does_is_the_answer(ask: Any) -> None:
    """Lost: "use nothing yet" beside the lead, in stock, that works."""
    screen, document = ask(LONG, THIN, GOOD, FANCY)
    assert document["chosen"] == "rca-to-rca"
    # closed form: 55 pF/m are 1.21 nF; 10 log(1 + (w 2100 ohm 1.21 nF)^2) = 0.42 dB; of
    # 1703 ohm (20 % less) 0.28 dB, of 2500 ohm 0.586, less 0.002 at 1 kHz
    loss = only(document)["connection_loss_db"]["at_20_khz"]
    assert loss["value"] == pytest.approx(0.42, abs=0.02)
    assert "0.42 dB (0.28 to 0.58) lost at 20 kHz" in screen
    assert "Why only with such a lead as good: 22 m of 55 pF/m" in screen
    assert "From the shelf - 2 x good - 76.00 EUR for both sides" in screen
    (leaf,) = leaves_of(document)
    assert leaf.needs[0] == "2 x good"


def test_that_no_other_lead_does_stands_where_it_is_used(ask: Any) -> None:
    """Lost: the customer takes the next lead that is longer, or nicer, and half the treble."""
    screen, document = ask(LONG, THIN, GOOD, FANCY)
    says = f"only with a lead of at most {MOST} pF/m"
    assert f"mind: {says}" in screen
    assert any(h["code"] == "lead-only" for h in only(document)["hazards"])
    (leaf,) = leaves_of(document)
    assert says in repr(leaf).lower().replace("pf/m", "pF/m")


def test_one_that_is_not_there_is_to_be_ordered_and_one_in_stock_goes_first(ask: Any) -> None:
    """Lost: a sheet with "USE", a lead by its name, and nobody who says that it has to come."""
    away, there = lead("away", 55.0, 20.0, stock=0), lead("there", 60.0, 90.0)
    screen, document = ask(LONG, away)
    assert "Why only with such a lead as away (to be ordered): 22 m of 55 pF/m" in screen
    assert "From the shelf - order, 2 x away (none in stock) - 40.00 EUR" in screen
    (leaf,) = leaves_of(document)
    assert leaf.needs[0] == "Order, 2 x away (none in stock)"
    screen, _ = ask(LONG, away, there)
    assert "Why only with such a lead as there: 22 m of 60 pF/m" in screen
    assert "From the shelf - 2 x there -" in screen


def test_without_one_it_says_what_to_order(ask: Any) -> None:
    """Lost: "measuring would settle it", of what a lead that can be bought settles today."""
    for shelf in ((), (THIN, FANCY)):
        screen, document = ask(LONG, *shelf)
        assert document["chosen"] is None
        assert f"rca-to-rca works with a lead of 22 m that has at most {MOST} pF/m" in screen
        (told,) = [s for s in document["would_change"] if s["code"] == "better-lead"]
        assert told["answers"] == ["rca-to-rca"]
        (leaf,) = leaves_of(document)
        assert any(f"at most {MOST} pF/m" in text for text in leaf.why)
    assert f"at most {MOST} pF/m" in screen.partition("From the shelf")[2]


@pytest.mark.parametrize("pf", [70.0, 75.0])
def test_the_limit_is_solved_and_on_the_safe_side(ask: Any, pf: float) -> None:
    """Lost: a lead ordered by that figure, with which it is in doubt."""
    _, document = ask(LONG, lead("one", pf, 20.0))
    # closed form, above: 73.6
    assert document["chosen"] == ("rca-to-rca" if pf <= MOST else None)


def test_a_lead_that_is_too_short_is_none(ask: Any) -> None:
    """Lost: a lead of 10 m for 22."""
    _, document = ask(LONG, lead("short", 55.0, 20.0, metres=10.0))
    assert document["chosen"] is None


def test_a_longer_lead_is_solved_with_its_length(ask: Any) -> None:
    """Lost: 40 m of what does for 22."""
    # closed form, above: 1.62 nF are 40 m of 40.5 pF/m
    assert ask(LONG, lead("long", 55.0, 20.0, metres=40.0))[1]["chosen"] is None
    assert ask(LONG, lead("long", 35.0, 20.0, metres=40.0))[1]["chosen"] == "rca-to-rca"


@pytest.mark.parametrize(
    ("there", "cable"),
    [
        ("rca:600:1V", "60m"),  # the maker's 20 kohm against 600 ohm
        ("rca:47k:1V", "60m"),  # closed form, above: 27 pF/m, which no lead has
    ],
)
def test_where_no_lead_helps_none_is_to_be_ordered(ask: Any, there: str, cable: str) -> None:
    """Lost: a lead ordered that mends nothing, or is not to be had."""
    _, document = ask([there, "--ground", "same-strip", "--cable", cable])
    assert document["chosen"] is None
    assert not [s for s in document["would_change"] if s["code"] == "better-lead"]


def test_what_works_with_any_lead_is_not_asked_for_a_better_one(ask: Any) -> None:
    """Lost: a special lead for a run of a metre."""
    screen, document = ask(["rca:47k:1V", "--ground", "same-strip"], lead("one", 55.0, 20.0))
    assert document["chosen"] == "rca-to-rca"
    assert "pF/m" not in screen


def test_two_boxes_each_with_its_lead_are_solved_together(ask: Any) -> None:
    """Lost: two good leads, each solved beside a usual one."""
    boxes = ["rca:100k:1V", "rca:100k:1V", "--ground", "same-strip", "--cable", "22m"]
    source = VALVE.replace("20000.0", "10000.0").replace("2200.0", "1700.0")
    # closed form: 2040 ohm beside 100 kohm are 1999 ohm, of which 2.2 nF take 1.16 dB
    _, document = ask(boxes, lead("lean", 45.0, 38.0), source=source)
    options = document["sets"][0]["options"]
    assert len(options) == 2
    for option in options:
        # closed form: 1700 beside 50 kohm are 1644 ohm with 1.98 nF: 0.67 dB
        loss = option["connection_loss_db"]["at_20_khz"]["value"]
        assert loss == pytest.approx(0.67, abs=0.03)
        assert option["verdict"] == "works"
        assert any(h["code"] == "lead-only" for h in option["hazards"])


TWO = ["rca:100k:1V", "rca:47k:1V", "--ground", "same-strip"]


def test_what_two_leads_on_one_output_may_have_is_for_both_together(ask: Any) -> None:
    """Lost: a lead of 70 pF/m bought for each box, and 2 dB of treble with both plugged in."""
    free = VALVE.replace("minimum_load_ohm = 20000.0\n", "")
    screen, document = ask([*TWO, "--cable", "20m"], source=free)
    # closed form: 2640 ohm beside 100 and 47 kohm are 2440 ohm; two leads of 20 m may have 1.66 nF
    # together, 41.6 pF/m; by itself the box of 47 kohm could have 81, that of 100 kohm 78
    assert screen.count("works with a lead of 20 m that has at most 40 pF/m") == 2
    assert "by itself" not in screen
    sheets = [" ".join(leaf.why) + " ".join(leaf.asked) for leaf in leaves_of(document)]
    assert not any("75 pF/m" in text for text in sheets)


def test_no_lead_is_promised_for_both_where_none_does(ask: Any) -> None:
    free = VALVE.replace("minimum_load_ohm = 20000.0\n", "")
    screen, document = ask([*TWO, "--cable", "22m"], source=free)
    # closed form: the same 1.66 nF are 37.8 pF/m of 22 m each; no screened lead has less than 40
    assert screen.count("as long as no other box hangs on that output") == 2
    (leaf, *_) = leaves_of(document)
    assert "as long as no other box hangs on that output" in " ".join((*leaf.why, *leaf.needs))


def test_the_lead_of_the_shelf_says_what_both_may_have(ask: Any) -> None:
    free = VALVE.replace("minimum_load_ohm = 20000.0\n", "")
    good = lead("good", 38.0, 20.0, 20.0, 12)
    screen, _ = ask([*TWO, "--cable", "20m"], good, source=free)
    # closed form: as above, 41.6 pF/m
    assert screen.count("only with a lead of at most 40 pF/m") == 2
