"""What stands at the head of the sheet, and what it must not claim; regression only."""

from __future__ import annotations

import re
from typing import Any

from probe.advice.advise import advise
from probe.advice.audible import hum_heard
from probe.advice.cautions import NOT_METERED
from probe.advice.quantity import Quantity
from probe.advice.typed import typed_destination
from probe.report.bounded import figure
from probe.report.leaflet import leaves_of
from probe.report.other_ways import fewest, other_ways, why_nothing
from probe.report.varied import varied_of
from tests.advice.stages import facts, symmetrical

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


def test_a_sheet_names_only_what_its_own_lead_touches() -> None:
    """Else the customer has pins metered on sockets that his lead never sees."""
    document = advise(facts(), {"left": symmetrical()}, typed_destination("rca:47k:1.5V", 50.0))
    advice = document.to_json()
    (screen,) = [c["message"] for c in advice["cautions"]
                 if c["code"] == "direct-voltage-not-metered"]  # fmt: skip
    (leaf,) = [line for line in leaves_of(advice)[0].before if "metered" in line]
    assert advice["chosen"] == "rca-to-rca"
    # the screen has all ways before it, the sheet one
    assert all(place in screen for place in NOT_METERED.values())
    assert "metered on: the RCA centre against its shell. Have your dealer check" in leaf
    assert "pin" not in leaf
    advice["options"] = [o for o in advice["options"] if o["from"] == "xlr"]
    for option in advice["options"]:
        option["verdict"] = "avoid"  # nothing is used: both pins, of any way there is
    leaf = next(line for line in leaves_of(advice)[0].before if "metered" in line)
    assert "on: pin 2 against pin 1, pin 3 against pin 1. Have" in leaf
    where = NOT_METERED["single-ended"]
    message = f"No direct voltage was metered on: {where}. Check before connecting."
    advice["cautions"] = [{"code": "direct-voltage-not-metered", "message": message}]
    assert not any("metered" in line for line in leaves_of(advice)[0].before)


def of_two(**beside: Any) -> Any:
    """The sheet of one of two boxes; ``beside``: what differs with the other one plugged in."""
    hum = {"value": 121.0, "unit": "dB", "low": 120.5, "high": 130.0}
    option = {"id": "rca-to-rca", "verdict": "use", "destination": "sub", "input": "rca input",
              "side": "mono", "level_vs_rca_db": {"value": 0.0, "unit": "dB"}, "hazards": [],
              "hum_below_full_output_db": hum}  # fmt: skip
    other = {**option, "id": "xlr-to-xlr", "destination": "amp", "input": "xlr input"}
    both = [{**other, "verdict": "works"}, {**option, "verdict": "works", **beside}]
    leaves = leaves_of(
        {
            "options": [other, option],
            "sets": [{"options": both}],
            "cautions": [{"code": "together-mind", "message": "sub, rca-to-rca: so"}],
        }
    )
    assert not any("at once:" in line for line in leaves[0].before)
    return leaves[1]


def test_the_sheet_of_one_box_has_the_hum_that_all_of_them_have() -> None:
    """The customer buys them to be plugged in together; a sheet of each alone promises silence."""
    less = {"value": 81.1, "unit": "dB", "low": 81.1, "high": 81.1}
    hazard = {"code": "hum", "message": "hum 81.1 dB below full output: may be heard"}
    leaf = of_two(hum_below_full_output_db=less, hazards=[hazard])
    assert "Hum is 81 dB below full output" in " ".join(leaf.gains)
    assert ("Hum below full output", "81.1 dB") in leaf.figures
    # said at the head, and not once more at the foot
    assert not any("may be heard" in note for note in leaf.notes)
    assert leaf.before == (
        "With all plugged in at once: hum 81.1 dB below full output: may be heard (with the leads "
        "of the others unplugged more than 120 dB).",
    )


def test_the_sheet_says_what_the_other_boxes_take_of_the_level() -> None:
    leaf = of_two(level_vs_rca_db={"value": -1.5, "unit": "dB"})
    assert leaf.before == ("The leads of the other boxes make it 1.5 dB quieter than it is alone.",)
    assert "1.5 dB quieter" in " ".join(leaf.gains)


