"""The core of an isolating transformer at the level that is used; hum with its harmonics."""

from __future__ import annotations

from dataclasses import replace

import pytest

from probe.advice.advise import advise
from probe.advice.destination import Cable, Destination, Input
from probe.advice.ground import of_preset
from probe.advice.model import Advice, OptionAdvice
from probe.advice.parts import ISOLATING_TRANSFORMER
from probe.advice.transformers import find_transformer
from probe.report.other_ways import why_nothing
from tests.advice.stages import facts, symmetrical, transformer

RCA = Input("rca", "rca", "single-ended", 47e3)
HALVING = replace(ISOLATING_TRANSFORMER, ratio=0.5, volts_at_20_hz=3.0)


def isolated(advice: Advice) -> OptionAdvice:
    (found,) = [o for o in advice.options if o.option.id == "xlr-to-rca/transformer"]
    return found


def codes(option: OptionAdvice) -> set[str]:
    return {h.code for h in option.used.hazards}


def test_the_core_is_judged_at_its_primary() -> None:
    # closed form: 4 V between the legs, less what 100 + 60 ohm lose into 100 kohm of core beside
    # 188 kohm of load seen through 2:1 (0.25 %) and into 15 H at 20 Hz (0.36 %, in quadrature):
    # 3.976 V; the input behind the ratio hears 2 V
    found = isolated(
        advise(facts(), {"left": symmetrical()},
               Destination("amp", (RCA,), transformer=HALVING, operating_volts=4.0))
    )  # fmt: skip
    core, level = found.figures.core_20_hz_at_maximum, found.figures.level
    assert core is not None
    assert level is not None
    assert core.value == pytest.approx(3.976, rel=0.001)
    assert level.value == pytest.approx(2.0, rel=0.01)
    assert "saturation" in codes(found)  # 4 V where the core takes 3 V


def test_an_attenuator_behind_it_spares_the_core_nothing() -> None:
    # closed form: resistors in the plug sit behind the secondary; 4 V at the core stay 4 V, less
    # what 160 ohm lose into their 10 kohm: 2 %
    part = replace(ISOLATING_TRANSFORMER, volts_at_20_hz=3.0)
    found = isolated(
        advise(facts(), {"left": symmetrical()},
               Destination("amp", (RCA,), transformer=part, operating_volts=4.0,
                           attenuation_db=20.0))
    )  # fmt: skip
    assert found.used is not found
    core = found.used.figures.core_20_hz_at_maximum
    assert core is not None
    assert core.value == pytest.approx(4.0, rel=0.025)
    assert "saturation" in codes(found)


def test_a_core_is_judged_where_the_volume_stands() -> None:
    # closed form: 1 V gives full output, of the 10 V that are assumed at most; 1 V in 5 V is clean
    socket = replace(RCA, sensitivity_volts=1.0)
    found = isolated(advise(facts(), {"left": symmetrical()}, Destination("amp", (socket,))))
    core = found.figures.core_20_hz_at_full_output
    assert core is not None
    assert core.value == pytest.approx(1.0, rel=0.01)
    assert "saturation" not in codes(found)
    (beyond,) = [h for h in found.hazards if h.code == "saturation-beyond-full-output"]
    assert "assumed 10 V" in beyond.message


def test_what_is_said_to_be_played_reaches_the_core() -> None:
    # closed form: 8 V are played, whatever the input needs; 8 V in 5 V
    socket = replace(RCA, sensitivity_volts=1.0)
    advice = advise(
        facts(), {"left": symmetrical()}, Destination("amp", (socket,), operating_volts=8.0)
    )
    assert "saturation" in codes(isolated(advice))


def test_full_output_itself_may_be_too_much() -> None:
    # closed form: 6 V for full output in 5 V
    socket = replace(RCA, sensitivity_volts=6.0)
    found = isolated(advise(facts(), {"left": symmetrical()}, Destination("amp", (socket,))))
    assert "saturation" in codes(found)
    # closed form: 6 V, of which 60 ohm of winding into 47 kohm add 0.1 % and 160 ohm before 15 H
    # at 20 Hz take 0.4 %
    assert found.part_needed.volts_at_20_hz == 6.0
    own = replace(ISOLATING_TRANSFORMER, name="mine")  # of a part that is there nothing is promised
    there = Destination("amp", (socket,), transformer=own)
    found = isolated(advise(facts(), {"left": symmetrical()}, there))
    assert found.part_needed.volts_at_20_hz == 5.0


def test_a_lead_that_buzzes_gives_way_to_one_that_is_silent() -> None:
    # closed form: 115 V behind 4.7 nF at 50 Hz are 0.17 mA, in 0.03 + 0.02 ohm of shield 8.5 uV:
    # 91 dB below 0.3 V, which is silent; its harmonics, which a capacitor passes better, are not
    ground = of_preset("earthed-and-unearthed")
    socket = replace(RCA, sensitivity_volts=0.3, ground=ground)
    advice = advise(facts("transformer-coupled"), {"left": transformer()},
                    Destination("amp", (socket,), Cable(1.0, 100e-12, 0.03, 0.02)))  # fmt: skip
    by_id = {o.option.id: o for o in advice.options}
    hum = by_id["rca-to-rca"].figures.hum_below_full_output_db
    assert hum is not None
    assert hum.value == pytest.approx(91.0, abs=0.5)
    assert codes(by_id["rca-to-rca"]) == {"hum"}
    # common practice, no source: fewest parts only among what is equally silent
    assert advice.chosen == "xlr-to-rca/pin-3-tied-at-destination"
    assert not codes(by_id[advice.chosen])
    assert "with its harmonics" in by_id["rca-to-rca"].passed_by


def test_the_least_bad_is_not_the_one_that_hums_loudly() -> None:
    # closed form: 100 mV across 1 ohm and 0.05 ohm of shield leave 4.8 mV, 46 dB below 1 V: loud; a
    # small transformer (1.5 H beside 160 ohm from the RCA, 210 ohm from the legs) loses bass, and
    # hums not at all
    socket = replace(RCA, sensitivity_volts=1.0, ground=of_preset("two-rooms"))
    small = find_transformer("sorrel")
    advice = advise(facts(), {"left": symmetrical()},
                    Destination("amp", (socket,), transformer=small))  # fmt: skip
    assert advice.chosen is None
    assert advice.choices[0].best == "rca-to-rca/transformer"
    # closed form: an ordinary one has 15 H, 1.9 kohm at 20 Hz beside the same: 0.05 dB
    # behind one mains strip, which costs nothing where a lead is so short
    strip, larger = advice.choices[0].why[:2]
    assert "into one mains strip, if both can be" in strip
    assert "--transformer alder" in larger
    (other,) = [o for o in advice.to_json()["would_change"] if o["code"] == "transformer"]
    assert other["destination"] == "amplifier"
    assert "Alder" in " ".join(why_nothing(advice.to_json(), advice.to_json()["options"]))
    assert "transformer" in " ".join(
        why_nothing(advice.to_json(), [o.to_json() for o in advice.options])
    )
