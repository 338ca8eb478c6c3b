"""Transformer files: the library, the template, complaints, and what they do to the advice."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import Destination, Input, read_destination
from probe.advice.network import TwoPort
from probe.advice.padded import thermal_volts
from probe.advice.parts import ISOLATING_TRANSFORMER
from probe.advice.transformers import TEMPLATE, find_transformer, library, listed, read_transformer
from probe.cli.main import main
from probe.errors import BadInput
from tests.advice.stages import facts, symmetrical

RCA = Input("rca", "rca", "single-ended", 47e3)


def of(part: TwoPort, volts: float = 3.0) -> set[str]:
    destination = Destination("amp", (RCA,), transformer=part, operating_volts=volts)
    advice = advise(facts(), {"left": symmetrical()}, destination)
    (found,) = [o for o in advice.options if o.option.id == "xlr-to-rca/transformer"]
    return {h.code for h in found.hazards}


def test_saturation_follows_the_part() -> None:
    # closed form: 3 V at 20 Hz is above the 0.7 V of the one and below the 12 V of the other
    assert "saturation" in of(find_transformer("sorrel"))
    assert "saturation" not in of(find_transformer("larch"))


def test_a_step_up_steps_up() -> None:
    levels = []
    for name in ("alder", "teasel"):
        destination = Destination("amp", (RCA,), transformer=find_transformer(name))
        advice = advise(facts(), {"left": symmetrical()}, destination)
        (found,) = [o for o in advice.options if o.option.id == "xlr-to-rca/transformer"]
        assert found.figures.level is not None
        levels.append(found.figures.level.value)
    # closed form: twice, less what windings (1:2, so times four) and core take: a few percent
    assert levels[1] / levels[0] == pytest.approx(2.0, rel=0.05)


def test_every_part_of_the_library_reads() -> None:
    assert len(library()) >= 5
    parts = [read_transformer(path) for path in library().values()]
    assert len({p.name for p in parts}) == len(parts)
    assert len(listed().splitlines()) == len(parts)


def test_ordinary_part_is_the_assumed_one() -> None:
    alder = find_transformer("alder")
    assert {**vars(alder), "name": ""} == vars(ISOLATING_TRANSFORMER)


def test_template_reads(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(TEMPLATE)
    assert read_transformer(path).volts_at_20_hz == 5.0
    (tmp_path / "amp.toml").write_text(
        'format = "probe-destination/1"\n[[input]]\nconnector = "rca"\n'
        '[parts]\ntransformer = "mine.toml"\n'
    )
    assert read_destination(tmp_path / "amp.toml").transformer.name == "my line isolator"


@pytest.mark.parametrize(
    ("named", "expected"),
    [("aldr", 'did you mean "alder"'), ("zzz", "there are alder"), ("none.toml", "no such file")],
)
def test_complaints(named: str, expected: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=expected):
        find_transformer(named, tmp_path)


def test_bad_figures_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(TEMPLATE.replace("magnetising_henry = 15.0", "magnetising_henry = -1.0"))
    with pytest.raises(BadInput, match="magnetising_henry"):
        read_transformer(path)


def test_thermal_noise() -> None:
    # published: 1 kohm, 20 kHz, 300 K give 0.5756 uV (4kTRB); here 19.98 kHz
    assert thermal_volts(1000.0) == pytest.approx(0.5756e-6 * (19980 / 20000) ** 0.5, rel=1e-3)


def test_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["shelf", "--transformers"]) == 0
    assert capsys.readouterr().out == listed()
    assert main(["shelf", "--transformer-template"]) == 0
    assert capsys.readouterr().out == TEMPLATE


def test_a_core_is_not_called_too_small_by_a_hair() -> None:
    """The same healthy output had the hazard on one side and not on the other, for 0.1 %."""
    small = find_transformer("sorrel")
    destination = Destination("amp", (RCA,), transformer=small, operating_volts=1.0)
    advice = advise(facts(), {"left": symmetrical()}, destination)
    (found,) = [o for o in advice.options if o.option.id == "xlr-to-rca/transformer"]
    core = found.figures.core_20_hz_at_maximum
    assert core is not None
    full = small.volts_at_20_hz / core.value  # what brings 0.7 V at 20 Hz onto the core
    # common practice, no source: data sheets round to 5 %; 4 % more is that, 10 % more is not
    assert "saturation" not in of(small, volts=1.04 * full)
    assert "saturation" in of(small, volts=1.1 * full)
