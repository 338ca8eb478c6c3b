"""Leads of the two legs that changed places in one take."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from probe.phasors.model import TakePhasors
from probe.stage.identify import identify
from probe.stage.turned import exchanged, turned_alone, turned_over, turned_round

from .analysed import from_phasors
from .forward import (
    FULL,
    INJECT_COLD,
    INJECT_HOT,
    OPEN,
    SECOND,
    Errors,
    Stage,
    floating,
    ground_sensing,
    record,
    separate,
    tapped,
)

NOISE = Errors(noise=1e-5)
ALL = {
    "separate": separate(),
    "unequal": separate(vh=2.0, vc=-0.7),
    "one leg": separate(vc=0.0),
    "floating": floating(),
    "leaning": floating(lean=0.3),
    "ground-sensing": ground_sensing(),
    "tapped": tapped(),
}
SITUATIONS = ("reference", "timebase", "none")


def with_leads_exchanged(take: TakePhasors) -> TakePhasors:
    """The same plugs, but each recorder input hears the other leg."""
    order = [1, 0, *range(2, len(take.take.channels))]
    return replace(
        take,
        volts=take.volts[:, order],
        noise=take.noise[:, order][:, :, order],
        unheard=take.unheard[order],
    )


@pytest.mark.parametrize("situation", SITUATIONS)
@pytest.mark.parametrize("name", ALL)
def test_every_take_whose_leads_changed_places_is_found_and_no_other(name, situation):
    _, phasors = record(ALL[name], FULL, errors=NOISE, situation=situation)
    both = [p for p in phasors if {"hot", "cold"} <= set(p.take.channels)]
    assert exchanged(phasors) == ((), ())
    for take in both[1:]:
        # source: exchanging the legs is a change of sign of the voltage between them
        assert turned_round(with_leads_exchanged(take), both[0]), take.take.name


@pytest.mark.parametrize("situation", SITUATIONS)
def test_legs_that_move_together_are_never_called_exchanged(situation):
    """A load on one of two legs in phase turns the voltage between them round by itself."""
    _, phasors = record(
        separate(vh=2.0, vc=1.9),
        FULL,
        errors=NOISE,
        situation=situation,
    )
    assert exchanged(phasors) == ((), ())


@pytest.mark.parametrize("situation", SITUATIONS[1:])
def test_a_floating_stage_injected_with_exchanged_leads(situation):
    """Takes as many as unknowns: nothing is spare, yet the take must not be believed."""
    stage: Stage = floating()
    session, phasors = record(stage, (OPEN, INJECT_COLD, INJECT_HOT), errors=NOISE,
                              situation=situation)  # fmt: skip
    good = from_phasors(session, phasors, draws=100)
    bad = (*phasors[:2], with_leads_exchanged(phasors[2]))
    found = from_phasors(session, bad, draws=100)
    assert found.codes == [("contradicting-take", INJECT_HOT.name)]
    # source: the definition of the kinds; without the take fewer are told apart
    assert found.kind in (good.kind, "undetermined")
    use = next(u for u in found.identified.uses if u.name == INJECT_HOT.name)
    assert not use.used


def test_the_majority_says_which_way_round():
    plans = (OPEN, INJECT_COLD, SECOND)
    session, phasors = record(separate(), plans, errors=NOISE, situation="timebase")
    found = identify(session, (with_leads_exchanged(phasors[0]), *phasors[1:]), "left", draws=100)
    assert [r.take for r in found.remarks] == [OPEN.name]


def test_a_clock_that_changed_between_takes_of_one_stream_is_no_common_reference():
    """As if the stream's samples were lost unnoticed: delays are then found, not believed."""
    stage = separate()
    session, phasors = record(stage, FULL, errors=NOISE, situation="timebase")
    late = [
        replace(
            p,
            clock_error=8e-5 * (k > 2),
            clock_u=1e-9,
            # source: a delay of tau turns a tone by -2 pi f tau
            volts=p.volts * delayed(p, 1.7e-3 * (k > 2)),
        )
        for k, p in enumerate(phasors)
    ]
    found = from_phasors(session, tuple(late), draws=100)
    assert found.codes == []
    assert found.kind == "differential"
    # source: the stage's own numbers
    assert found.facts["cold_impedance"]["value"] == pytest.approx(100.0, rel=0.01)


