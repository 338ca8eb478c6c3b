"""What the lists of several boxes come to says what is paid if the leads that are tried do."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.cli.main import main
from tests.advice.shelves import DATA, HEAD, STRAIGHT, THROUGH, pad, part

DEVICE = '[device]\nmaker = "Quell"\nmodel = "Larder"\noutput = "line"\n'

PLAYER = f"""
format = "probe-source/1"
single_ended_level_v = 2.0
single_ended_impedance_ohm = 200.0
{DEVICE}
kind = "CD player"
connectors = ["rca"]
"""

BALANCED = f"""
format = "probe-source/1"
kinds = ["balanced"]
differential_level_v = 4.0
single_ended_level_v = 4.0
differential_impedance_ohm = 300.0
single_ended_impedance_ohm = 150.0
{DEVICE}
kind = "preamplifier"
connectors = ["xlr", "rca"]
"""


SHELF = HEAD + "".join((
    part("pair", "lead", "rca-male rca-male", 28.0,
         f"{THROUGH}\npieces = 2\nlength_m = 3.0\n{DATA}"),
    part("long", "lead", "rca-male rca-male", 27.0, f"{THROUGH}\nlength_m = 7.0\n{DATA}"),
    pad("pad", 6.0, 15.0),
    part("Y", "splitter", "rca-male rca-female", 9.0, THROUGH),
    part("XLR lead", "lead", "xlr-female xlr-male", 36.0, f"{STRAIGHT}\nlength_m = 7.5"),
    part("to XLR", "lead", "rca-male xlr-male", 46.0,
         'wires = ["centre-2", "shell-1", "shell-3"]\nlength_m = 8.0'),
))  # fmt: skip


def listed(folder: Path, capsys: pytest.CaptureFixture[str], source: str, *args: str) -> str:
    """Return the screen's list as one line."""
    paths = folder / "source.toml", folder / "shelf.toml"
    paths[0].write_text(source, "utf-8")
    paths[1].write_text(SHELF, "utf-8")
    assert main(["advise", str(paths[0]), *args, "--shelf", str(paths[1])]) == 0
    return " ".join(capsys.readouterr().out.partition("From the shelf")[2].split())


def test_the_sum_says_that_it_has_the_leads_that_were_tried(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: a customer adds the leads to a sum that has them, and pays for them twice."""
    # closed form: 0.2 mV * 90 / 290 mohm, of the leads that are there, are 74.5 dB below 0.33 V
    said = listed(tmp_path, capsys, PLAYER, "rca:33k:0.33V", "rca:15k:0.3V:sub",
                  "--ground", "same-strip", "--cable", "3m")  # fmt: skip
    assert "rca:33k:0.33V: first: 1 x pair" in said
    assert "rca:15k:0.3V:sub: first: 1 x pair" in said
    # arithmetic: two packages of 28, a splitter of 9; with it two pads and one of 15
    assert "all in all 65.00 EUR for 2 boxes with what shares an output if what is tried" in said
    whole = said.partition("if none of it does, ")[2]
    assert whole.startswith("110.00 EUR for 2 boxes with what shares an output, what was tried inc")
    assert "not counted" not in said


@pytest.mark.long
def test_the_sum_says_which_leads_that_were_tried_it_has_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: "not counted" of two leads of which one is, or a splitter that nothing needs yet."""
    said = listed(tmp_path, capsys, BALANCED, "xlr:20k/leg:2V", "rca:20k:0.5V:sub",
                  "--ground", "same-strip", "--cable", "7m")  # fmt: skip
    assert "xlr:20k/leg:2V: first: 2 x XLR lead, 72.00 EUR" in said
    assert "rca:20k:0.5V:sub: first: 1 x long, 27.00 EUR" in said
    # arithmetic: 72 and 27; then 2 x 46, 27 + 15 and 9, without the 72
    assert "all in all 99.00 EUR for 2 boxes if what is tried first does; " in said
    whole = said.partition("if none of it does, ")[2]
    assert whole.startswith("143.00 EUR for 2 boxes with what shares an output, besides 72.00 EUR ")


TUNER = f"""
format = "probe-source/1"
single_ended_level_v = 1.0
single_ended_impedance_ohm = 2200.0
{DEVICE}
kind = "tuner"
connectors = ["rca"]
"""


def test_two_boxes_that_are_tried_on_one_socket_pair_have_splitters(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: a dealer buys two pairs of leads for one pair of sockets, and learns no sum."""
    args = ("rca:47k:0.5V", "rca:20k:0.5V", "--ground", "antenna-or-network", "--cable", "1m")
    page = tmp_path / "page.html"
    said = listed(tmp_path, capsys, TUNER, *args, "--page", str(page))
    assert said.count("first, for what is done first (above): 1 x pair") == 2
    assert "sharing the RCA output: only where several leads hang on it" in said
    assert "2 x Y; 18.00 EUR for the splitters" in said
    # arithmetic: two packages of 28, a splitter of 9 for either side
    whole = said.partition("all in all ")[2]
    assert whole.startswith("74.00 EUR for 2 boxes with what shares an output, without what may be")
    assert ", if what is tried first does; if none of it does, 74.00 EUR for 2 boxes" in whole
    # two transformers for each box, of which there is none on this shelf
    assert "without 4 pieces to be ordered, whose price is not known" in whole
    sheets = page.read_text("utf-8")
    # each of both sheets has them
    for told in ("Several leads may come to hang on the RCA output", "2 x Y; 18.00 EUR",
                 "All in all: 74.00 EUR"):  # fmt: skip
        assert sheets.count(told) == 2


@pytest.mark.long
def test_what_is_asked_of_two_boxes_has_a_sum_for_each_answer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: what the questions are worth, and that both leads need a splitter whatever it is."""
    source = f"""
format = "probe-source/1"
kinds = ["balanced"]
differential_level_v = 4.0
differential_impedance_ohm = 200.0
{DEVICE}
kind = "DAC"
connectors = ["xlr"]
"""
    page = tmp_path / "page.html"
    said = listed(tmp_path, capsys, source, "rca:47k:1V", "rca:15k:0.4V:sub",
                  "--ground", "same-strip", "--cable", "3m", "--page", str(page))  # fmt: skip
    assert said.count("first ask (above), and if so, or if it is for certain ") == 2
    # nothing on this shelf splits an XLR output: leads of two and of one, on one pair of sockets
    assert "order, 1 x: splitter, one to two, XLR female to XLR male" in said
    whole = said.partition("all in all ")[2]
    assert whole.startswith("nothing of it is on the shelf: ")
    assert "to be ordered, whose price is not known, if what is asked first is so; " in whole
    assert "without such an answer, nothing is used yet" in whole
    assert page.read_text("utf-8").count("All in all: ") == 2
