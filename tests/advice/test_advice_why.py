"""Why an option is chosen and another passed by, and what is said where only part is known."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from probe.advice.advise import advise
from probe.advice.company import effects
from probe.advice.destination import Destination, Input, together
from probe.advice.ground import of_preset
from probe.advice.model import Advice
from probe.advice.text import render
from probe.advice.transformers import find_transformer
from probe.advice.typed import changed, typed_destination
from tests.advice.stages import facts, impedance_balanced, source, symmetrical

RCA = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.0)
XLR = Input("xlr", "xlr", "balanced", 20e3, circuit="difference-amplifier",
            impedance_is="each-leg", sensitivity_volts=2.0)  # fmt: skip


def ask(kind: str, stage: Any, destination: Destination, full: float = 4.0) -> Advice:
    document = facts(kind, device={"full_output_volts": full})
    return advise(document, {"left": stage}, destination)


def test_a_plain_lead_with_nothing_to_mind_before_a_transformer_that_saturates() -> None:
    # closed form: 10 V reach an input of 2 V whichever way; the XLR is 6 dB less sensitive
    there = changed(Destination("amp", (XLR, RCA)), ground="two-rooms", cable="8m")
    advice = ask("impedance-balanced", impedance_balanced(), there, full=10.0)
    assert advice.chosen == "xlr-to-xlr"
    # closed form: half the sensitivity is 6.02 dB, a little more under 20 than under 47 kohm
    assert advice.choices[0].why[0] == "6.1 dB quieter than the RCA link at the same volume " \
        "setting: turn up, it reaches full output"  # fmt: skip
    assert "part to buy" in advice.choices[0].why[-1]
    (spared,) = [o for o in advice.options if o.option.id == "xlr-to-rca/transformer"]
    assert (spared.verdict, "part to buy" in spared.passed_by) == ("works", True)


def test_more_loudness_asked_for_is_not_given_away() -> None:
    # closed form: as above, and +6 dB are asked for
    there = changed(Destination("amp", (XLR, RCA)), ground="two-rooms", cable="8m", gain="6dB")
    advice = ask("impedance-balanced", impedance_balanced(), there, full=10.0)
    assert all("turn up" not in why for why in advice.choices[0].why)


def test_what_an_attenuator_takes_is_not_laid_on_the_other_leads() -> None:
    # closed form: a second box of 1 Mohm draws 1e-4 of what 100 ohm can give, nothing to be felt
    boxes = together([
        typed_destination("rca:47k:0.8V:max=1V", 50.0), typed_destination("rca:1000k:1V:sub", 50.0)
    ])  # fmt: skip
    # nothing turns it down
    device = {"full_output_volts": 5.0, "volume_control": False}
    document = facts("differential", device=device, connectors=("rca",))
    advice = advise(document, {"left": symmetrical()}, boxes)
    choice = advice.choices[0]
    assert choice.attenuator
    assert all("by the other leads" not in told for told in effects(advice).values())
    assert all(c.code != "together" for c in advice.cautions)
    # arithmetic: 5 V into what accepts 1 V are 13.98 dB, half a decibel more is 15 in whole ones
    assert "with an attenuator of 15 dB in its plug" in choice.why[0]


def test_what_is_not_computed_is_said_with_its_box() -> None:
    # closed form: hum needs the ground, which only one of the two boxes states
    known = Input("a", "rca", "single-ended", 47e3, box="one", sensitivity_volts=1.0,
                  ground=of_preset("same-strip"))  # fmt: skip
    bare = Input("b", "rca", "single-ended", 47e3, box="two", sensitivity_volts=1.0)
    told = render(ask("differential", symmetrical(), Destination("both", (known, bare))))
    head = " ".join(told.split("USE")[0].split())
    assert "hum not computed for two; noise not computed" in head


def test_the_full_output_is_said_to_be_the_balanced_one() -> None:
    told = " ".join(render(ask("differential", symmetrical(), Destination("amp", (RCA,)))).split())
    # closed form: an RCA of half the volts gives 2 V at the 4 V the device declares
    assert "at the device's full output of 4 V between pins 2 and 3" in told


def test_a_strangers_name_does_nothing_to_the_terminal() -> None:
    # ECMA-48: a control sequence begins with ESC
    document = facts("differential", device={"maker": "\x1b[2J\u202eevil"})
    told = render(advise(document, {"left": symmetrical()}, Destination("amp", (RCA,))))
    assert "\x1b" not in told
    assert "\u202e" not in told
    assert "evil" in told


def test_hum_that_is_loud_is_called_loud() -> None:
    # closed form: 0.1 V behind 0.2 ohm (0.2 A) on a lead of 0.32 ohm leave 62 mV, 24 dB below 1 V
    there = changed(Destination("amp", (RCA,)), ground="100mV/0.2ohm", cable="10m")
    advice = ask("differential", symmetrical(), there)
    (rca,) = [o for o in advice.options if o.option.id == "rca-to-rca"]
    assert "loud enough to disturb the music" in rca.reasons[0]


def test_no_transformer_is_bought_where_a_lead_works() -> None:
    # closed form: 0.2 mV x 0.11/(0.11 + 0.2) ohm are 71 uV, 83 dB below 1 V: heard close by at most
    there = changed(Destination("amp", (RCA,)), ground="same-strip", cable="3m")
    advice = ask("differential", symmetrical(), there)
    assert advice.chosen == "rca-to-rca"
    assert any("would hum less" in why for why in advice.choices[0].why)
    # and where the lead hums below 75 dB (100 mV behind 1 ohm), it is
    far = changed(Destination("amp", (RCA,)), ground="two-rooms", cable="8m")
    bought = ask("differential", symmetrical(), far)
    # docs/advice.md: of isolators that do the same the one between like connectors
    assert bought.chosen == "rca-to-rca/transformer"
    # what it is bought for stands first, not that it is as loud
    assert bought.choices[0].why[0] == "rca-to-rca is better avoided (below)"


def test_a_sound_output_before_a_faulty_one() -> None:
    document = facts("differential", stage={"faults": ["legs-in-phase"]})
    both = Destination("amp", (XLR, RCA))
    advice = advise(document, {"left": symmetrical()}, both)
    assert (advice.chosen or "").startswith("rca-")
    assert "without the fault" in "; ".join(advice.choices[0].why)


def test_far_too_much_level_is_minded_and_the_attenuator_offered() -> None:
    # arithmetic: 4 V over 0.19 V are 26.5 dB; 10 dB are left of it, so 16 are taken
    wants_little = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=0.19)
    advice = ask("differential", symmetrical(), Destination("amp", (wants_little,)), full=8.0)
    (rca,) = [o for o in advice.options if o.option.id == "rca-to-rca"]
    assert "excess-level" in {h.code for h in rca.hazards}
    assert rca.attenuator is not None
    assert not rca.attenuator.fitted
    assert rca.attenuator.designs[0].wanted_db == 16.0
    # arithmetic: 2 V over 0.21 V are 19.6 dB, under the 20 of common practice
    enough = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=0.21)
    other = ask("differential", symmetrical(), Destination("amp", (enough,)), full=4.0)
    assert all(h.code != "excess-level" for o in other.options for h in o.hazards
               if o.option.id == "rca-to-rca")  # fmt: skip


def test_an_attenuator_that_is_asked_for_is_in_everything() -> None:
    there = Destination("amp", (RCA,), attenuation_db=10.0)
    advice = ask("differential", symmetrical(), there)
    choice = advice.choices[0]
    assert choice.attenuator
    assert choice.why[0].startswith("with an attenuator of 10 dB in its plug")
    (chosen,) = [o for o in advice.options if o.verdict == "use"]
    # arithmetic: 2 V less 10 dB are 0.632 V, less what the source's 100 ohm and the pad take
    level = chosen.used.figures.level
    assert level is not None
    assert 0.60 < level.value < 0.64
    assert chosen.to_json()["attenuator"]["fitted"] is True


def test_a_measured_maximum_is_not_what_is_played() -> None:
    # arithmetic: 10 V over 0.5 V are 26 dB, but nobody says that the device is played there
    maximum = {"differential_maximum": {"value": 10.0, "unit": "V", "u95": 0.1}}
    document = facts("differential", values=maximum)
    xlr = replace(XLR, circuit="buffered", sensitivity_volts=0.5)
    wants_little = Destination("amp", (xlr,))
    measured = advise(document, {"left": symmetrical()}, wants_little)
    assert all(h.code != "excess-level" for o in measured.options for h in o.hazards)
    said = advise(document, {"left": symmetrical()}, replace(wants_little, operating_volts=10.0))
    assert any(h.code == "excess-level" for o in said.options for h in o.hazards)


def test_two_resistors_before_a_transformer() -> None:
    # closed form: 0.2 mV x 0.05/0.25 ohm are 40 uV, 74 dB below 0.2 V: avoid; 4 V are 26 dB too
    # much, so 16 dB go, and with them as much of the hum: 90 dB
    little = replace(RCA, sensitivity_volts=0.2)
    there = changed(Destination("amp", (little,)), ground="same-strip", cable="1m")
    advice = ask("differential", symmetrical(), there, full=8.0)
    (rca,) = [o for o in advice.options if o.option.id == "rca-to-rca"]
    bare, padded = (o.figures.hum_below_full_output_db for o in (rca, rca.used))
    assert bare is not None
    assert padded is not None
    assert round(bare.value) == 74
    assert round(padded.value) == 90
    assert (advice.chosen, advice.choices[0].attenuator) == ("rca-to-rca", True)


def test_what_stays_short_of_full_output_is_not_called_loud_enough() -> None:
    # arithmetic: 0.5 V into 1.2 V are 7.6 dB short, and the 1 V of both legs still 1.6 dB
    box = Destination("amp", (replace(RCA, sensitivity_volts=1.2),))
    advice = ask("differential", symmetrical(), box, full=1.0)
    # a fault is no reason: it stands with what is gained
    assert not any("short" in reason for reason in advice.choices[0].why)
    assert "7.6 dB short of full output" in " ".join(render(advice).split())


def test_a_hundredth_of_a_decibel_sends_nobody_to_a_transformer() -> None:
    # arithmetic: 100 ohm into 47 kohm take 0.018 dB, and less than 0.5 dB short counts as reached
    box = Destination("amp", (replace(RCA, sensitivity_volts=2.0),))
    advice = ask("differential", symmetrical(), box, full=4.0)
    assert advice.chosen == "rca-to-rca"
    assert all(h.code != "clips-short" for o in advice.options for h in o.hazards)


def test_an_output_that_clips_well_before_full_output_is_told() -> None:
    # arithmetic: 2 V into 2.4 V are 1.6 dB short; both legs through a transformer give 4 V
    box = Destination("amp", (replace(RCA, sensitivity_volts=2.4),))
    advice = ask("differential", symmetrical(), box, full=4.0)
    (rca,) = [o for o in advice.options if o.option.id == "rca-to-rca"]
    assert [h.code for h in rca.hazards] == ["clips-short"]
    assert advice.chosen == "xlr-to-rca/transformer"


def test_where_nothing_reaches_full_output_the_nearest_is_called_that() -> None:
    # arithmetic: 1 V between the legs into 2 V are 6.0 dB short; each leg alone 12.0
    advice = ask("differential", symmetrical(),
                 Destination("amp", (replace(XLR, sensitivity_volts=2.0),)), full=1.0)  # fmt: skip
    assert advice.chosen == "xlr-to-xlr"
    assert advice.choices[0].why[0] == (
        "nothing that works reaches full output; this comes nearest, 6.1 dB short"
    )


def test_of_two_isolators_the_one_with_nothing_to_mind() -> None:
    # closed form: 10 V between pins 2 and 3 are 5 V at the RCA output; an ordinary core takes 5 V
    there = changed(Destination("amp", (RCA,)), ground="two-rooms", cable="4m")
    advice = ask("differential", symmetrical(), there, full=9.0)
    held = {o.option.id: o for o in advice.options}
    assert held["xlr-to-rca/transformer"].hazards
    assert not held["rca-to-rca/transformer"].hazards
    assert advice.chosen == "rca-to-rca/transformer"
    (row,) = [k for k in render(advice).splitlines() if "xlr-to-rca/transformer  " in k]
    assert row.startswith("works, but")


def test_the_rca_output_is_judged_by_its_own_maximum() -> None:
    most = {"differential_maximum": {"value": 4.0}, "single_ended_maximum": {"value": 1.5}}
    document = facts("differential", values=most)
    advice = advise(document, {"left": symmetrical()}, Destination("amp", (RCA,)))
    levels = {o.option.id: o.figures.level for o in advice.options}
    gives = {id_: round(q.value, 2) for id_, q in levels.items() if q is not None}
    # closed form: 50 ohm into 47 kohm lose 0.1 %: 1.5 V on the RCA; half of 4 V on one leg
    assert gives["rca-to-rca"] == 1.5
    assert gives["xlr-to-rca/pin-3-open"] == 2.0
    assert "at the RCA output's measured maximum of 1.5 V" in " ".join(render(advice).split())


def test_what_is_to_be_minded_on_both_sides_stands_once() -> None:
    document = facts("differential", device={"full_output_volts": 9.0})
    document["sides"]["right"] = document["sides"]["left"]
    there = changed(Destination("amp", (RCA,)), ground=None, gain="6dB")
    other = source(diff=2.0, z_diff=104.0, z_common=26.0, single=1.0, z_single=52.0)
    sides = {"left": symmetrical(), "right": other}
    advice = advise(document, sides, there)
    minds = [o.hazards for o in advice.options if o.verdict == "use"]
    told = [line for line in render(advice).splitlines() if line.startswith("- mind")]
    # arithmetic: two sides with the same hazards, each told once
    assert len(minds) == 2
    assert [h.code for h in minds[0]] == [h.code for h in minds[1]]
    assert {h.message for h in minds[0]} != {h.message for h in minds[1]}
    assert len(told) == len(minds[0]) > 0


def test_a_quieter_way_says_that_full_output_is_not_known() -> None:
    # closed form: two to one is half the volts, 6.0 dB below the lead
    there = changed(Destination("amp", (RCA,), transformer=find_transformer("yarrow")),
                    ground="two-rooms", cable="4m")  # fmt: skip
    document = facts(connectors=("rca",))
    found = advise(document, {"left": symmetrical()}, there)
    assert found.chosen == "rca-to-rca/transformer"
    says = "whether that reaches full output is not known"
    assert says in " ".join(render(found).split())
    declared = advise(document, {"left": symmetrical()}, replace(there, operating_volts=10.0))
    assert says not in " ".join(render(declared).split())


def test_an_output_seen_clipping_is_minded_where_it_is_used() -> None:
    document = facts()
    values = document["sides"]["left"]["facts"]
    values["differential_maximum"] = {"value": 8.0, "unit": "V", "u95": 0.1}
    seen = {"code": "output-clips", "take": "left single ended", "side": "left", "message": "seen"}
    there = changed(Destination("amp", (RCA,)), ground="same-strip", cable="2m")

    def minded(**more: Any) -> tuple[set[str], bool, bool]:
        found = advise({**document, **more}, {"left": symmetrical()}, there)
        held = {o.option.id: o for o in found.options}
        codes = {o.option.id for o in found.options if any(h.code == "output-clips"
                                                           for h in o.hazards)}  # fmt: skip
        figures = held["rca-to-rca"].figures
        return codes, figures.clips_at is None, figures.full_output_margin_db is None

    rca = {"rca-to-rca", "rca-to-rca/transformer"}
    # half of the pair's 8 V would be promised of an output that was seen to give less
    assert minded(warnings=[seen]) == (rca, True, True)
    assert minded() == (set(), False, False)
    # a load that makes it clip says nothing of the output by itself
    assert minded(warnings=[{**seen, "take": "left load hot"}])[0] == set()
    assert minded(warnings=[{**seen, "side": "right"}])[0] == set()
    # what is measured is known better
    values["single_ended_maximum"] = {"value": 3.0, "unit": "V", "u95": 0.1}
    assert minded(warnings=[seen]) == (set(), False, False)


def test_nothing_is_said_to_stand_below_that_is_not_printed() -> None:
    """Lost: "(below)" of a table that several boxes have with --details alone."""
    far = changed(Destination("amp", (RCA,)), ground="two-rooms", cable="8m")
    advice = ask("differential", symmetrical(), together([far, replace(far, name="other")]))
    assert all(c.why[0] == "rca-to-rca is better avoided (below)" for c in advice.choices)
    assert "(below)" not in render(advice)
    assert "(below)" in render(advice, details=True)
