"""Names that other people's files and programs rely on: ids of options, keys and units.

A change here breaks a reader of ``probe-advice/1`` and belongs into docs/changelog.md with a new
format number; keys that are added are added below.
"""

from __future__ import annotations

from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.destination import Cable, Destination, Input
from probe.advice.digital import LINKS
from probe.advice.ground import GroundPath
from probe.advice.wiring import OPTIONS
from tests.advice.stages import facts, symmetrical

IDS = {
    "xlr-to-xlr/transformer",
    "rca-to-rca", "xlr-to-xlr", "xlr-to-rca/pin-3-open", "xlr-to-rca/pin-3-tied-at-source",
    "xlr-to-rca/pin-3-tied-at-destination", "xlr-to-rca/transformer",
    "rca-to-xlr/pin-3-tied-at-source", "rca-to-xlr/pin-3-tied-at-destination",
    "rca-to-xlr/pin-3-open", "rca-to-xlr/transformer", "rca-to-rca/transformer",
}  # fmt: skip

DIGITAL_IDS = {
    "digital-75-to-75", "digital-110-to-110", "digital-110-to-75/transformer",
    "digital-75-to-110/transformer", "digital-110-to-75/adapter", "digital-75-to-110/adapter",
    "digital-75-to-110/transformer-at-source", "digital-110-to-75/transformer-at-destination",
}  # fmt: skip

TOP = {"described_sides",
    "format", "device", "destination", "operating_point", "wanted_gain_db", "provisional",
    "not_computed", "chosen", "why", "choices", "options", "sets", "cures",
    "would_change", "cautions",
}  # fmt: skip

WORDS = {"transformer",
    "id", "side", "destination", "input", "from", "to", "adapter", "pin_3", "says", "wiring",
    "role", "reference", "hazards", "verdict", "reasons", "because", "passed_by",
    "operating_point", "never_turned_up",
}  # fmt: skip

UNITS = {
    "level": "V", "level_vs_rca_db": "dB", "loudness_vs_rca_db": "dB",
    "full_output_margin_db": "dB", "hum": "V", "hum_below_full_output_db": "dB",
    "buzz_below_full_output_db": "dB", "ground_current": "A", "noise": "V",
    "noise_below_full_output_db": "dB", "clips_at": "V", "headroom_db": "dB", "tie_current": "A",
    "hum_lines": "V", "loss_db.at_20_hz": "dB", "loss_db.at_20_khz": "dB",
    "connection_loss_db.at_20_hz": "dB", "connection_loss_db.at_20_khz": "dB",
    "bandwidth_hz.low": "Hz", "bandwidth_hz.high": "Hz", "attenuator.attenuation": "dB",
    "attenuator.output_sees": "ohm", "attenuator.source_impedance": "ohm",
    "attenuator.thermal_noise": "V", "attenuator.rating": "W", "attenuator.level": "V",
    "attenuator.full_output_margin_db": "dB", "attenuator.loss_at_20_khz": "dB",
    "attenuator.headroom_db": "dB", "attenuator.hum_below_full_output_db": "dB",
    "attenuator.level_vs_rca_db": "dB", "attenuator.loudness_vs_rca_db": "dB",
    "attenuator.buzz_below_full_output_db": "dB", "attenuator.noise_below_full_output_db": "dB",
}  # fmt: skip

ATTENUATOR_WORDS = {"why", "fitted", "says", "designs", "verdict", "because", "hazards", "reasons",
                    "loss_db", "connection_loss_db", "bandwidth_hz"}  # fmt: skip
QUANTITY = {"value", "unit", "u95", "low", "high", "bound", "at_hz", "note", "measure",
            "heard"}  # fmt: skip
VERDICTS = {"use", "works", "avoid", "never", "cannot-tell"}
SET = {"choices", "solved_together", "options", "says"}
CHOICE = {"destination", "input", "option", "why", "least_bad"}
CURE = {"cure", "destination", "option", "says", "hum_below_full_output_db", "better_by_db",
        "better_by_at_least_db", "verdict"}  # fmt: skip


