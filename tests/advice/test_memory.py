"""What was solved before is found again, and never in place of something else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from probe.advice.advise import ask_together
from probe.advice.attenuator import Pad
from probe.advice.compiled import Judge
from probe.advice.completed import completions
from probe.advice.desk import Desk
from probe.advice.destination import Destination, together
from probe.advice.memory import MOST_KEPT, Memories, content
from probe.advice.operating import BY_ID
from probe.advice.padded import padded
from probe.advice.sampled import sample
from probe.advice.source_file import read_source, restated
from probe.advice.subject import device_of, side_of
from probe.advice.typed import changed, typed_destination
from tests.advice.stages import source as one_source

SHEET = """\
format = "probe-source/1"
kinds = ["differential", "impedance-balanced"]
differential_level_v = 4.0
differential_impedance_ohm = 200.0
single_ended_level_v = 2.0
single_ended_impedance_ohm = 100.0
[device]
maker = "Harrowgate"
model = "Siskin"
connectors = ["xlr", "rca"]
"""


def _read(folder: Path) -> tuple[Mapping[str, Any], Mapping[str, Any]]:
    path = folder / "source.toml"
    path.write_text(SHEET)
    return read_source(path)


def _boxes(*named: str, ground: str = "same-strip") -> Destination:
    return together([changed(typed_destination(n, 50.0), ground=ground) for n in named])


@pytest.mark.long
def test_an_answer_does_not_hang_on_what_was_asked_before(tmp_path: Path) -> None:
    """Else who states a volume control, or asks for another ground, gets the figures of before."""
    facts, sources = _read(tmp_path)
    boxes = ("xlr:20k/leg:1V", "rca:20k:0.5V")
    kept = Memories()
    for has in (False, True):
        said = {**facts, "device": {**facts["device"], "volume_control": has}}
        louder = {**said, "device": {**said["device"], "full_output_volts": 8.0}}
        for there in (_boxes(*boxes), _boxes(*boxes, ground="two-rooms")):
            for document in (said, louder):
                # the same question with nothing remembered
                fresh = ask_together(document, sources, there).to_json()
                assert ask_together(document, sources, there, kept).to_json() == fresh
    named = restated(facts, "kinds", ("differential",))
    other = restated(facts, "single_ended_impedance_ohm", 600.0)
    for document, stages in (named, other, (facts, sources)):
        # the same question with nothing remembered
        fresh = ask_together(document, stages, _boxes(*boxes)).to_json()
        assert ask_together(document, stages, _boxes(*boxes), kept).to_json() == fresh


def test_a_stage_is_known_again_by_its_content(tmp_path: Path) -> None:
    """Else every answer of a maker is solved from nothing, and the advice takes minutes."""
    facts, sources = _read(tmp_path)
    kept = Memories()
    memory = kept.of(sources)
    # by design: one kind of those stated is no other stage, whichever way it is said
    assert kept.of(restated(facts, "kinds", ("differential",))[1]) is memory
    for ohm in range(100, 100 + 2 * MOST_KEPT):
        # by design: another impedance is another stage
        assert kept.of(restated(facts, "differential_impedance_ohm", float(ohm))[1]) is not memory
    # by design: what is stated stays, however many answers are tried
    assert kept.of(sources) is memory
    # by design: the order of a list tells values apart, the identity of an object does not
    assert content([facts, 1.0]) == content([dict(facts), 1.0]) != content([1.0, facts])


def test_corners_are_one_where_nothing_in_use_tells_them_apart() -> None:
    """Else an output is judged on what the other one may be, or solved for each of them anew."""
    whole = sample(one_source(single=1.0, z_single=100.0))
    unknown = whole.z.copy()
    unknown[..., :2, :2] = np.nan
    legs = whole.leg_z.copy()
    legs[..., :2, :2] = np.nan
    low, high = completions(replace(whole, z=unknown, leg_z=legs), "differential")
    # by design: the RCA output is the same whatever the legs are, and the legs are not
    assert low.content(("single-ended",)) == high.content(("single-ended",))
    assert low.content(("hot", "cold")) != high.content(("hot", "cold"))
    assert low.content(("hot",)) != high.content(("hot",))
    # by design: a louder stage is another one, and so is one whose draws are what it may be
    louder = replace(whole, leg_voc=2.0 * whole.leg_voc, voc=2.0 * whole.voc)
    assert whole.content(("single-ended",)) != louder.content(("single-ended",))
    spread = replace(whole, spread=True)
    assert whole.content(("single-ended",)) != spread.content(("single-ended",))


def test_a_trial_pad_is_solved_as_its_figures_are(tmp_path: Path) -> None:
    """Else a pad is sized for another output than the one it is then judged on."""
    facts, sources = _read(tmp_path)
    there = _boxes("xlr:20k/leg:1V")
    side = side_of(facts, "mono")
    option = padded(BY_ID["xlr-to-xlr"], Pad(1000.0, 500.0, True))
    desks = [Desk(device_of(facts), side, sources["mono"], there) for _ in range(2)]
    judges = [Judge(desk, there.inputs[0]) for desk in desks]
    whole = judges[0](option).figures.level_at_maximum
    # the same figure of the whole solution
    assert judges[1].most_level(option) == whole
    # by design: how far sets are tried does not hang on how much of a figure is solved
    assert desks[0].solved == desks[1].solved > 0
