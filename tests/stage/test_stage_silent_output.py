"""A single-ended output that gives nothing: a lead that is not in, a muted output or a dead one.

Who measures would be told of exchanged pins that are none, because noise has a polarity by chance.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from .analysed import Analysed, analysed, from_phasors
from .forward import FULL, Errors, record, separate

QUIET = Errors(noise=1e-6)
VS = 2.0
"""Level of the sound single-ended output, V."""


def dead_in(takes: int, volts: float, seed: int) -> Analysed:
    """Return a stage whose first so many single-ended takes hear ``volts`` of noise and no more."""
    session, phasors = record(separate(vs=VS), FULL, errors=QUIET)
    rng = np.random.default_rng(seed)
    found, left = [], takes
    for p in phasors:
        if "single-ended" in p.take.channels and left:
            left -= 1
            c = p.take.channels.index("single-ended")
            v, noise, unheard = p.volts.copy(), p.noise.copy(), p.unheard.copy()
            size = volts * (rng.standard_normal(len(v)) + 1j * rng.standard_normal(len(v)))
            v[:, c], noise[:, c, :], noise[:, :, c] = size, 0.0, 0.0
            noise[:, c, c], unheard[c] = 2.0 * volts**2, True
            p = replace(p, volts=v, noise=noise, unheard=unheard)
        found.append(p)
    return from_phasors(session, tuple(found))


SINGLE_ENDED_TAKES = sum("single-ended" in plan.channels for plan in FULL)


@pytest.mark.parametrize("volts", [0.0, 1e-7, 1e-5])
@pytest.mark.parametrize("seed", range(1, 6))
@pytest.mark.long
def test_noise_has_no_polarity(volts: float, seed: int) -> None:
    """Two of four sessions of a sound output were told that pins 2 and 3 are exchanged."""
    found = dead_in(SINGLE_ENDED_TAKES, volts, seed)
    # source: the stage: pin 2 hot, both legs sound; nothing reaches the single-ended channel
    assert found.faults.found == ("single-ended-dead",)
    assert found.faults.possible == ()
    assert found.kind == "differential"
    assert found.polarity.value == "pin-2-hot"
    assert found.polarity.against != "the single-ended output"


@pytest.mark.parametrize("volts", [0.0, 1e-5])
def test_what_is_not_heard_is_bounded_and_finite(volts: float) -> None:
    """A channel of exact zeros ended in a traceback."""
    facts = dead_in(SINGLE_ENDED_TAKES, volts, 1).facts
    assert facts["single_ended_level"]["bound"] == "below"
    assert facts["gain_difference"]["bound"] == "above"
    # source: 4 V between the legs over at most 10 uV of noise is 112 dB; nothing beyond that is
    # told, nor is less than what a silent leg lies down (30 dB)
    assert 30.0 < facts["gain_difference"]["value"] < 140.0
    assert all(np.isfinite(entry["value"]) for entry in facts.values())


def test_a_lead_that_was_out_in_one_take_makes_no_impedance() -> None:
    """Of one take that hears the output and one that does not 2 kohm were made of 100 ohm."""
    assert SINGLE_ENDED_TAKES >= 2
    found = dead_in(1, 1e-5, 1)
    assert found.faults.found == ()
    (told,) = found.faults.possible
    assert told.fault == "single-ended-dead"
    assert "plugged in" in told.message
    assert "take it again" in told.message
    ohm = found.facts.get("single_ended_impedance")
    # source: the stage, 100 ohm
    assert ohm is None or abs(ohm["value"] - 100.0) <= 1.5 * ohm["u95"]


def test_a_sound_output_that_is_quieter_is_not_dead() -> None:
    # source: +4 dBu on the XLR and -10 dBV on the RCA output, 11.8 dB apart (1.228 V, 0.316 V)
    found = analysed(separate(0.614, -0.614, vs=0.316), FULL, errors=QUIET)
    assert found.faults.named == ()


def test_a_whisper_may_be_a_leak_or_a_control_turned_down() -> None:
    # source: 4 V between the legs, 50 dB above 6.3 mV per leg: beyond the 30 dB of a silent leg
    found = analysed(separate(vs=0.0063), FULL, errors=QUIET)
    assert found.faults.found == ()
    assert [t.fault for t in found.faults.possible] == ["single-ended-dead"]
    assert "turned down" in found.faults.possible[0].message
