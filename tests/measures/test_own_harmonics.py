"""What generator and recorder add to harmonics, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from probe.measures.own_harmonics import REPEATS, OwnHarmonics, draws_of

SHOWN = np.array([0.0, 3e-5 * np.exp(0.7j), 2e-5 * np.exp(-2.1j)])[:, None] * np.ones(2)


def drawn(volts, *, phase=True, louder=1.0, keeps=0.5):
    """Draws of what a bench that shows `SHOWN` adds, no noise."""
    none = np.zeros(SHOWN.shape)
    own = OwnHarmonics(none, SHOWN, none, np.full(2, louder), 1.0, phase, 2.0, "loop.wav", keeps)
    return draws_of(own, np.asarray(volts, dtype=np.complex128), np.random.default_rng(3))


def tone(hot, cold, second=0.0):
    """A tone in two legs, with a second harmonic of the device."""
    return [[hot, cold], [second, second], [0.0, 0.0]]


def test_of_odd_order_both_legs_hear_what_the_loop_back_shows():
    found = drawn(tone(2.0, -2.0))
    # closed form: (g h + r h³) of h = ±1 is ±(g + r)
    expected = 2.0 * SHOWN[2, 0] * np.array([1.0, -1.0])
    assert found.mean[2] == pytest.approx(expected, rel=0.05)
    apart = np.std(found.added[1:, 2], axis=0) / np.abs(expected)
    # generator and recorder each repeat to `REPEATS`: alone that, of equal halves less, where they
    # nearly cancelled in the loop-back take more
    assert np.all((apart > 0.6 * REPEATS) & (apart < 3.0 * REPEATS))


@pytest.mark.parametrize("keeps", [1.0, 0.5, 0.0])
def test_of_even_order_a_leg_that_inverts_turns_the_generators_alone(keeps):
    found = drawn(tone(2.0, -2.0), keeps=keeps).added[1:, 1] / 2.0
    near = np.abs(found - SHOWN[1]) < 5.0 * REPEATS * np.abs(SHOWN[1])
    # closed form: a device that keeps polarity gives g + r at hot, what is shown; one that does not
    # gives it at cold
    assert np.mean(near[:, 0]) > 0.85 * keeps
    assert np.mean(near[:, 1]) > 0.85 * (1.0 - keeps)
    if keeps == 1.0:
        # closed form: r - g of halves that may be in quadrature or nearly cancel exceeds the sum
        assert np.quantile(np.abs(found[:, 1]), 0.95) > 1.5 * np.abs(SHOWN[1, 0])
        assert np.mean(near[:, 1]) < 0.5
    if keeps == 0.0:
        assert np.mean(near[:, 0]) < 0.5


def test_a_later_beginning_turns_every_order_by_its_own_multiple():
    turn = np.exp(0.9j)
    early, late = drawn(tone(2.0, -2.0)), drawn(tone(2.0 * turn, -2.0 * turn))
    # closed form: delay turns the n-th harmonic n times
    for n in (2, 3):
        assert late.added[1:, n - 1] == pytest.approx(early.added[1:, n - 1] * turn**n)


def test_seconds_that_meet_a_bend_make_thirds():
    small, large = (drawn(tone(1.0, 1.0, second=d), keeps=1.0) for d in (0.0, 0.1))
    added = large.added[1:, 2, 0] - small.added[1:, 2, 0]
    # closed form: 2 b cos t d cos 2t = b d (cos 3t + cos t) of a bend whose second harmonic is b/2:
    # twice the device's times the bench's; one that keeps polarity has g + r
    expected = 2.0 * 0.1 * SHOWN[1, 0]
    near = np.abs(added - expected) < 5.0 * REPEATS * abs(expected)
    assert np.mean(near) > 0.85


def test_at_another_frequency_the_phase_is_not_known():
    found = drawn(tone(1.0, 1.0), phase=False)
    assert not np.any(found.mean)
    # closed form: a phase anywhere has no mean direction; 400 draws leave 1/20 of it
    turned = found.added[1:, 2, 0] / np.abs(found.added[1:, 2, 0])
    assert abs(np.mean(turned)) < 4.0 / np.sqrt(400)


def test_of_a_quieter_tone_the_generators_part_stays():
    quiet = np.abs(drawn(tone(1.0, 1.0), louder=0.01).added[1:, 2, 0]) / np.abs(SHOWN[2, 0])
    # closed form: a smooth bend's third harmonic goes with the square of the level, which leaves
    # the generator's: it may be a tenth of the recorder's (1/11 of both) or more than the sum
    assert 0.05 < np.quantile(quiet, 0.1) < np.quantile(quiet, 0.9)
    assert np.quantile(quiet, 0.25) < 0.7
