"""Several boxes at once: what is chosen is the set, and of the sides the worse one is told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.company import effects
from probe.advice.cures import cures
from probe.advice.destination import together
from probe.advice.figures import Figures, worse_side
from probe.advice.model import Advice, Choice, Cure, OptionAdvice, Together
from probe.advice.quantity import Quantity
from probe.advice.source_file import read_source
from probe.advice.text import _cure
from probe.advice.together import _quieter_than, taken
from probe.advice.typed import changed, typed_destination
from probe.advice.wiring import OPTIONS
from probe.advice.words import louder_or_quieter
from probe.report.bounded import less_hum

BY_ID = {o.id: o for o in OPTIONS}


def db(value: float, low: float | None = None, high: float | None = None) -> Quantity:
    return Quantity(value, "dB", value if low is None else low, value if high is None else high)


def option(id_: str, box: str, gain: float | None, verdict: Any = "works") -> OptionAdvice:
    figures = Figures()
    if gain is not None:
        figures = Figures(level=Quantity(1.0, "V", 1.0, 1.0), level_vs_reference_db=db(gain))
    return OptionAdvice(BY_ID[id_], "left", box, "in", "through", figures, verdict, (), ("r",),
                        "xlr-link")  # fmt: skip


def a_set(amp: tuple[str, float | None], sub: tuple[str, float | None], *says: str) -> Together:
    held = [("amp", *amp), ("sub", *sub)]
    choices = tuple(Choice(box, id_, "in", ("own",)) for box, id_, _ in held)
    return Together(choices, tuple(option(id_, box, g) for box, id_, g in held), True, says)


OWN = a_set(("xlr-to-xlr", 0.0), ("xlr-to-xlr", -2.5), "sub loses")


@pytest.mark.parametrize(("gain", "quieter"), [(-6.0, True), (-2.0, False), (None, True)])
def test_a_set_that_is_quieter_than_what_it_cures_is_none(
    gain: float | None, quieter: bool
) -> None:
    # closed form: one leg instead of two is 6.0 dB down, more than the 2.5 dB that are taken
    other = a_set(("xlr-to-xlr", 0.0), ("rca-to-xlr/pin-3-tied-at-source", gain))
    assert _quieter_than(other, OWN) is quieter
    bad = replace(OWN, options=(replace(OWN.options[0], verdict="never"), OWN.options[1]))
    assert _quieter_than(other, bad) is False


def advice(*sets: Together) -> tuple[Advice, list[OptionAdvice]]:
    bare = [option(id_, box, 0.0) for box in ("amp", "sub")
            for id_ in ("xlr-to-xlr", "rca-to-xlr/transformer")]  # fmt: skip
    choices = tuple(Choice(box, "xlr-to-xlr", "in", ("own",)) for box in ("amp", "sub"))
    return Advice("d", "e", "", 0.0, tuple(bare), choices, (), sets=sets), bare


def test_the_best_set_is_what_is_chosen() -> None:
    best = a_set(("xlr-to-xlr", 0.0), ("rca-to-xlr/transformer", 0.0))
    found = taken(*advice(best, OWN))
    # what the best set is
    assert [c.option for c in found.choices] == ["xlr-to-xlr", "rca-to-xlr/transformer"]
    used = [(o.box, o.option.id) for o in found.options if o.verdict == "use"]
    assert used == [("amp", "xlr-to-xlr"), ("sub", "rca-to-xlr/transformer")]
    assert "sub loses" in found.choices[1].why[0]
    assert [c.option for c in taken(*advice(OWN)).choices] == ["xlr-to-xlr"] * 2


def test_a_level_that_is_not_known_is_not_called_unchanged() -> None:
    found, _ = advice(a_set(("xlr-to-xlr", 0.0), ("xlr-to-xlr", None)))
    told = list(effects(found).values())
    assert told[0].endswith("level unchanged")
    assert told[1].endswith("level not known with the others plugged in")


def test_of_two_sides_the_worse_is_told() -> None:
    left = Figures(level_vs_reference_db=db(5.4, 5.1, 5.7), tie_current=db(1.0))
    right = Figures(level_vs_reference_db=db(5.5, 5.2, 5.7), tie_current=db(2.0), hum=db(1.0))
    # closed form: of a level the lower, of a current the higher; what one side lacks is not known
    assert worse_side([right, left]).level_vs_reference_db == db(5.4, 5.1, 5.7)
    assert worse_side([right, left]).tie_current == db(2.0)
    assert worse_side([right, left]).hum is None


@pytest.mark.parametrize(
    ("gain", "says"),
    [
        # closed form: louder is above nothing
        (db(-1.9, -2.6, -0.7), "1.9 dB (0.7 to 2.6) quieter"),
        (db(1.9, 0.7, 2.6), "1.9 dB (0.7 to 2.6) louder"),
        (db(4.9, -1.4, 11.2), "between 1.4 dB quieter and 11.2 dB louder"),
    ],
)
def test_the_word_has_the_sign_of_the_figure(gain: Quantity, says: str) -> None:
    assert louder_or_quieter(gain) == says


def test_a_cure_beyond_what_anybody_could_check_is_counted_to_there() -> None:
    cure = Cure("c", "amp", "o", "a transformer", db(199.0, 190.0, 210.0), 120.0 - 86.5, "works")
    # closed form: 120 dB less 86.5 dB are 33.5 dB, and it is more than what is said
    says = "hum more than 120 dB below full output, more than 33 dB better"
    assert _cure(cure, several=False).endswith(says)


def test_a_cure_is_as_sure_as_it_is_on_the_worse_judged_side() -> None:
    hum = {"rca-to-rca": (80.0, 80.0), "xlr-to-rca/transformer": (110.0, 100.0)}
    verdicts = {"rca-to-rca": ("use", "use"), "xlr-to-rca/transformer": ("cannot-tell", "works")}
    options = tuple(
        replace(option(id_, "amp", 0.0, verdicts[id_][k]), side=side,
                figures=Figures(hum_below_full_output_db=db(hum[id_][k])))
        for id_ in hum for k, side in enumerate(("left", "right"))
    )  # fmt: skip
    choice = Choice("amp", "rca-to-rca", "in", ("own",))
    said = Advice("d", "e", "", 0.0, options, (choice,), ())
    desk: Any = SimpleNamespace(
        destination=SimpleNamespace(inputs=()), device=SimpleNamespace(connectors=())
    )
    (cure,) = cures([desk], said)
    # arithmetic: the worse side has 100 dB, 20 dB more than 80; the other one is not judged yet
    assert (cure.better_by_db, cure.verdict) == (20.0, "cannot-tell")


def test_a_cure_is_told_from_the_end_at_which_it_does_least() -> None:
    # the user buys an isolator for "more than 30 dB", where hum may be out of hearing as it is
    hum = {"rca-to-rca": db(89.6, 89.6, 130.0), "xlr-to-rca/transformer": db(140.0, 125.0, 150.0)}
    options = tuple(
        replace(
            option(id_, "amp", 0.0, verdict), figures=Figures(hum_below_full_output_db=hum[id_])
        )
        for id_, verdict in (("rca-to-rca", "use"), ("xlr-to-rca/transformer", "works"))
    )
    choice = Choice("amp", "rca-to-rca", "in", ("own",))
    said = Advice("d", "e", "", 0.0, options, (choice,), ())
    desk: Any = SimpleNamespace(
        destination=SimpleNamespace(inputs=()), device=SimpleNamespace(connectors=())
    )
    (cure,) = cures([desk], said)
    # arithmetic, counted to the 120 dB that anybody could check: 120 - 89.6, and 120 - 120
    assert cure.better_by_db == pytest.approx(30.4)
    assert cure.better_by_at_least_db == 0.0
    assert _cure(cure, several=False).endswith("0 to more than 30 dB better")
    assert less_hum(cure.to_json()) == "0 to more than 30"


SHEET = """
format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 5.2
single_ended_level_v = 2.6
differential_impedance_ohm = 94.0
single_ended_impedance_ohm = 47.0
[device]
connectors = ["xlr", "rca"]
"""


@pytest.mark.long
def test_no_cure_is_what_the_other_boxes_rule_out(tmp_path: Path) -> None:
    """The sheet sent the customer to the lead that makes the other room hum, and was refused."""
    path = tmp_path / "source.toml"
    path.write_text(SHEET, "utf-8")
    near = changed(typed_destination("rca:100k:0.8V:speaker=96", 50.0), ground="same-strip",
                   cable="1.5m")  # fmt: skip
    far = changed(typed_destination("xlr:10k/leg:1V", 50.0), ground="two-rooms", cable="18m")
    advice = advise(*read_source(path), together([near, far]))
    mine = next(c for c in advice.choices if c.box.startswith("xlr"))
    # by hand: 36 mV over 10 kohm in 47 ohm that both outputs may share are 71 dB below 0.8 V
    # behind a winding of its own lead nothing of that flows, and each box keeps its socket
    assert mine.option == "xlr-to-xlr/transformer"
    assert {c.option for c in advice.choices if c is not mine} == {"rca-to-rca"}
    assert "xlr-to-xlr" not in {c.option for c in advice.cures}


def test_a_level_is_told_where_no_output_to_compare_it_with_was_measured() -> None:
    """Else the screen does not know what the customer's sheet has."""
    volts, found = (0.2489, 0.24405), []
    for level in volts:
        whole = option("xlr-to-xlr", "amp", 0.0)
        figures = Figures(level=Quantity(level, "V", level, level))
        found.append(replace(whole, figures=figures, reference="none"))
    choices = (Choice("amp", "xlr-to-xlr", "in", ("own",)),)
    whole = Together(choices, (found[1],), True, ())
    (told,) = effects(Advice("d", "e", "", 0.0, (found[0],), choices, (), sets=(whole,))).values()
    # closed form: 249.4 mV behind 99 ohm into 47 kohm, and with two of 10 kohm beside it;
    # 20 log(244.05 / 248.9) is -0.17 dB
    assert "244" in told
    assert told.endswith("at the input, level -0.17 dB by the other leads")
