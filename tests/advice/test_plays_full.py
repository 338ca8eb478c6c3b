"""A device that nothing turns down plays its amplifier to full output at once: said before."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

SHEET = """\
format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 4.0
single_ended_level_v = 2.0
differential_impedance_ohm = 100.0
single_ended_impedance_ohm = 50.0
[device]
maker = "Harrowgate"
model = "Wren"
output = "line"
connectors = ["xlr", "rca"]
kind = "DAC"
"""


def asked(folder: Path, to: str, more: str = "", sheet: str = SHEET) -> Advice:
    path = folder / "source.toml"
    path.write_text(sheet + more, "utf-8")
    return advise(*read_source(path), changed(typed_destination(to, 50.0), cable="1m"))


@pytest.mark.parametrize(
    ("more", "to", "says"),
    [
        ("volume_control = false\n", "xlr:20k/leg:1.2V", "Harrowgate Wren turns nothing down: "),
        ("", "xlr:20k/leg:1.2V", "See that Harrowgate Wren or what it feeds has a volume"),
        ("volume_control = true\n", "xlr:20k/leg:1.2V", ""),
        # 4 V into an input of which nobody says what it wants, one that wants 10 V, 8 dB more, and
        # one that wants 20 V, which is never loud
        ("volume_control = false\n", "xlr:20k/leg", "Harrowgate Wren turns nothing down: "),
        ("volume_control = false\n", "xlr:20k/leg:10V", "Harrowgate Wren turns nothing down: "),
        ("volume_control = false\n", "xlr:20k/leg:20V", ""),
    ],
)
@pytest.mark.long
def test_what_nothing_turns_down_is_said_before_it_plays(
    tmp_path: Path, more: str, to: str, says: str
) -> None:
    """Lost: "use an XLR lead", of 4 V into a power amplifier that wants 1.2 V: full at once."""
    advice = asked(tmp_path, to, more)
    told = [c.message for c in advice.cautions if c.code == "plays-full"]
    assert [t[: len(says)] for t in told] == ([says] if says else [])
    if not says:
        return
    screen = " ".join(render(advice).split())
    assert told[0] in screen
    (leaf,) = leaves_of(advice.to_json())
    assert told[0] in leaf.before


def test_a_plain_lead_that_is_ruled_out_is_never_to_be_used(tmp_path: Path) -> None:
    """Lost: the lead everybody would try stands in the small print, as "never"."""
    advice = asked(tmp_path, "xlr:20k/leg:1.2V:pin-3-ground")
    (plain,) = [o for o in advice.options if o.option.id == "xlr-to-xlr"]
    assert plain.verdict == "never"
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.never[0].startswith("Never plug a plain XLR lead in here: joining pin 3 would")


LOSES = """\
format = "probe-source/1"
single_ended_level_v = 2.0
single_ended_impedance_ohm = {ohm}
[device]
output = "line"
connectors = ["rca"]
kind = "player"
"""


@pytest.mark.parametrize("ohm", [3000.0, 14000.0])
def test_more_loss_is_no_milder_a_verdict(tmp_path: Path, ohm: float) -> None:
    """Lost: 2.4 dB of treble is "avoid", and 9 dB, beside the limit of 10, "cannot tell"."""
    path = tmp_path / "source.toml"
    path.write_text(LOSES.format(ohm=ohm), "utf-8")
    there = changed(typed_destination("rca:100k:0.5V", 50.0), cable="20m")
    (side,) = [o for o in advise(*read_source(path), there).options if o.option.native]
    lost = side.figures.connection_loss_anywhere
    assert lost is not None
    # closed form: 20 log sqrt(1 + (2 pi 20 kHz R C)^2), C 2 nF, R beside 100 kohm: 1.9, 10.3 dB
    assert (lost.low > 1.0, lost.low < 10.0 < lost.high) == (True, ohm > 3000.0)
    # the rule: more than 1 dB lost is avoided, be it ten or nine
    assert side.verdict == "avoid"
