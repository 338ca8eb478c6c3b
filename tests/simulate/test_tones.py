"""The default tones keep what is promised of them."""

import numpy as np
import pytest

from probe.simulate import tones
from probe.simulate.tones import DEVICE_HZ, INJECTED_HZ

BOTH = np.array(DEVICE_HZ + INJECTED_HZ)


def test_they_span_the_band_and_stand_apart():
    assert len(DEVICE_HZ) == 12
    assert min(DEVICE_HZ) < 21
    assert max(DEVICE_HZ) > 19000
    assert any(abs(hz - 1000) < 5 for hz in DEVICE_HZ)
    assert np.min(np.diff(np.sort(BOTH))) >= tones.NEIGHBOUR_HZ - 1e-9


def test_they_avoid_the_mains_and_each_others_products():
    for mains in (50.0, 60.0):
        distance = np.abs(BOTH - mains * np.round(BOTH / mains))
        assert np.min(distance) >= tones.CLEARANCE_HZ - 1e-9
    for i, a in enumerate(BOTH):
        for j, b in enumerate(BOTH):
            found = [2 * a, 3 * a] if i == j else [a + b, abs(a - b), 2 * a + b, abs(2 * a - b)]
            for product in found:
                assert np.min(np.abs(BOTH - product)) >= tones.PRODUCT_GAP_HZ - 1e-9


def test_no_wrong_delay_brings_all_but_one_back_into_step():
    # a grid fine enough that the top tone turns by 1/64 between neighbours
    shifts = np.arange(1 / (4 * 20e3), 2.0, 1 / (64 * 20e3))
    worst = min(
        np.min(tones.second_worst_turns(DEVICE_HZ, part)) for part in np.array_split(shifts, 50)
    )
    assert worst >= tones.REALIGN_TURNS


@pytest.mark.long
def test_the_search_keeps_its_promises():
    device, injected, worst = tones.search(6, 1500)
    assert worst > 0.08
    both = np.array(device + injected)
    assert tones.clearance(both) >= tones.CLEARANCE_HZ - 1e-9
    assert tones.product_gap(both) >= tones.PRODUCT_GAP_HZ
