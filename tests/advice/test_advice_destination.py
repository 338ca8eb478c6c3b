"""The destination file: what is read, and what cannot be."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.destination import read_destination
from probe.advice.destination_template import TEMPLATE
from probe.advice.typed import typed_destination
from probe.errors import BadInput

RCA = '[[input]]\nconnector = "rca"\n'
XLR = '[[input]]\nconnector = "xlr"\nimpedance_is = "each-leg"\n'


def written(folder: Path, text: str, head: str = 'format = "probe-destination/1"\n') -> Path:
    path = folder / "amp.toml"
    path.write_text(head + text)
    return path


def test_template_reads_as_it_stands(tmp_path: Path) -> None:
    destination = read_destination(written(tmp_path, TEMPLATE, head=""))
    assert destination.inputs[0].connector == "rca"
    assert destination.inputs[0].impedance_ohm == 47000.0


def test_template_reads_with_every_line_uncommented(tmp_path: Path) -> None:
    lines = []
    for line in TEMPLATE.splitlines():
        bare = line.removeprefix("# ")
        lines.append(bare if " = " in bare or bare.startswith("[") else line)
    destination = read_destination(written(tmp_path, "\n".join(lines), head=""))
    assert [s.connector for s in destination.inputs] == ["rca", "xlr"]
    assert destination.inputs[1].maximum_per_leg_volts == 6.0
    assert destination.operating_volts == 4.0
    assert destination.inputs[0].ground.difference_volts == pytest.approx(0.020)


def test_units_become_si(tmp_path: Path) -> None:
    text = XLR + (
        "impedance_ohm = 20000\nimpedance_mismatch_percent = 2.0\nsensitivity_v = 1.5\n"
        "[cable]\nlength_m = 5.0\ncapacitance_pf_per_m = 80\nshield_milliohm_per_m = 20\n"
        "contact_milliohm = 30\n[ground]\nsource_nf = 4.7\n"
    )
    destination = read_destination(written(tmp_path, text))
    (socket,) = destination.inputs
    assert (socket.receiver, socket.impedance_ohm, socket.sensitivity_volts) == (
        "balanced",
        2e4,
        1.5,
    )
    assert socket.mismatch == pytest.approx(0.02)
    assert socket.ground.farad == pytest.approx(4.7e-9)
    cable = destination.cable
    assert cable.farad == pytest.approx(400e-12)
    assert (cable.shield_ohm, cable.contact_ohm) == pytest.approx((0.1, 0.03))


def test_each_input_may_have_its_own_ground_and_box(tmp_path: Path) -> None:
    text = (
        RCA + "[input.ground]\nsource_ohm = 50.0\n" + XLR + 'role = "subwoofer"\nbox = "left sub"\n'
    )
    first, second = read_destination(written(tmp_path, text)).inputs
    assert (first.ground.ohm, second.ground.ohm) == (50.0, None)
    assert (first.box, second.box) == ("amplifier", "left sub")


def test_two_leg_keys_that_say_nothing_are_let_pass_on_rca(tmp_path: Path) -> None:
    text = RCA + 'circuit = "unknown"\npin_3 = "input"\nboth_legs_required = false\n'
    assert read_destination(written(tmp_path, text)).inputs[0].connector == "rca"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "input"),
        ("input = []\n", "at least one"),
        ('[[input]]\nconnector = "rcaa"\n', 'did you mean "rca"'),
        ('[[input]]\nconnector = "xrl"\nimpedance_is = "each-leg"\n', 'did you mean "xlr"'),
        ("[[input]]\nimpedance_ohm = 47000.0\n", "connector"),
        (RCA + "impedance_ohm = -47.0\n", "1 or more"),
        (RCA + "impedance_ohm = 0\n", "1 or more"),
        (RCA + "impedance_ohm = nan\n", "finite"),
        (RCA + "impedance_ohm = inf\n", "finite"),
        (RCA + 'impedance_ohm = "47k"\n', "must be a number"),
        (RCA + "sensitivity_v = 0.0\n", "above 0"),
        (RCA + "maximum_v = -1.0\n", "above 0"),
        (RCA + "sensitivity_v = 2.0\nmaximum_v = 1.0\n", "below sensitivity_v"),
        (RCA + 'pin_3 = "ground"\n', "no pin 3"),
        (RCA + 'impedance_is = "between-legs"\n', "no pin 3"),
        (RCA + "both_legs_required = true\n", "no pin 3"),
        (RCA + "maximum_per_leg_v = 3.0\n", "no pin 3"),
        (RCA + 'receiver = "balanced"\n', "two contacts"),
        (RCA + "sensitivty_v = 1.0\n", 'did you mean "sensitivity_v"'),
        ('[[input]]\nconnector = "xlr"\nimpedance_ohm = 20000.0\n', "impedance_is is missing"),
        (XLR + 'receiver = "single-ended"\n', "pin_3"),
        (XLR + 'pin_3 = "open"\nboth_legs_required = true\n', "cannot be true"),
        (XLR + 'circuit = "differential"\n', "circuit"),
        (RCA + "[cable]\nlength_m = 0\n", "above 0"),
        (RCA + "[cable]\nlength_m = -1.0\n", "above 0"),
        (RCA + "[cable]\ncapacitance_pf_per_m = -1.0\n", "0 or more"),
        (RCA + "[ground]\nsource_ohm = 1.0\nsource_nf = 1.0\n", "not both"),
        (RCA + "[operating]\nlevel_v = 0\n", "above 0"),
        (RCA + "[operatng]\nlevel_v = 1.0\n", 'did you mean "operating"'),
        (RCA + "[need]\nwanted_gain_db = 100.0\n", "below 60"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(tmp_path: Path, text: str, expected: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_destination(written(tmp_path, text))
    message = str(caught.value)
    assert expected in message
    assert "amp.toml" in message
    assert "\n" not in message


def test_complaints_name_the_line(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="line 4"):
        read_destination(written(tmp_path, RCA + 'pin_3 = "ground"\n'))


def test_wrong_format_word(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="probe-destination/1"):
        read_destination(written(tmp_path, RCA, head='format = "probe-session/1"\n'))


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no such file"):
        read_destination(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("typed", "role"), [("sub", "subwoofer"), ("other", "other"), ("amplifier", "amplifier")]
)
def test_what_a_file_may_say_of_a_box_may_be_typed(typed: str, role: str) -> None:
    """Else a word of the template is refused on the command line."""
    (one,) = typed_destination(f"rca:47k:0.775V:{typed}", 50.0).inputs
    assert (one.role, one.box) == (role, role)
