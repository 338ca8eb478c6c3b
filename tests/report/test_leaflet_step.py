"""A sheet that is handed over alone shows what is done now: to try, to ask, and then to buy."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.report import render_html
from probe.report.before import asked_of
from probe.report.gains import gains
from probe.report.leaflet import Leaf, leaves_of
from probe.report.other_ways import other_ways
from probe.report.step import Step, in_words
from tests.advice.sheets import PLAYER
from tests.advice.test_lead_first import MIXER, TELEVISION, ask
from tests.advice.test_winding_asked import ask as ask_winding

LEAD = "XLR to RCA: pin 3 on its own conductor, joined to the shell at the destination"
ISOLATED = "XLR to RCA through an audio isolating transformer"


@pytest.fixture
def tried(tmp_path: Path) -> Leaf:
    (leaf,) = leaves_of(ask(tmp_path, MIXER, "rca:10k:0.775V", "two-rooms").to_json())
    return leaf


def test_a_lead_to_try_is_headline_and_drawing(tried: Leaf) -> None:
    """Lost: the customer wires the transformer that the picture has, and never tries the lead."""
    assert tried.chosen == f"Try first: {LEAD}"
    assert "transformer" not in str(tried.drawing)
    assert tried.caption == "The lead to try first."


def test_without_a_shelf_the_list_has_what_is_tried_and_then_what_is_bought(tried: Leaf) -> None:
    """Lost: two isolators are ordered by a sheet that says to try a lead first."""
    first, then = tried.needs
    assert first.startswith("First: one for each side: an XLR lead, then an adapter")
    assert then.startswith("Only if that does not do: one for each side: pins 2 and 3 to an isol")
    # the sheet: 0.775 V are the input's full output, and a mixer has faders: an ordinary core does
    assert "at least 5 V at 20 Hz" in then


def test_no_promise_of_one_way_is_read_as_that_of_the_other(tried: Leaf) -> None:
    """Lost: silence is promised under the name of a lead that may hum."""
    said = list(tried.gains)
    at = said.index(f"The figures here are those of: {ISOLATED}.")
    assert any("The lead to try first: " in line for line in said[:at])
    assert not any("Hum" in line for line in said[:at])
    assert any("more than 120 dB below full output" in line for line in said[at:])


def test_what_is_not_in_the_lead_yet_is_not_said_to_be(tried: Leaf) -> None:
    """Lost: "this lead has its isolating transformer already", of the lead that is tried."""
    assert not any("already" in line for line in tried.hum)
    assert tried.hum[-1] == f"Only then buy what comes next: {ISOLATED}."
    (row,) = [row for row in tried.others if row[0] == LEAD]
    assert row[1:] == ("try first", "what stands first above")


def test_a_box_for_which_nothing_is_sure_has_the_lead_to_try_in_full(tmp_path: Path) -> None:
    """Lost: the sheet says to try a lead that it neither draws nor lists."""
    (leaf,) = leaves_of(ask(tmp_path, TELEVISION, "rca:20k:0.2V:sub", "unearthed").to_json())
    assert leaf.chosen == "Try first: RCA lead, single-ended to single-ended"
    assert leaf.drawing is not None
    (need,) = leaf.needs
    assert need.startswith("First: one, for the subwoofer's one input: an RCA lead")
    (then,) = leaf.why
    assert then.startswith("If it hums all the same, it works with another isolating transformer")
    # whether it hums is what is tried: nothing is said of it but there
    assert not any("Hum" in line for line in leaf.gains)


def test_a_plug_to_pull_has_the_lead_that_may_do_then(tmp_path: Path) -> None:
    """Lost: "do not connect yet" under a line that says which lead may do."""
    # without its impedance what the transformer costs of the bass is not known: nothing is used
    source = "\n".join(line for line in TELEVISION.splitlines() if "impedance" not in line)
    aerial = ask(tmp_path, source, "rca:20k:0.2V", "antenna-or-network", "8m")
    (leaf,) = leaves_of(aerial.to_json())
    lead = "RCA lead, single-ended to single-ended"
    assert aerial.chosen is None
    # whether the hum goes is heard with the lead plugged in, and in no other way
    assert leaf.chosen == f"Try first, as above: {lead}"
    assert leaf.drawing is not None
    assert leaf.caption == "The lead to try first."
    (need,) = leaf.needs
    assert need.startswith("First, for what is done first (above): one for each side: an RCA lead")
    assert need.endswith("If the hum goes, no more than what is named there.")


def test_a_question_stands_in_headline_and_list(tmp_path: Path) -> None:
    """Lost: the transformer is bought by who reads the headline and the list alone."""
    (leaf,) = leaves_of(ask_winding(tmp_path, typed="rca:47k:1V").to_json())
    assert leaf.chosen == f"Ask first, as above. Only if that does not do: {ISOLATED}"
    # a tied lead is not drawn before the maker has answered: it is what must not be tried
    assert "transformer" in str(leaf.drawing)
    assert leaf.caption == "Only if that does not do."
    yes, no, then = leaf.needs
    assert yes.startswith("Ask first (above). If the answer is so: one for each side: an XLR lead,")
    assert no.startswith("If not: one for each side: XLR to RCA: pin 2 to the centre")
    assert then.startswith("Only if that does not do: one for each side: pins 2 and 3 to an isol")
    (never,) = [line for line in leaf.never if "Never join pin 3" in line]
    assert "only where the drawing, or the answer named first, has it" in never


@pytest.mark.parametrize(
    ("ground", "says"),
    [
        ("20mV", "have your dealer take the second reading of the meter"),
        ("3V", "Have your dealer take the second reading of the meter before anything is joined"),
    ],
)
def test_a_customer_is_sent_to_no_chassis_with_a_meter(
    tmp_path: Path, ground: str, says: str
) -> None:
    """Lost: who has no meter, or the wrong one, is told to probe volts between two chassis."""
    path = tmp_path / "source.toml"
    path.write_text(PLAYER, "utf-8")
    # no one mains strip reaches so far: that would come first
    there = changed(typed_destination("rca:47k:1V:max=4V", 50.0), ground=ground, cable="4m")
    (leaf,) = leaves_of(advise(*read_source(path), there).to_json())
    assert says in " ".join((*leaf.first, *leaf.asked))
    # bought or not, it waits for that
    assert "first" in leaf.needs[0]
    assert leaf.chosen.startswith(("Then: ", "Ask first"))


def test_the_report_has_the_same_first(tmp_path: Path) -> None:
    """Lost: whoever reads the report wires what its own first reason says to put off."""
    document = read_source_facts(tmp_path)
    page = render_html(
        document, advice=ask(tmp_path, MIXER, "rca:10k:0.775V", "two-rooms").to_json()
    )
    (chosen,) = re.findall(r'How to connect it.*?<p class="chosen">(.*?)</p>', page, re.DOTALL)
    assert chosen == f"Try first: {LEAD}"
    assert f"before a transformer is bought, “{LEAD}”" in page


def read_source_facts(folder: Path) -> dict[str, object]:
    path = folder / "source.toml"
    path.write_text(MIXER, "utf-8")
    facts, _ = read_source(path)
    return dict(facts)


def test_identifiers_are_no_words_of_a_customer() -> None:
    """Lost: "rca-to-rca/transformer" on a customer's list."""
    assert in_words("rca-to-rca/transformer would take") == (
        "“RCA lead through an audio isolating transformer” would take"
    )
    # whole identifiers only
    assert in_words("no-rca-to-rca-at-all") == "no-rca-to-rca-at-all"


