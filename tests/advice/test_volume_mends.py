"""What a device's own volume mends decides between no two ways, least of all for a part to buy.

Who loses where these fail: a customer who is sold an isolator that overloads his input itself, a
fraction of a decibel less than the lead; or adapters in place of the lead his sockets are made for.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination

OUTPUT = """format = "probe-source/1"
{levels}
[device]
kind = "{kind}"
output = "line"
connectors = [{connectors}]
minimum_load_ohm = 600
"""


def ask(folder: Path, levels: str, to: str, kind: str = "preamplifier", **more: str) -> Advice:
    path = folder / "source.toml"
    both = ", ".join(f'"{c}"' for c in ("rca", "xlr") if (c == "rca") or "differential" in levels)
    path.write_text(OUTPUT.format(levels=levels, kind=kind, connectors=both), "utf-8")
    there = changed(typed_destination(to, 50.0), **({"ground": "same-strip", "cable": "1m"} | more))
    return advise(*read_source(path), there)


@pytest.mark.parametrize("ohm", [50, 200, 300, 400, 500, 600, 1000])
@pytest.mark.long
def test_no_isolator_comes_and_goes_with_the_impedance(tmp_path: Path, ohm: int) -> None:
    # closed form: 4 V x 2000 / (2000 + ohm) are 3.9 to 2.7 V into 3 V: 2.3 dB too much to 1.0 dB
    # below, with the 5 % of a sheet 2.7 to -0.5 dB: the same lead, with the volume down so far
    levels = f"single_ended_level_v = 4.0\nsingle_ended_impedance_ohm = {ohm}.0"
    (choice,) = ask(tmp_path, levels, "xlr:2k/between:1.5V:max=3V").choices
    assert choice.option == "rca-to-xlr/pin-3-tied-at-source"
    assert not choice.attenuator


PAIR = """kinds = ["differential"]
single_ended_level_v = 2.5
single_ended_impedance_ohm = 75.0
differential_level_v = 5.0
differential_impedance_ohm = 150.0"""


@pytest.mark.parametrize(
    # closed form: 5.25 V x 20 / 20.15 are 5.21 V: 20 log(5.21 / 4) = 2.3 dB, of 4.6 V 1.1 dB
    ("most", "down"), [("4V", 2.3), ("4.6V", 1.1)],
)  # fmt: skip
@pytest.mark.long
def test_the_lead_between_like_sockets_is_used_with_the_volume_down(
    tmp_path: Path, most: str, down: float
) -> None:
    advice = ask(tmp_path, PAIR, f"xlr:10k/leg:0.5V:max={most}")
    assert advice.choices[0].option == "xlr-to-xlr"
    (used,) = [o for o in advice.options if o.verdict == "use"]
    assert used.turn_down_db == pytest.approx(down, abs=0.1)


def test_what_surely_comes_is_not_left_to_a_volume_control(tmp_path: Path) -> None:
    # closed form: the 5.25 V of a player are 2.3 dB more than 4 V, and nothing turns them down
    (choice,) = ask(tmp_path, PAIR, "xlr:10k/leg:0.5V:max=4V", "CD player").choices
    assert choice.option is not None
    assert choice.attenuator or choice.option.startswith("rca-to-xlr")
