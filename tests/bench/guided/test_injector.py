"""Whether injected tones are heard: told from noise that lies on the lowest of them."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from probe.bench.judged.legs import _injector_missing
from probe.bench.shown.what_now import choices

NOISE = np.array([160e-9, 75e-9, 30e-9, 18e-9, 17e-9, 17e-9, 17e-9, 17e-9])
"""Volts at each injected tone, rising towards low frequencies as every input's does."""


def found(on_cold: Any, on_hot: Any) -> Any:
    heard = np.column_stack([on_hot, on_cold]).astype(complex)
    noise = np.zeros((len(NOISE), 2, 2))
    noise[:, 0, 0] = noise[:, 1, 1] = NOISE**2
    take = SimpleNamespace(
        channels=("hot", "cold"), injections=(SimpleNamespace(volts=0.118, through_ohm=10e3),)
    )
    phasors: Any = SimpleNamespace(
        take=take, volts=heard, noise=noise, played=np.zeros(len(NOISE), dtype=bool)
    )
    step: Any = SimpleNamespace(plugged=SimpleNamespace(injector=SimpleNamespace(into="cold")))
    return _injector_missing(step, phasors)


def test_noise_alone_is_no_injected_tone() -> None:
    # closed form: each reading is its own noise, so the ratio is 1 at every tone
    (one,) = found(NOISE, NOISE)
    assert (one.code, one.again) == ("injector-missing", True)
    assert choices((one,), True, 1, False)[1] == "a"


def test_a_leg_of_some_milliohm_is_heard_and_asked_about() -> None:
    # Ohm's law: 0.118 V through 10 kohm into 20 mohm are 0.24 uV, 14 times the noise of most
    # tones, and less than 0.1 ohm would show
    (one,) = found(np.full(len(NOISE), 0.118 / 10e3 * 0.02), NOISE)
    assert (one.code, one.again) == ("injector-missing", False)
    assert choices((one,), True, 1, False)[1] == "k"


def test_a_leg_with_an_impedance_is_in_order() -> None:
    # Ohm's law: into 100 ohm 1.2 mV
    assert found(np.full(len(NOISE), 0.118 / 10e3 * 100.0), NOISE) == []


def test_tones_on_the_other_leg_are_told() -> None:
    (one,) = found(NOISE, np.full(len(NOISE), 0.118 / 10e3 * 100.0))
    assert "heard on hot, not on cold" in one.seen