def test_a_doubted_figure_is_named_by_what_it_is() -> None:
    """Lost: "5.00 kΩ: look the figure up again", and nobody knows of what."""
    message = "5.00 kohm (single_ended_impedance_ohm): line outputs have 50 to 600 ohm."
    (told,) = asked_of({"cautions": [{"code": "unlikely-impedance", "message": message}]})
    assert told.startswith("5.00\u00a0kΩ (impedance of the RCA): line outputs have")


def test_a_hum_known_to_nobody_says_why_it_is_so_wide() -> None:
    """Lost: "-5 to 72 dB", which reads as if hum came and went."""
    hum = {"value": 33.0, "unit": "dB", "low": -5.0, "high": 72.0}
    option = {"id": "rca-to-rca", "verdict": "avoid", "hum_below_full_output_db": hum,
              "because": "hum -5.0 to 72.0 dB below full output, loud"}  # fmt: skip
    why = ", by what is not known of the boxes and their grounds"
    ((_, _, because),) = other_ways([option], None)
    assert because.endswith(f"loud{why}")
    assert f"-5 to 72 dB below full output{why}" in gains(option)[0]
    # of what is known to some decibels nothing is explained
    narrow = {**option, "hum_below_full_output_db": {**hum, "low": 60.0}}
    assert why not in gains(narrow)[0]


def test_what_works_out_of_a_faulty_output_is_not_praised() -> None:
    """Lost: "works, with fewer parts", on a sheet that says to have the output repaired."""
    faulty = {"id": "xlr-to-rca/pin-3-open", "verdict": "works", "passed_by": "fewer parts",
              "hazards": [{"code": "stage-fault", "message": "a fault"}]}  # fmt: skip
    assert other_ways([faulty], None)[0][2] == "it comes from the output that has a fault"


def test_another_isolator_is_not_named_as_the_first_one() -> None:
    """Lost: "an isolating transformer would help", of a lead that has one."""
    used = {"id": "rca-to-rca/transformer", "pin_3": "transformer", "destination": "amp",
            "from": "rca", "to": "rca", "verdict": "use"}  # fmt: skip
    cure = {"cure": "isolating-transformer", "destination": "amp", "says": "a transformer",
            "option": "xlr-to-rca/transformer", "better_by_db": 12.0,
            "verdict": "works"}  # fmt: skip
    (leaf,) = leaves_of({"options": [used], "cures": [cure]})
    assert leaf.hum[-1] == f"{ISOLATED} (12 dB less hum)."


def test_a_question_about_the_chosen_lead_itself_has_no_other_to_fall_back_to() -> None:
    """Lost: "only if that does not do" the very lead that the answer decides about."""
    isolated = "RCA lead through an audio isolating transformer"
    step = Step("asked-first", ({"id": "rca-to-rca/transformer"},))
    # common practice, no source: an answer that decides about one lead has no other beside it
    assert step.headline(isolated) == f"Ask first, as above. If the answer is so: {isolated}"
    assert step.caption(isolated) == "Only if the answer is so."
    padded = f"{isolated}, with an attenuator in its plug"
    assert step.headline(padded) == f"Ask first, as above. Only if that does not do: {padded}"