def test_a_box_that_is_not_settled_beside_the_others_says_so_first() -> None:
    leaf = of_two(verdict="cannot-tell", reasons=["the tie is not known"])
    assert leaf.before[0].endswith("whether this one still works: the tie is not known.")


def test_phantom_power_is_told_where_the_input_is_an_xlr() -> None:
    assert sheet("phantom-power").before == ()
    assert sheet("phantom-power", to="xlr").before == ("phantom-power said",)


def test_bass_is_not_whole_where_the_transformer_saturates() -> None:
    told = " ".join(sheet(hazards=[{"code": "saturation", "message": "it distorts"}]).gains)
    assert "whole" not in told
    assert "distorts in the deepest bass" in told
    assert "takes nothing off" in " ".join(sheet().gains)


def test_a_level_says_between_which_pins() -> None:
    assert "Levels at the declared 8 V between pins 2 and 3." in sheet().notes


def test_the_sum_of_the_shelf_stands_where_its_parts_do() -> None:
    advice = {
        "options": [{"id": "xlr-to-xlr", "verdict": "use", "destination": box, "hazards": []}
                    for box in ("amplifier", "subwoofer")],
        "shelf": [{"destination": box, "says": ["1 x lead"]} for box in ("amplifier", "subwoofer")],
        "shelf_total": ["38.00 EUR for 2 boxes", "to be ordered, 2 x, not in stock: lead"],
    }  # fmt: skip
    for leaf in leaves_of(advice):
        # what has to be ordered stands with the box it is for
        assert leaf.needs[-1] == "All in all: 38.00 EUR for 2 boxes"


def test_what_shares_an_output_stands_with_the_boxes_that_use_it() -> None:
    boxes = {"amplifier": "xlr", "subwoofer": "xlr", "recorder": "rca"}
    advice = {
        "options": [{"id": f"{out}-to-xlr", "verdict": "use", "destination": box, "from": out,
                     "hazards": []} for box, out in boxes.items()],
        "shelf": [{"destination": box, "says": ["1 x lead"]} for box in boxes]
        + [{"destination": None, "shares": "xlr", "says": ["1 x splitter", "9.00 EUR"]}],
    }  # fmt: skip
    told = [" ".join(leaf.needs) for leaf in leaves_of(advice)]
    assert ["1 x splitter; 9.00 EUR" in text for text in told] == [True, True, False]


def test_a_subwoofer_takes_one_lead() -> None:
    assert sheet(role="subwoofer").needs[0].startswith("One, for the subwoofer")
    assert sheet().needs[0].startswith("One for each side")


def test_a_long_label_is_broken_within_the_figure() -> None:
    chosen = ["xlr-to-rca/transformer", "xlr-to-xlr", "xlr-to-rca/transformer"]
    points = [{"value": v, "chosen": chosen} for v in (1.0, 50.0)]
    found = varied_of({"what": "cable-length", "unit": "m", "flips": [], "points": points})
    assert found is not None
    assert str(found.drawing).count("small over") >= 2


def test_the_mark_of_a_flip_runs_through_no_name() -> None:
    flips = [{"low": 3.7, "high": 3.8, "from": ["rca-to-rca"], "to": ["xlr-to-rca/transformer"]}]
    points = [{"value": 0.0, "chosen": ["rca-to-rca"]},
              {"value": 500.0, "chosen": ["xlr-to-rca/transformer"]}]  # fmt: skip
    found = varied_of({"what": "ground", "unit": "mV", "flips": flips, "points": points})
    assert found is not None
    drawn = str(found.drawing)
    marks = [line for line in re.findall(r"<polyline[^>]*>", drawn) if "flip" in line]
    spans = [[float(p.split(",")[1]) for p in re.search(r'points="([^"]+)"', m)[1].split()]  # type: ignore[index]
             for m in marks]  # fmt: skip
    names = [float(re.search(r' y="([\d.]+)"', t)[1])  # type: ignore[index]
             for t in re.findall(r"<text[^>]*small over[^>]*>", drawn)]  # fmt: skip
    assert len(names) == 2
    assert len(spans) == 3
    # a letter stands on its base line, and is no higher than 11 units of the drawing
    assert all(low > y + 2.0 or high < y - 11.0 for low, high in spans for y in names)


