"""An attenuator in stock that quiets the hum as well, beside an isolator that costs more."""

from __future__ import annotations

import html
import json
import re
from pathlib import Path
from typing import Any

import pytest

from probe.cli.main import main

PLAYER = """\
format = "probe-source/1"
device = { maker = "Ostrey", model = "Quill", connectors = ["rca"], output = "line" }
single_ended_level_v = 2.2
single_ended_impedance_ohm = 100
"""

HORNS = "rca:47k:0.4V:speaker=104dB"
"""Loudspeakers of which hum has to lie 91 dB below full output in place of 75."""

RCA = {"from": "rca-male", "to": "rca-male", "wires": ["centre-centre", "shell-shell"]}
THROUGH = {"from": "rca-female", "to": "rca-female"}
PAD = {"kind": "attenuator", "from": "rca-female", "to": "rca-male", "attenuation_db": 12.0}


def part(**keys: Any) -> str:
    whole = {"stock": 4, **keys}
    return "[[part]]\n" + "\n".join(f"{k} = {json.dumps(v)}" for k, v in whole.items()) + "\n"


def shelf(*, pads: int = 4, pad_price: float = 15.0) -> str:
    return (
        'format = "probe-shelf/1"\ncurrency = "EUR"\n'
        + part(name="pair", kind="lead", price=17.0, length_m=1.0, pieces=2, stock=8, **RCA)
        + part(name="short pair", kind="lead", price=12.0, length_m=0.5, pieces=2, stock=8, **RCA)
        + part(name="isolator", kind="transformer", price=68.0, transformer="alder", **THROUGH)
        + part(name="pad", price=pad_price, **{**PAD, "stock": pads})
    )


@pytest.fixture
def listed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    """Return the lists of the shelf by box, the screen's text of them, and the sheet's."""

    def of(*boxes: str, source: str = PLAYER, **stock: Any) -> tuple[list[Any], str, str]:
        paths = [tmp_path / name for name in ("source.toml", "shelf.toml", "page.html")]
        paths[0].write_text(source)
        paths[1].write_text(shelf(**stock))
        asked = ["advise", str(paths[0]), *boxes, "--ground", "same-strip", "--cable", "1m"]
        asked += ["--shelf", str(paths[1])]
        assert main([*asked, "--page", str(paths[2])]) == 0
        screen = " ".join(capsys.readouterr().out.split())
        assert main([*asked, "--json"]) == 0
        found = json.loads(capsys.readouterr().out)
        return found["shelf"], screen, html.unescape(re.sub(r"<[^>]+>", " ", paths[2].read_text()))

    return of


def test_an_attenuator_in_stock_is_named_beside_dearer_isolators(listed: Any) -> None:
    """Lost: 165 EUR of isolators, where 47 EUR from the same shelf make it quiet, too."""
    (basket,), screen, sheet = listed(HORNS)
    assert basket["option"] == "rca-to-rca/transformer"
    offer = basket["pad_instead"]
    assert offer["option"] == "rca-to-rca"
    # the pair, and two attenuators; the pair, two isolators, and the short pair
    assert (offer["total"], basket["total"]) == (17.0 + 2 * 15.0, 17.0 + 2 * 68.0 + 12.0)
    # closed form: 0.2 mV behind 0.2 ohm across 50 mohm of shield and contacts is 40 uV, 80.0 dB
    # below 0.4 V; behind 12 dB the hum falls with the signal, and the full output is as it was
    assert "hum 92.0 dB below full output" in offer["says"]
    # closed form: 20 log(2.2 V * 47/47.1 / 0.4 V) = 14.8 dB, less 5 % of a typed level (0.45 dB),
    # 12 dB, and what resistors of 1 % are off (up to 0.2 dB)
    assert "only 2.2 dB in hand" in offer["says"]
    for said in (basket["says"], basket["says_plain"]):
        assert offer["says"] in said
    assert offer["says"] in screen
    for told in ("in place of the isolating transformer", "2 x pad", "2.2 dB in hand"):
        assert told in sheet


def test_none_is_named_that_costs_full_output(listed: Any) -> None:
    """Lost: the last of the volume, where the sheet says that the attenuator does."""
    # closed form: 20 log(2.2/0.6) = 11.3 dB are to spare, and 12 would be taken off
    (basket,), _, _ = listed("rca:47k:0.6V:speaker=106dB")
    assert basket["option"] == "rca-to-rca/transformer"
    assert basket["pad_instead"] is None


def test_none_is_named_that_spares_nothing(listed: Any) -> None:
    """Lost: level in hand, for more money than what is chosen."""
    (basket,), _, _ = listed(HORNS, pad_price=80.0)
    assert basket["pad_instead"] is None


def test_none_is_named_that_is_not_there(listed: Any) -> None:
    """Lost: a second journey; one side of two is quiet."""
    (basket,), _, _ = listed(HORNS, pads=1)
    assert basket["pad_instead"] is None


def test_what_two_boxes_are_offered_is_there_for_both(listed: Any) -> None:
    """Lost: two boxes are each told of the same two attenuators."""
    for pads, named in ((4, 2), (2, 1)):
        baskets, _, _ = listed(HORNS, "rca:46k:0.4V:speaker=104dB", pads=pads)
        assert sum(b.get("pad_instead") is not None for b in baskets if b["option"]) == named
