"""Figures as people type them, and files that are something else."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.typed import changed, typed_destination
from probe.bench.planned.able import Known, Setting, step_for
from probe.bench.planned.cautions import before
from probe.bench.planned.kit import usual
from probe.bench.planned.steps import Step
from probe.errors import BadInput
from probe.facts import analyse_session
from probe.figures.plot import Plot
from probe.figures.write import _with_origin
from probe.formats.quantity import typed_quantity
from probe.session.model import Device
from probe.simulate.build import read_stage


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        # SI prefixes: 1 mV = 1e-3 V, 1 uV = 1e-6 V, 1 kohm = 1000 ohm
        ("12 mV", "V", 0.012),
        ("-3,5mV", "V", -0.0035),
        ("40 uV", "V", 4e-5),
        ("1.2 V", "V", 1.2),
        ("0.004", "V", 0.004),
        ("1e-3", "V", 1e-3),
        ("10k", "ohm", 1e4),
        ("604 ohm", "ohm", 604.0),
        ("0,002", "V", 0.002),
        ("1,5", "V", 1.5),
        # a kilovolt or a volt: the same figure on meters of two countries
        ("1,000", "V", None),
        ("-1,000 mV", "V", None),
        ("12 mA", "V", None),
        # 1 Mohm = 1e6 ohm, 1 nF = 1e-9 F, 1 uA = 1e-6 A; what has no prefixes here has its own unit
        ("1.5M", "ohm", 1.5e6),
        ("4,7k\u03a9", "ohm", 4700.0),
        ("\u22120.5 \u00b5V", "V", -5e-7),
        (".5V", "V", 0.5),
        ("2nF", "F", 2e-9),
        ("100uA", "A", 1e-4),
        ("5m", "m", 5.0),
        ("-3 dB", "dB", -3.0),
        # the same ten digits, as wide keyboards type them (Unicode U+FF10 to U+FF19)
        ("\uff14\uff17k", "ohm", 4.7e4),
        # 4 of another script: of some the glyph is another figure's here
        ("\u0664k", "ohm", None),
        ("5 dB", "m", None),
        ("12 ohm", "V", None),
        ("twelve", "V", None),
        ("nan", "V", None),
        # definitions: 0 dBV is 1 V, 0 dBu is sqrt(0.6) V, 0.77460 V; -20 dB are a tenth
        ("-20dBV", "V", 0.1),
        ("+4 dBu", "V", 0.6**0.5 * 10**0.2),
        ("-10dbv", "V", 10**-0.5),
        ("4dBm", "V", None),
        ("9999dBV", "V", None),
        ("4dBu", "ohm", None),
        ("1.2.3", "V", None),
    ],
)
def test_units_of_a_typed_figure(typed: str, unit: str, value: float | None) -> None:
    found = typed_quantity(typed, unit)
    said = None if found is None else found.value
    assert said == (None if value is None else pytest.approx(value, rel=1e-12))


@pytest.mark.parametrize(("typed", "unit"), [("1.5", "V"), ("20", "A"), ("2", "F")])
def test_a_number_alone_is_none_where_its_unit_is_wanted(typed: str, unit: str) -> None:
    assert typed_quantity(typed, unit, bare=False) is None
    assert typed_quantity(typed, unit) is not None


def test_the_advice_reads_figures_as_the_guided_run_does() -> None:
    found = typed_destination("xlr:20,5k\u03a9/leg:1,5 V:max=6000mV", 50.0)
    # SI prefixes, decimal commas
    assert found.inputs[0].impedance_ohm == pytest.approx(20500.0)
    assert found.inputs[0].sensitivity_volts == pytest.approx(1.5)
    assert found.inputs[0].maximum_volts == pytest.approx(6.0)
    with pytest.raises(BadInput, match="neither an impedance nor a level"):
        typed_destination("xlr:1,000/leg:2V", 50.0)
    assert changed(found, level="800mV").operating_volts == pytest.approx(0.8)
    # definition of dBu; a plus before a figure is its sign, and joins inputs elsewhere
    two = typed_destination("rca:47k:+4dBu+xlr:20k/leg:-10dBV", 50.0)
    assert [s.sensitivity_volts for s in two.inputs] == [
        pytest.approx(0.6**0.5 * 10**0.2), pytest.approx(10**-0.5)]  # fmt: skip
    with pytest.raises(BadInput, match="write -20dBV"):
        typed_destination("rca:47k:-20", 50.0)


def test_a_picture_or_a_page_is_no_session(tmp_path: Path) -> None:
    for name, content in (("a.png", b"\x89PNG\r\n\0"), ("README.md", b"# probe\n")):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(BadInput, match="is no session: give the folder"):
            analyse_session(tmp_path / name)
    with pytest.raises(BadInput, match="probe draft FOLDER"):
        analyse_session(tmp_path)


def test_a_circuits_name_is_no_stage_file() -> None:
    with pytest.raises(BadInput, match=r"is a circuit; probe simulate --list"):
        read_stage(Path("cross-coupled"))
    with pytest.raises(BadInput, match=r"probe simulate --list"):
        read_stage(Path("nonsense-nonsense"))


def test_caption_and_picture_tell_an_invented_device_and_its_fault() -> None:
    facts = {
        "made": {"bench": {"interface": "simulated recorder"}},
        "sides": {"left": {"stage": {"faults": ["coupling-capacitor-cold"]}}},
    }
    told = _with_origin(Plot("levels", "left", "Levels", "Levels."), facts)
    assert told.foot == "Simulated"
    assert told.caption.startswith(
        "Levels. Found: dried coupling capacitor on the cold leg. Simulated: "
    )
    real = _with_origin(Plot("levels", "left", "Levels", "Levels."), {"sides": {}})
    assert (real.foot, real.caption) == ("", "Levels.")


def test_one_limit_only_for_tones_into_a_device_that_is_off() -> None:
    step = step_for("inject-cold-off", Setting(Device("a", "b"), usual(), "left"), Known())
    assert isinstance(step, Step)
    said = " ".join(c.text for c in before(step))
    # source: docs/bench.md, 50 mV peak into a device that is off
    assert "50 mV" in said
    assert "1.4 V" not in said
    assert "10 kohm or more" in said


def test_a_bare_figure_that_may_be_a_level_is_not_told_to_be_ohms_alone() -> None:
    # common practice, no source: inputs want 0.1 to 3 V for full output, and are 600 ohm or more
    with pytest.raises(BadInput, match=r"full output is written 0\.1V"):
        typed_destination("rca:47k:0.1", 50.0)
    with pytest.raises(BadInput, match="write 47k, or 47ohm"):
        typed_destination("rca:47", 50.0)