def leaf_of(hum: float, transformer: float | None) -> list[str]:
    """What is to be tried against hum, of a lead and of what a transformer in its place has."""

    def db(value: float) -> dict[str, Any]:
        heard = hum_heard(Quantity(value, "dB", value, value), 0.0).to_json()
        return {"value": value, "unit": "dB", "low": value, "high": value, "heard": heard}

    lead = {"id": "xlr-to-xlr", "destination": "amp", "verdict": "use", "pin_3": "through",
            "hum_below_full_output_db": db(hum)}  # fmt: skip
    other = {"id": "rca-to-xlr/transformer", "destination": "amp", "verdict": "works",
             "pin_3": "transformer"}  # fmt: skip
    if transformer is not None:
        other["hum_below_full_output_db"] = db(transformer)  # type: ignore[assignment]
    (leaf,) = leaves_of({"options": [lead, other]})
    return [line for line in leaf.hum if "transformer" in line]


def test_no_transformer_is_asked_for_that_hums_more_than_the_lead() -> None:
    # closed form: 32 dB below full output are more hum than 95
    assert leaf_of(95.0, 32.3) == []
    assert leaf_of(95.0, 120.0) != []
    # what was calculated and would help is listed by itself, so nothing listed is no help
    assert leaf_of(80.0, 80.5) == []


def test_ways_that_are_left_out_are_counted_and_no_better() -> None:
    held = [{"id": f"way {k}", "verdict": "never" if k < 4 else "works"} for k in range(10)]
    shown = fewest(other_ways(held, None))
    # arithmetic: five shown and five left out of ten; the six that work come first
    assert [row[0] for row in shown[:5]] == [f"way {k}" for k in range(4, 9)]
    assert shown[5][0] == "5 more"
    assert len(fewest(other_ways(held[:6], None))) == 6


def test_ways_are_left_out_only_where_there_is_no_room() -> None:
    options = [{"id": f"way {k}", "verdict": "use" if k == 0 else "works", "destination": "amp",
                "hazards": []} for k in range(11)]  # fmt: skip
    for words, rows in ((0, 10), (60, 6)):
        cautions = [{"code": "simulated", "message": f"{n} " + "word " * words} for n in range(12)]
        (leaf,) = leaves_of({"options": options, "cautions": cautions})
        # arithmetic: ten ways beside the one used; twelve cautions of 260 characters fill the side
        assert len(leaf.others) == rows


def test_a_sheet_has_the_cautions_of_its_own_box() -> None:
    message = "Some XLR inputs carry phantom power"
    options = [{"id": way, "verdict": verdict, "destination": box, "to": to, "hazards": []}
               for way, verdict, box, to in (("xlr-to-xlr", "use", "amp", "xlr"),
                                             ("rca-to-rca", "avoid", "sub", "rca"))]  # fmt: skip
    cautions = [{"code": "phantom-power", "message": message},
                {"code": "unlikely-sensitivity",
                 "message": "full output at 30 mV (sub: rca input)"}]  # fmt: skip
    amp, sub = leaves_of({"options": options, "cautions": cautions})
    # a box without an XLR input has no phantom power
    assert amp.before == (message,)
    # what is asked of its input stands above its choice, and on no other sheet
    assert [line.startswith("full output at 30 mV") for line in sub.asked] == [True]
    assert amp.asked == sub.before == ()


def test_what_is_much_to_read_is_printed_smaller() -> None:
    says = [{"code": "unlikely-sensitivity", "message": f"{n:02d}ab " + "word " * 44}
            for n in range(12)]  # fmt: skip
    option = {"id": "xlr-to-xlr", "destination": "amp", "verdict": "use"}
    # arithmetic: twelve cautions of 224 characters are more than the 2400 that fit
    assert leaves_of({"options": [option], "cautions": says})[0].full
    assert not leaves_of({"options": [option]})[0].full