LOOPED = np.array(
    [20.5, 42.4, 81.5, 153.5, 281.2, 496.8, 997.0, 1987.6, 3469.2, 6535.7, 12437.0, 19490.7]
)


def turned_by(hz, seconds: float, spread: float, seed: int):
    # source: a delay of tau turns a tone by -2 pi f tau
    angles = np.random.default_rng(seed).normal(0.0, spread, len(hz)) - 2.0 * np.pi * hz * seconds
    return np.exp(1j * angles)


@pytest.mark.parametrize("seconds", [0.3, -0.9, 1.7, -2.4, 3.3, 4.999, 13.1])
def test_a_file_that_loops_is_told_wherever_its_player_stands(seconds):
    """Lost: leads exchanged while a player loops its file, and every take said to contradict."""
    for seed in range(5):
        turned = turned_by(LOOPED, seconds, 0.05, seed)
        # source: exchanging the legs is a change of sign of the voltage between them
        assert turned_over(LOOPED, turned) is False
        assert turned_over(LOOPED, -turned) is True


def test_no_delay_in_a_loop_is_taken_for_exchanged_leads():
    """Lost: a clean take called exchanged, because the tones nearly turn themselves round."""
    drawn = np.random.default_rng(3)
    for seed in range(100):
        turned = turned_by(LOOPED, drawn.uniform(-5.0, 5.0), 0.15, seed)
        # source: a delay is no half turn, wherever in the loop it is
        assert turned_over(LOOPED, turned) is not True


def test_nothing_is_said_where_a_delay_looks_like_half_a_turn():
    # source: half a period turns every odd multiple of the tone of that period by half a turn
    odd = np.array([20.3, 41.1, 83.7, 171.3, 347.9, 701.3, 997.1, 1811.7, 3671.9, 7321.3])
    assert turned_over(odd, turned_by(odd, 2.3, 0.0, 1)) is None
    assert turned_over(odd, -turned_by(odd, 2.3, 0.0, 1)) is None
    # source: tones with no common repetition within seconds: a delay of 1.7 s is not searched
    apart = LOOPED + np.linspace(0.013, 0.029, len(LOOPED))
    assert turned_over(apart, turned_by(apart, 1.7, 0.0, 1)) is None
    # phases at random fit no delay
    assert turned_over(LOOPED, turned_by(LOOPED, 0.0, 10.0, 4)) is None


def delayed(take: TakePhasors, seconds: float):
    return np.exp(-2j * np.pi * take.hz * seconds)[:, None]


@pytest.mark.parametrize("situation", SITUATIONS)
def test_one_tone_tells_only_where_its_drive_is_known(situation):
    _, phasors = record(separate(), (OPEN, SECOND), errors=NOISE, situation=situation)
    opened, later = (replace(p, take=replace(p.take, phases_rad=None)) for p in phasors)
    row = int(np.argmin(np.abs(later.hz - 997.0)))
    kept = slice(row, row + 1)
    alone = replace(
        later, hz=later.hz[kept], volts=later.volts[kept], noise=later.noise[kept],
        played=later.played[kept], take=replace(later.take, tones_hz=(float(later.hz[row]),)),
    )  # fmt: skip
    if situation == "timebase":
        assert not turned_alone(with_leads_exchanged(alone), opened)
        # source: a tone played as cos(2 pi f t + phase) from the stream's beginning on
        opened = replace(opened, take=replace(opened.take, phases_rad=(0.0,) * len(opened.hz)))
        turned = replace(alone.take, phases_rad=(0.7,))
        alone = replace(alone, take=turned, volts=alone.volts * np.exp(0.7j))
    # source: exchanging the legs is a change of sign of the voltage between them
    assert turned_alone(with_leads_exchanged(alone), opened) == (situation != "none")
    assert not turned_alone(alone, opened)
