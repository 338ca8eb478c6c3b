"""Several boxes: a free socket goes before a splitter, unless the splitter buys something.

Who loses it where these fail: a customer buys a splitter that nothing asks for, or is sent to the
free socket where it hums, or is quieter than was asked for.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from probe.advice.advise import advise
from probe.advice.destination import Cable, Destination, together
from probe.advice.ground import of_preset
from probe.advice.model import Advice
from probe.advice.typed import changed, typed_destination
from tests.advice.stages import facts, source, transformer

LEAD = Cable(8.0, 8e-10, 0.24, 0.02)


def ask(*boxes: str, preset: str = "two-rooms", shared: float = 0.0, gain: str | None = None,
        connectors: tuple[str, ...] = ("xlr", "rca")) -> Advice:  # fmt: skip
    """Two driven legs of 50 ohm and an RCA output of 50 ohm, 2 V and 1 V."""
    stage = source(diff=2.0, z_diff=100.0, z_common=25.0, single=1.0, z_single=50.0)
    for z in (stage.legs_z, stage.legs_z_draws):
        z[..., 0, 2] = z[..., 2, 0] = shared
    for z in (stage.z, stage.z_draws):  # the difference has all of pin 2, the mean half of it
        z[..., 0, 2] = z[..., 2, 0] = shared
        z[..., 1, 2] = z[..., 2, 1] = shared / 2.0
    found = [replace(typed_destination(t, 50.0), cable=LEAD) for t in boxes]
    destination: Destination = together(
        [replace(d, inputs=tuple(replace(s, ground=of_preset(preset)) for s in d.inputs))
         for d in found]
    )  # fmt: skip
    if gain is not None:
        destination = changed(destination, gain=gain)
    document = facts(device={"full_output_volts": 4.0}, connectors=connectors)
    return advise(document, {"left": stage}, destination)


def test_the_isolator_of_the_second_box_goes_to_the_free_socket() -> None:
    # closed form: 100 mV behind 1 ohm over 0.26 ohm of shield are 20.6 mV, 34 dB below 1 V: the
    # subwoofer needs an isolator; with its primary on the RCA output it has the level of that link
    found = ask("xlr:20k/leg:2V", "rca:20k:1V:sub")
    # common practice, no source: one lead a socket; a splitter is a part that nothing asks for
    assert [c.option for c in found.choices] == ["xlr-to-xlr", "rca-to-rca/transformer"]
    assert "shared-output" not in {c.code for c in found.cautions}


def test_a_splitter_is_used_where_it_buys_less_hum() -> None:
    # closed form: the amplifier's ground lies 20.6 mV higher; through 20 kohm of its pin 2 flows
    # 1 uA, and 50 ohm that pin 2 shares with the RCA centre turn it into 51 uV, 86 dB below 1 V;
    # both legs of the pair take it alike
    found = ask("xlr:20k/leg:2V", "rca:20k:1V:sub", shared=50.0)
    assert [c.option for c in found.choices] == ["xlr-to-xlr", "xlr-to-rca/transformer"]
    (told,) = [c.message for c in found.cautions if c.code == "shared-output"]
    assert "needs a second socket, or a splitter" in told
    (told,) = [c.message for c in found.cautions if c.code == "splitter-buys"]
    # what it buys is said, with the figure
    assert "rca-to-rca/transformer: hum 8" in told


@pytest.mark.parametrize(
    ("preset", "lacks"),
    # closed form: 100 mV behind 1 ohm over 0.26 ohm of shield are 20.63 mV, 33.71 dB below 1 V;
    # 0.2 mV behind 0.2 ohm are 113.0 uV, 78.93 dB; 50 ohm before 20 kohm take 0.02 dB off both
    [
        ("two-rooms", "hum 33.7 dB below full output, loud"),
        ("same-strip", "hums more: 79.0 dB below full output"),
    ],
)
@pytest.mark.long
def test_what_a_splitter_spares_of_hum_is_said(preset: str, lacks: str) -> None:
    # the user buys a splitter where a lead in a free socket works, and is not told what for
    both = "rca:20k:1V+xlr:20k/leg:2V"
    found = ask(both, both, preset=preset)
    assert [c.option for c in found.choices] == ["xlr-to-xlr", "xlr-to-xlr"]
    (told,) = [c.message for c in found.cautions if c.code == "splitter-buys"]
    assert "With rca-to-rca" in told
    assert "no splitter is needed" in told
    assert lacks in told


def test_wanted_level_is_not_given_away_for_a_socket() -> None:
    # closed form: both legs are 6 dB above the RCA output, and 6 dB are wanted
    found = ask("xlr:20k/leg:2V", "rca:20k:1V:sub", gain="6dB")
    assert [c.option for c in found.choices] == ["xlr-to-xlr", "xlr-to-rca/transformer"]


def test_full_output_is_not_given_away_for_a_socket() -> None:
    # closed form: 4 V between the legs fill an input of 3 V, and the 2 V of the RCA output are
    # 3.5 dB short of it
    found = ask("xlr:20k/leg:2V", "rca:20k:3V:sub")
    assert [c.option for c in found.choices] == ["xlr-to-xlr", "xlr-to-rca/transformer"]


@pytest.mark.parametrize("boxes", list(itertools.permutations(("rca:20k:1V", "rca:47k:1V:sub"))))
def test_two_boxes_that_need_no_isolator_have_a_socket_each(boxes: tuple[str, ...]) -> None:
    # arithmetic: two RCA leads and a splitter are three parts, an RCA lead, an adapter and its
    # lead as well; pin 2 alone gives the 1 V that the RCA output gives
    found = ask(*boxes, preset="same-strip")
    assert sorted(c.option or "" for c in found.choices) == ["rca-to-rca", "xlr-to-rca/pin-3-open"]
    assert "shared-output" not in {c.code for c in found.cautions}
    # where there is one output, there is a splitter
    lone = ask(*boxes, preset="same-strip", connectors=("rca",))
    assert [c.option for c in lone.choices] == ["rca-to-rca", "rca-to-rca"]
    assert "shared-output" in {c.code for c in lone.cautions}


@pytest.mark.long
def test_boxes_that_are_alike_play_alike() -> None:
    """Two amplifiers of one sort, as for bi-amping: one of them stood 6 dB below the other."""
    found = ask("xlr:20k/leg:1V", "xlr:20k/leg:1V", preset="same-strip")
    assert [c.option for c in found.choices] == ["xlr-to-xlr", "xlr-to-xlr"]
    (told,) = [c.message for c in found.cautions if c.code == "splitter-buys"]
    # closed form: 2 V between the legs, 1 V of the RCA output
    assert "xlr:20k/leg:1V (no. 2) gets 6.0 dB less than xlr:20k/leg:1V, which is alike" in told
    # of two sorts each is set by itself
    found = ask("xlr:20k/leg:1V", "xlr:20k/leg:2V", preset="same-strip")
    assert "shared-output" not in {c.code for c in found.cautions}


def test_boxes_that_are_alike_have_a_socket_each_where_both_give_the_same() -> None:
    # closed form: pin 2 alone and the RCA output give 1 V each
    found = ask("rca:20k:1V", "rca:20k:1V", preset="same-strip")
    assert sorted(c.option or "" for c in found.choices) == ["rca-to-rca", "xlr-to-rca/pin-3-open"]


def test_no_isolator_is_bought_to_spare_a_splitter() -> None:
    """Or a customer pays for a transformer, with its bass, where a joint of like pins does."""
    found = [
        replace(typed_destination(t, 50.0), cable=Cable(3.0, 3e-10, 0.09, 0.02))
        for t in ("xlr:20k/leg:2V", "rca:47k:1.5V", "rca:20k:0.5V:sub")
    ]
    destination = together(
        [replace(d, inputs=tuple(replace(s, ground=of_preset("same-strip")) for s in d.inputs))
         for d in found]
    )  # fmt: skip
    document = facts("transformer-coupled", device={"full_output_volts": 4.0})
    advice = advise(document, {"left": transformer()}, destination)
    # closed form: 0.2 mV across 0.2 ohm and 0.11 ohm of shield are 71 uV, 77 dB below 0.5 V and 86
    # below 1.5 V: a lead does, and no part is bought against a hum that is heard close by at most
    assert all(c.option and "transformer" not in c.option for c in advice.choices)