def test_a_box_that_nothing_is_used_for_has_a_side_of_its_own() -> None:
    options = [
        {"id": "xlr-to-xlr", "destination": "amplifier", "verdict": "use"},
        {"id": "rca-to-rca", "destination": "subwoofer", "verdict": "avoid", "because": "it hums"},
    ]
    cures = [{"destination": "amplifier", "says": "a cure of the other box"}]
    choices = [{"destination": "subwoofer", "option": None, "least_bad": "rca-to-rca"}]
    one, other = leaves_of({"options": options, "cures": cures, "choices": choices})
    # one side for each box: what is asked of the sheet
    assert (one.destination, other.destination) == ("amplifier", "subwoofer")
    assert other.drawing is None
    assert other.chosen == "Nothing to recommend without reservation"
    assert "it hums" in " ".join(other.why)
    assert "other box" not in " ".join(other.why)


def test_a_bound_beyond_what_anybody_could_check_is_said_to_be_beyond() -> None:
    # the limit of the advice, 120 dB
    assert figure({"value": 130.0, "unit": "dB", "bound": "above"}) == "more than 120 dB"
    assert "110" in figure({"value": 110.0, "unit": "dB", "bound": "above"})


def test_a_cure_that_cannot_be_judged_yet_is_to_be_asked_about() -> None:
    option = {"id": "rca-to-rca", "destination": "amp", "verdict": "use"}
    cure = {"destination": "amp", "says": "a transformer", "better_by_db": 20.0}
    told = [
        leaves_of({"options": [option], "cures": [{**cure, "verdict": v}]})[0].hum[-1]
        for v in ("works", "cannot-tell")
    ]
    # regression only: the words
    assert told[0] == "A transformer (20 dB less hum)."
    assert told[1] == "A transformer (20 dB less hum); ask first whether it may be used."


def test_a_take_that_would_tell_stands_on_the_sheet_before_a_special_lead_is_bought() -> None:
    """Else leads and splitters are ordered for an output that was there all the time."""
    used = {"id": "xlr-to-rca/pin-3-open", "destination": "amp", "verdict": "use", "from": "xlr"}
    plain = {"id": "rca-to-rca", "destination": "amp", "verdict": "cannot-tell", "from": "rca"}
    missing = {"code": "rca-output", "what": "not measured", "answers": [], "destination": None}

    def asked(*options: dict[str, Any], codes: tuple[dict[str, Any], ...] = (missing,)) -> str:
        (leaf,) = leaves_of({"options": list(options), "would_change": list(codes)})
        return " ".join(leaf.asked)

    # our own rule: what is known to be missing is asked for before anything is bought
    assert "have the RCA output of the device measured" in asked(used, plain)
    # nothing is missing, the plain lead is judged, or a plain lead is used
    assert asked(used, plain, codes=()) == ""
    assert asked(used, plain | {"verdict": "avoid"}) == ""
    assert asked(plain | {"verdict": "use"}) == ""


def test_a_sheet_names_no_cure_that_cannot_be_told_to_help() -> None:
    """Else the customer buys a transformer that the same sheet's figures advise against."""
    option = {"id": "rca-to-rca/transformer", "verdict": "cannot-tell", "destination": "amplifier",
              "from": "rca", "to": "rca", "pin_3": "transformer", "says": "a lead",
              "hazards": [], "reasons": []}  # fmt: skip
    cure = {"cure": "isolating-transformer", "destination": "amplifier", "says": "a transformer"}
    origin = {"cure": "at-origin", "destination": "amplifier", "says": "one strip"}

    def said(*cures: Any) -> str:
        return " ".join(why_nothing({"options": [option], "cures": list(cures)}, [option]))

    # regression only: the verdict solved for a cure decides whether it is one to name
    for verdict in ("cannot-tell", "avoid", "never"):
        assert "would help" not in said({**cure, "verdict": verdict})
        assert "It would help: one strip." in said({**cure, "verdict": verdict}, origin)
    for verdict in ("use", "works"):
        assert "It would help: a transformer." in said({**cure, "verdict": verdict})
