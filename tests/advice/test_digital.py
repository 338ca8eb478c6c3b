"""Digital links: impedance and level arithmetic against published figures, and the verdicts."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import pytest

from probe.advice import digital
from probe.advice.advise import advise
from probe.advice.basket import lists
from probe.advice.destination import Cable, Destination, Input
from probe.advice.digital import (
    AES3,
    AES3ID,
    CONSUMER,
    DigitalAdvice,
    minimum_loss_pad,
    mismatch_loss_db,
    reflection,
    return_loss_db,
    tee_pad,
    transformed,
)
from probe.advice.ground import GroundPath
from probe.advice.model import Advice
from probe.advice.shelf import read_shelf
from probe.advice.text import render
from probe.report.leaflet import leaves_of
from tests.advice.stages import facts

COAX = Input("digital", "digital-75", "single-ended", 75.0)
XLR = Input("digital", "digital-110", "balanced", 110.0)


def ask(connector: str, socket: Input, length: float = 2.0, **device: Any) -> Advice:
    cable = Cable(length_m=length, impedance_ohm=75.0)
    document = facts(connectors=(connector,), device=device)
    return advise(document, {}, Destination("converter", (socket,), cable))


def of(advice: Advice, option: str) -> DigitalAdvice:
    (found,) = [a for a in advice.digital if a.link.id == option]
    return found


def codes(found: DigitalAdvice) -> set[str]:
    return {h.code for h in found.hazards}


@pytest.mark.parametrize(
    ("interface", "ohm", "most", "needs", "metres"),
    [
        # RaneNote 149 (D. Bohn, 2001/2014), table 1, read
        (AES3, 110.0, 7.0, 0.2, 100.0),
        (AES3ID, 75.0, 1.2, 0.32, 1000.0),
        (CONSUMER, 75.0, 0.6, 0.2, 10.0),
    ],
)
def test_interfaces_as_published(
    interface: digital.Interface, ohm: float, most: float, needs: float, metres: float
) -> None:
    assert (interface.ohm, interface.high_volts) == (ohm, most)
    assert (interface.needs_volts, interface.length_m) == (needs, metres)


@pytest.mark.parametrize(
    ("source", "load", "size", "returned", "lost"),
    [
        # arithmetic of the reflection, derived from the formula: 7/37, and tolerances of 20 %
        (110.0, 75.0, 7 / 37, 14.462, 0.158),
        (110.0, 88.0, 1 / 9, 19.085, 0.054),
        (110.0, 132.0, 1 / 11, 20.828, 0.036),
        (75.0, 60.0, 1 / 9, 19.085, 0.054),
    ],
)
def test_mismatch(source: float, load: float, size: float, returned: float, lost: float) -> None:
    assert abs(reflection(source, load)) == pytest.approx(size, rel=1e-12)
    assert return_loss_db(source, load) == pytest.approx(returned, abs=1e-3)
    assert mismatch_loss_db(source, load) == pytest.approx(lost, abs=1e-3)


def test_a_match_reflects_nothing() -> None:
    assert return_loss_db(75.0, 75.0) == math.inf
    assert mismatch_loss_db(75.0, 75.0) == 0.0


@pytest.mark.parametrize(
    ("volts", "source", "load", "expected"),
    [
        # derived: turns sqrt(110/75) = 1.21106
        (2.0, 110.0, 75.0, 1.6514), (5.0, 110.0, 75.0, 4.1286),
        (0.5, 75.0, 110.0, 0.6055), (1.0, 75.0, 110.0, 1.2111),
    ],
)  # fmt: skip
def test_transformed_levels(volts: float, source: float, load: float, expected: float) -> None:
    assert transformed(volts, source, load) == pytest.approx(expected, abs=1e-4)


def test_minimum_loss_pad() -> None:
    found = minimum_loss_pad(110.0, 75.0)
    # derived: 62.05 ohm, 132.96 ohm, 5.548 dB of power, -7.212 dB of voltage
    assert (found.series_ohm, found.shunt_ohm) == pytest.approx((62.05, 132.96), abs=0.005)
    assert found.power_loss_db == pytest.approx(5.548, abs=1e-3)
    assert found.voltage_ratio_db == pytest.approx(-7.212, abs=1e-3)
    # closed form: both sides are matched
    low = 1.0 / (1.0 / found.shunt_ohm + 1.0 / (found.series_ohm + 110.0))
    assert low == pytest.approx(75.0)


@pytest.mark.parametrize("wanted", [3.0, 6.0, 10.0, 16.4, 20.0])
def test_tee_pad_is_matched_and_attenuates(wanted: float) -> None:
    found = tee_pad(75.0, wanted)
    inner = 1.0 / (1.0 / found.shunt_ohm + 1.0 / (found.series_ohm + 75.0))
    # closed form: matched within the steps of E24
    assert found.series_ohm + inner == pytest.approx(75.0, rel=0.1)
    # closed form: voltage across 75 ohm against that without the pad, 1/2
    output = inner / (75.0 + found.series_ohm + inner) * 75.0 / (75.0 + found.series_ohm)
    assert found.attenuation_db == pytest.approx(-20.0 * math.log10(2.0 * output))
    assert found.attenuation_db == pytest.approx(wanted, abs=0.8)


def test_studio_output_into_coaxial() -> None:
    advice = ask("digital-110", COAX, digital_volts_peak_to_peak=4.0)
    adapter, through = (of(advice, f"digital-110-to-75/{w}") for w in ("adapter", "transformer"))
    assert advice.chosen == "digital-110-to-75/transformer"
    assert (adapter.verdict, through.verdict) == ("avoid", "use")
    assert {"digital-level", "digital-grounding", "digital-format"} <= codes(adapter)
    assert {"digital-level", "digital-format"} <= codes(through)
    # derived: 4 sqrt(75/110) = 3.303 V, 16.4 dB above 0.5 V
    assert through.high_volts == pytest.approx(3.303, abs=1e-3)
    assert through.pad is not None
    assert through.pad.attenuation_db == pytest.approx(16.4, abs=0.8)
    assert any("14.5 dB return loss and 0.16 dB" in r for r in adapter.reasons)
    # derived, as below: the pad that matches 110 to 75 ohm
    assert any("62 ohm in series" in r and "5.5 dB of power" in r for r in adapter.reasons)
    json.dumps(advice.to_json(), allow_nan=False)
    assert "USE  digital-110-to-75/transformer" in render(advice)


def test_undeclared_level_is_the_range_of_the_standard() -> None:
    through = of(ask("digital-110", COAX), "digital-110-to-75/transformer")
    # derived: 2 to 7 V through sqrt(75/110)
    assert (through.low_volts, through.high_volts) == pytest.approx((1.6514, 5.780), abs=1e-3)


def test_coaxial_into_studio_input() -> None:
    advice = ask("digital-75", XLR, digital_volts_peak_to_peak=0.5)
    through = of(advice, "digital-75-to-110/transformer")
    assert advice.chosen == "digital-75-to-110/transformer"
    # derived: 0.6055 V, below the 2 V sent by the standard and above the 0.2 V needed
    assert through.high_volts == pytest.approx(0.6055, abs=1e-4)
    assert any("below what AES3 sends" in r for r in through.reasons)
    assert of(advice, "digital-75-to-110/adapter").verdict == "avoid"


@pytest.mark.parametrize(("connector", "socket"), [("digital-75", COAX), ("digital-110", XLR)])
def test_like_to_like(connector: str, socket: Input) -> None:
    advice = ask(connector, socket)
    assert advice.chosen == f"{connector}-to-{connector.removeprefix('digital-')}"
    assert codes(advice.digital[0]) == set()


def test_length() -> None:
    # RaneNote 149: 10 m on the consumer link
    assert ask("digital-75", COAX, 10.0).chosen == "digital-75-to-75"
    long = ask("digital-75", COAX, 12.0)
    assert (long.chosen, codes(long.digital[0])) == (None, {"digital-length"})


@pytest.mark.parametrize(
    ("connector", "socket", "metres", "chosen"),
    [
        # RaneNote 149, table 1: 10 m of coaxial lead, 100 m of balanced lead
        ("digital-75", XLR, 10.0, "digital-75-to-110/transformer"),
        ("digital-75", XLR, 12.0, "digital-75-to-110/transformer-at-source"),
        ("digital-110", COAX, 10.0, "digital-110-to-75/transformer"),
        ("digital-110", COAX, 12.0, "digital-110-to-75/transformer-at-destination"),
        ("digital-75", XLR, 101.0, None),
    ],
)
def test_a_run_too_long_for_coaxial_goes_over_the_balanced_lead(
    connector: str, socket: Input, metres: float, chosen: str | None
) -> None:
    """Somebody with 12 m was told to use nothing, or bought coaxial lead that is too long."""
    advice = ask(connector, socket, metres, digital_volts_peak_to_peak=4.0 if "110" in connector
                 else 0.5)  # fmt: skip
    assert advice.chosen == chosen
    if chosen and metres > 10.0:
        why = " ".join(advice.choices[0].why)
        assert "not over a 75 ohm lead: 12 m is longer than the 10 m" in why


def test_a_weak_output_does_not_reach_as_far_as_the_standard_one() -> None:
    # derived: 0.5 sqrt(110/75) / 0.2 is 9.62 dB; AES3 (table 1) lets 20 log10(2 / 0.2) = 20 dB be
    # lost over 100 m, so that 48 m are sure
    near, far = (ask("digital-75", XLR, m, digital_volts_peak_to_peak=0.5) for m in (48.0, 49.0))
    assert near.chosen == "digital-75-to-110/transformer-at-source"
    found = of(far, "digital-75-to-110/transformer-at-source")
    assert (far.chosen, found.verdict) == (None, "cannot-tell")
    told = " ".join(render(far).split())
    # arithmetic: 9.62 dB over 49 m
    assert "may take 9.6 dB, as much as 48 m" in told
    assert "less than 0.2 dB a metre" in told
    assert "(cannot tell)" in told
    # the sheet says the same
    assert any("may take 9.6 dB" in because for _, _, because in leaves_of(far.to_json())[0].others)


def test_what_lead_is_to_be_taken_is_that_of_the_run() -> None:
    document = facts(connectors=("digital-75",))
    found = advise(document, {}, Destination("desk", (XLR,)))
    # the wiring: coaxial before a transformer at the receiver, balanced behind one at the source
    for way, ohm in (("transformer", 75), ("transformer-at-source", 110)):
        link = of(found, f"digital-75-to-110/{way}")
        assert any(f"take one made for {ohm} ohm" in r for r in link.reasons)


def test_an_attenuator_for_a_level_that_nobody_stated_says_so() -> None:
    through = of(ask("digital-110", COAX), "digital-110-to-75/transformer")
    # derived: 2 sqrt(75/110) = 1.65 V less the 21.2 dB that 7 V want is 0.144 V, below 0.2 V
    assert any("would be 0.14 V" in h.message for h in through.hazards)
    stated = of(ask("digital-110", COAX, digital_volts_peak_to_peak=4.0),
                "digital-110-to-75/transformer")  # fmt: skip
    assert not any("would be" in h.message for h in stated.hazards)


def test_the_level_in_doubt_is_asked_on_the_sheet_too() -> None:
    """The customer bought transformer and attenuator, and the link may stay silent."""
    either = dataclasses.replace(COAX, digital_format="both")
    found = ask("digital-110", either, 8.0)
    # derived: 0.144 V of the 0.2 V needed, as above
    (leaf,) = leaves_of(found.to_json())
    (asked,) = leaf.asked
    assert asked.startswith("Before anything is bought, ask the maker of the device for the level")
    assert "0.14 V, less than the 0.2 V that are needed" in asked
    # the key of the file is for who types it
    assert "digital_volts_peak_to_peak" not in asked
    # on the screen it stands with the link, once
    assert "Would change" not in render(found)
    # a level that is known fits, and nobody is asked
    known = ask("digital-110", either, 8.0, digital_volts_peak_to_peak=4.0)
    assert leaves_of(known.to_json())[0].asked == ()


def test_a_plain_lead_that_merely_is_long_is_tried_first() -> None:
    """Lost: transformer, 110 ohm lead and attenuator bought for 2 m beyond a promise."""
    found = ask("digital-75", COAX, 12.0)
    # published limit of the consumer link: 10 m, so 2 m beyond; it stays "avoid"
    assert of(found, "digital-75-to-75").verdict == "avoid"
    assert found.choices[0].option is None
    says = "try a 75 ohm coaxial lead made for digital: it is 2 m beyond the 10 m the standard"
    assert found.choices[0].why[0].startswith(f"before anything else is bought, {says}")
    assert "nothing is harmed" in found.choices[0].why[0]
    (leaf,) = leaves_of(found.to_json())
    assert leaf.asked[0].startswith("Before anything else is bought, try a 75")
    assert leaf.asked[0].endswith("nothing is harmed.")
    # common practice, no source: what is tried is what the customer is handed
    assert leaf.chosen == "Try first: A 75 Ω coaxial lead made for digital"
    assert leaf.needs[0].startswith("First: one for both sides")
    assert leaf.drawing is not None


@pytest.mark.parametrize(
    ("metres", "tried"),
    # published limit of the consumer link: 10 m; our judgement: what is tried has twice that
    [(15.0, True), (20.0, True), (20.5, False), (30.0, False)],
)
def test_how_long_a_lead_may_be_to_be_tried_and_what_helps_beyond(
    metres: float, tried: bool
) -> None:
    """Lost: 30 m of coax ordered to be tried, and no word of what is made for that length."""
    found = ask("digital-75", COAX, metres)
    assert ("plain-lead-first" in {s.code for s in found.would_change}) == tried
    (helps,) = [s.what for s in found.would_change if s.code == "line-driver"]
    # published: AES-3id sends 1 V over 1000 m; closed form: 20 log(1 / 0.5) = 6 dB
    assert "sends the 1 V of AES-3id, for which the same lead may have 1000 m" in helps
    assert "with 6 dB taken off before an input that expects 0.5 V" in helps
    assert "the boxes within 10 m of lead" in helps
    assert any(w.endswith(f"what would help: {helps}") for w in found.choices[0].why)
    screen = " ".join(render(found).split())
    assert screen.count("an amplifier for digital audio (active)") == 1
    (leaf,) = leaves_of(found.to_json())
    assert (leaf.drawing is not None) == tried
    start = "If it does not do, what helps: " if tried else "What would help: "
    assert any(line.startswith(f"{start}an amplifier for digital audio") for line in leaf.why)
    # the length and its limit stand there, whichever it is
    assert any(f"{metres:g} m is longer than the 10 m" in w for w in found.choices[0].why)
    assert tried or any(f"{metres:g} m is longer than the 10 m" in line for line in leaf.why)


def test_a_balanced_digital_lead_that_is_far_too_long_goes_over_coax() -> None:
    found = ask("digital-110", XLR, 250.0)
    assert "plain-lead-first" not in {s.code for s in found.would_change}
    (helps,) = [s.what for s in found.would_change if s.code == "line-driver"]
    # published: AES3 100 m, AES-3id 1000 m
    assert "a 75 ohm lead between, on which AES-3id promises 1000 m" in helps
    assert "the boxes within 100 m of lead" in helps
    # what is within its length needs no help
    within = ask("digital-75", COAX, 8.0)
    assert "line-driver" not in {s.code for s in within.would_change}


def test_a_lead_that_is_tried_is_at_the_head_of_the_list(tmp_path: Path) -> None:
    """Lost: "take nothing yet", and the lead of 15 m in stock named nowhere."""
    there = Destination("converter", (COAX,), Cable(12.0, impedance_ohm=75.0))
    path = tmp_path / "shelf.toml"
    path.write_text(
        'format = "probe-shelf/1"\n[[part]]\nname = "Coax 15 m"\nkind = "lead"\n'
        'from = "rca-male"\nto = "rca-male"\nwires = ["centre-centre", "shell-shell"]\n'
        "length_m = 15.0\nimpedance_ohm = 75.0\nprice = 42.0\nstock = 2\n", "utf-8",
    )  # fmt: skip
    (basket,) = lists(ask("digital-75", COAX, 12.0), there, read_shelf(path)).own
    assert basket.says[0].startswith("first: 1 x Coax 15 m, 42.00 EUR")
    assert not any("take nothing" in line for line in basket.says)


@pytest.mark.parametrize(
    ("socket", "more"),
    [
        # a level the input does not take is another objection, whatever the length
        (COAX, {"digital_volts_peak_to_peak": 0.1}),
        (dataclasses.replace(COAX, digital_format="professional"), {"digital_format": "consumer"}),
    ],
)
def test_a_lead_with_another_objection_is_not_tried(socket: Input, more: dict[str, Any]) -> None:
    found = ask("digital-75", socket, 12.0, **more)
    assert not any("try a 75" in w for w in found.choices[0].why)
    assert not any(s.code == "plain-lead-first" for s in found.would_change)


def test_the_sheet_has_the_reason_of_the_screen() -> None:
    """A customer read that the level is above what the receiver needs, and bought the link."""
    advice = ask("digital-75", XLR, 12.0)
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.others
    # IEC 60958-3, from memory: 10 m; the rule: what the screen says against it stands on paper
    assert all("12 m is longer than the 10 m" in because for _, _, because in leaf.others)
    assert all("channel-status format" in because for _, _, because in leaf.others)
    assert "12 m is longer than the 10 m" in " ".join(render(advice).split())


def test_how_a_pad_is_made_is_not_told_of_a_link_that_is_too_long() -> None:
    """The cell of the sheet had 400 characters, and what decides stood among resistors."""
    found = ask("digital-110", COAX, 40.0)
    through = of(found, "digital-110-to-75/transformer")
    # IEC 60958-3, from memory: 10 m
    assert "40 m is longer than the 10 m" in through.to_json()["because"]
    assert "attenuator" not in through.to_json()["because"]
    # of the one that is used it is told, once on the whole screen
    assert " ".join(render(found).split()).count("an attenuator belongs to it") == 1


def test_format_stated_otherwise_is_avoided() -> None:
    strict = dataclasses.replace(COAX, digital_format="consumer")
    through = of(ask("digital-110", strict), "digital-110-to-75/transformer")
    assert through.verdict == "avoid"
    assert "digital-format" in codes(through)
    both = dataclasses.replace(COAX, digital_format="both")
    assert "digital-format" not in codes(of(ask("digital-110", both),
                                            "digital-110-to-75/transformer"))  # fmt: skip


@pytest.mark.parametrize(
    ("connector", "to"), [("digital-75", "rca"), ("digital-110", "xlr"), ("rca", "digital-75")]
)
def test_analogue_and_digital_are_never_joined(connector: str, to: str) -> None:
    socket = Input("in", to, "single-ended", 47e3)  # type: ignore[arg-type]
    advice = ask(connector, socket)
    assert (advice.chosen, advice.digital, advice.options) == (None, (), ())
    assert "digital" in {c.code for c in advice.cautions}


def test_an_interconnect_is_no_digital_lead() -> None:
    document = facts(connectors=("digital-75",))
    found = advise(document, {}, Destination("converter", (COAX,)))
    assert any("impedance is unknown" in r for r in found.digital[0].reasons)


def test_a_weak_level_that_does_is_minded_and_no_attenuator_is_spoken_of() -> None:
    """Two weak links in a row, and it drops out: whoever is told looks at the level first."""
    advice = ask("digital-75", XLR, digital_volts_peak_to_peak=0.5)
    found = of(advice, "digital-75-to-110/transformer")
    # closed form: 0.5 sqrt(110/75) = 0.606 V, below the 2 V (RaneNote 149: 2 to 7 V) that are sent
    assert "digital-low" in codes(found)
    assert found.verdict == "use"
    assert "mind: 0.606 V peak to peak" in render(advice)
    assert "level is fitted" not in render(advice)
    (leaf,) = leaves_of(advice.to_json())
    assert "the transformer in this one keeps the grounds apart" in leaf.hum[0]


def test_a_digital_device_needs_no_take() -> None:
    advice = ask("digital-75", COAX)
    assert "nothing-measured" not in {c.code for c in advice.cautions}


def test_a_coaxial_lead_says_what_flows_between_the_earths() -> None:
    """Or isolators are bought for the analogue leads, and the digital one joins the boxes again."""
    document = {**facts(connectors=("digital-75",)), "made": {"bench": {"mains_hz": 50.0}}}

    def told(ground: GroundPath) -> Advice:
        socket = dataclasses.replace(COAX, ground=ground)
        return advise(document, {}, Destination("converter", (socket,), Cable(impedance_ohm=75.0)))

    # Ohm's law: 100 mV behind 1 ohm and the 0.05 ohm of a shield of 1 m with its contacts, 95 mA
    advice = told(GroundPath(0.1, ohm=1.0))
    (note,) = [h for h in of(advice, "digital-75-to-75").hazards if h.code == "digital-earths"]
    assert "carries 95 mA" in note.message
    assert "A digital isolating transformer, 75 to 75 ohm" in note.message
    assert of(advice, "digital-75-to-75").verdict == "use"
    assert "carries 95 mA" in " ".join(render(advice).split())
    assert any("95 mA" in note for note in leaves_of(advice.to_json())[0].notes)
    # 3 V behind 0.2 ohm, 12 A: nothing is joined
    advice = told(GroundPath(3.0, ohm=0.2))
    assert (advice.chosen, advice.digital) == (None, ())
    assert [c.code for c in advice.cautions] == ["ground-fault"]
    # a mains filter: 115 V through 4.7 nF at 50 Hz, 0.17 mA
    advice = told(GroundPath(115.0, farad=4.7e-9))
    assert "digital-earths" not in codes(of(advice, "digital-75-to-75"))
