"""What stands at the head of the sheet, and what it must not claim; regression only."""

from __future__ import annotations

from typing import Any

from probe.report.leaflet import leaves_of
from probe.report.varied import varied_of

WHOLE = {"at_20_hz": {"value": 0.1, "unit": "dB"}, "at_20_khz": {"value": 0.0, "unit": "dB"}}


def sheet(*codes: str, **keys: Any) -> Any:
    option = {"id": "xlr-to-rca/transformer", "verdict": "use", "destination": "amplifier",
              "from": "xlr", "to": "rca", "pin_3": "transformer", "says": "a lead",
              "connection_loss_db": WHOLE, "hazards": [], "reasons": [], **keys}  # fmt: skip
    return leaves_of({
        "device": "a device", "destination": "amplifier", "options": [option],
        "operating_point": "at the declared 8 V",
        "cautions": [{"code": c, "message": f"{c} said"} for c in codes],
    })[0]  # fmt: skip


def test_what_must_be_known_first_stands_at_the_head() -> None:
    leaf = sheet("simulated", "direct-voltage-not-metered", "shared-output", "together-not-settled")
    assert leaf.before[:3] == ("simulated said", "direct-voltage-not-metered said",
                               "shared-output said")  # fmt: skip
    assert "not settled" in leaf.before[3]
    assert not any("simulated" in note for note in leaf.notes)


def test_phantom_power_is_told_where_the_input_is_an_xlr() -> None:
    assert sheet("phantom-power").before == ()
    assert sheet("phantom-power", to="xlr").before == ("phantom-power said",)


def test_bass_is_not_whole_where_the_transformer_saturates() -> None:
    told = " ".join(sheet(hazards=[{"code": "saturation", "message": "it distorts"}]).gains)
    assert "whole" not in told
    assert "distorts in the deepest bass" in told
    assert "arrive whole" in " ".join(sheet().gains)


def test_a_level_says_between_which_pins() -> None:
    assert "Levels at the declared 8 V between pins 2 and 3." in sheet().notes


def test_the_sum_of_the_shelf_stands_where_its_parts_do() -> None:
    advice = {
        "options": [{"id": "xlr-to-xlr", "verdict": "use", "destination": box, "hazards": []}
                    for box in ("amplifier", "subwoofer")],
        "shelf": [{"destination": box, "says": ["1 x lead"]} for box in ("amplifier", "subwoofer")],
        "shelf_total": ["38.00 EUR for 2 boxes"],
    }  # fmt: skip
    for leaf in leaves_of(advice):
        assert leaf.needs[-1] == "All in all: 38.00 EUR for 2 boxes"


def test_a_subwoofer_takes_one_lead() -> None:
    assert sheet(role="subwoofer").needs[0].startswith("One, for the subwoofer")
    assert sheet().needs[0].startswith("One for each side")


def test_a_long_label_is_broken_within_the_figure() -> None:
    chosen = ["xlr-to-rca/transformer", "xlr-to-xlr", "xlr-to-rca/transformer"]
    points = [{"value": v, "chosen": chosen} for v in (1.0, 50.0)]
    found = varied_of({"what": "cable-length", "unit": "m", "flips": [], "points": points})
    assert found is not None
    assert str(found.drawing).count("small over") >= 2