@pytest.fixture(scope="module")
def answer() -> dict[str, Any]:
    """An answer in which every figure is known: noise, maximum, ground, a tie, an overload."""
    values = {n: {"value": 4e-6, "unit": "V", "u95": 1e-7} for n in (
        "hot_noise_a", "cold_noise_a", "differential_noise_a", "single_ended_noise_a")}  # fmt: skip
    values["differential_maximum"] = {"value": 8.0, "unit": "V", "u95": 0.1}
    ground = GroundPath(0.1, ohm=1.0)
    more = {"ground": ground, "sensitivity_volts": 1.0, "maximum_volts": 2.0}
    inputs = (
        Input("sub", "rca", "single-ended", 22e3, box="subwoofer", **more),  # type: ignore[arg-type]
        Input("rca", "rca", "single-ended", 22e3, **more),  # type: ignore[arg-type]
        Input("xlr", "xlr", "balanced", 20e3, circuit="buffered", impedance_is="each-leg", **more),  # type: ignore[arg-type]
    )
    return advise(
        facts(values=values), {"left": symmetrical(draws=20, spread=1e-3)},
        Destination("amplifier", inputs, Cable(10.0, 1e-9, 0.3, 0.02)),
    ).to_json()  # fmt: skip


def quantities(option: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Every figure of an option under its name, groups with a dot."""
    found = {}
    for name, value in option.items():
        if isinstance(value, dict) and "unit" in value:
            found[name] = value
        elif name == "hum_lines":
            found[name] = value[0]
        elif isinstance(value, dict) and name != "wiring":
            inner = {k: v for k, v in value.items() if isinstance(v, dict) and "unit" in v}
            found |= {f"{name}.{k}": v for k, v in inner.items()}
    return found


def test_ids_of_options_are_stable() -> None:
    assert {o.id for o in OPTIONS} == IDS
    assert {link.id for link in LINKS} == DIGITAL_IDS


def test_keys_at_the_top_are_stable(answer: dict[str, Any]) -> None:
    assert answer["format"] == "probe-advice/1"
    assert set(answer) == TOP
    assert {o["id"] for o in answer["options"]} == IDS
    assert {o["verdict"] for o in answer["options"]} <= VERDICTS
    assert all(set(one) == SET for one in answer["sets"])
    assert all(set(one) == CHOICE for one in answer["choices"])
    assert all(
        set(one) == {"code", "what", "answers", "destination"} for one in answer["would_change"]
    )
    notes = [*answer["cautions"], *(h for o in answer["options"] for h in o["hazards"])]
    assert all(set(note) == {"code", "message"} for note in notes)


def test_keys_of_cures_are_stable() -> None:
    loud = Input(
        "rca", "rca", "single-ended", 22e3, ground=GroundPath(5e-4, ohm=1.0), sensitivity_volts=1.0
    )
    cures = advise(
        facts(connectors=("rca",)), {"left": symmetrical(draws=20, spread=1e-3)},
        Destination("amplifier", (loud,), Cable(10.0, 1e-9, 0.3, 0.02)),
    ).to_json()["cures"]  # fmt: skip
    assert cures
    assert all(set(one) == CURE for one in cures)


def test_keys_and_units_of_options_are_stable(answer: dict[str, Any]) -> None:
    seen: dict[str, str] = {}
    words = set()
    for option in answer["options"]:
        found = quantities(option)
        for name, quantity in found.items():
            assert seen.setdefault(name, quantity["unit"]) == quantity["unit"], name
            assert set(quantity) <= QUANTITY, name
        groups = {name.split(".")[0] for name in found}
        words |= set(option) - groups
        if "attenuator" in option:
            own = {n.split(".")[1] for n in found if n.startswith("attenuator.")}
            assert set(option["attenuator"]) - own == ATTENUATOR_WORDS
    assert seen == UNITS
    assert words == WORDS
