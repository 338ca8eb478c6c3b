"""Lines of a specification against a stage known in closed form."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from probe.errors import BadInput
from probe.report import render_verification, render_verification_text
from probe.verify import TEMPLATE, read_specification, verify
from probe.verify.quantities import QUANTITIES
from tests.verify.documents import document, entry, side


def specified(folder: Path, *lines: str, head: str = "") -> Any:
    path = folder / "spec.toml"
    text = "".join(f"[[line]]\n{line}\n" for line in lines)
    path.write_text(f'format = "probe-specification/1"\n{head}\n{text}', "utf-8")
    return read_specification(path)


def judged(folder: Path, line: str, facts: dict[str, Any] | None = None) -> dict[str, Any]:
    found = verify(facts or document(), specified(folder, line)).to_json()
    json.dumps(found, allow_nan=False)
    return found["lines"][0]


def test_the_template_reads_as_it_stands(tmp_path: Path) -> None:
    path = tmp_path / "t.toml"
    path.write_text(TEMPLATE, "utf-8")
    assert len(read_specification(path).line) == 4


@pytest.mark.parametrize(
    ("limit", "per", "outcome"),
    [
        # closed form: 100 ohm each leg, 200 ohm between, each to 1 %
        (250.0, None, "meets"),
        (150.0, None, "cannot-tell"),
        (90.0, None, "fails"),
        (150.0, "each-leg", "meets"),
        (150.0, "between-legs", "fails"),
        (101.0, "each-leg", "cannot-tell"),
    ],
)
def test_an_impedance_of_unsaid_meaning_is_tried_both_ways(
    tmp_path: Path, limit: float, per: str | None, outcome: str
) -> None:
    said = f'per = "{per}"' if per else ""
    row = judged(
        tmp_path, f'quantity = "balanced-impedance"\nunit = "ohm"\nat_most = {limit}\n{said}'
    )
    assert row["outcome"] == outcome
    assert row["depends_on_meaning"] == (outcome == "cannot-tell" and per is None)


def level(row: dict[str, Any], reading: int = 0) -> float:
    return float(row["readings"][reading]["figures"][0]["measured"]["value"])


@pytest.mark.parametrize(
    ("into", "per", "volts"),
    [
        # closed form: 2 V behind 200 ohm into 600 ohm
        ("between-legs", "between-legs", 2.0 * 600.0 / 800.0),
        # closed form: 1 V behind 100 ohm into 600 ohm on each leg
        ("each-leg", "between-legs", 2.0 * 600.0 / 700.0),
        # closed form: half of the first
        ("between-legs", "each-leg", 600.0 / 800.0),
    ],
)
def test_a_level_into_a_load_is_solved(tmp_path: Path, into: str, per: str, volts: float) -> None:
    row = judged(
        tmp_path,
        f'quantity = "balanced-level"\nunit = "dBu"\nat_least = 0.0\nper = "{per}"\n'
        f'condition = {{ drive_v = 0.5, volume = "noon", into_ohm = 600.0, into = "{into}" }}',
    )
    assert level(row) == pytest.approx(volts, rel=1e-9)
    # closed form: 0 dBu is sqrt(0.6) V
    assert row["limits"]["low"] == pytest.approx(math.sqrt(0.6))


def test_an_unsaid_join_of_the_load_is_tried_both_ways(tmp_path: Path) -> None:
    row = judged(
        tmp_path,
        'quantity = "balanced-level"\nunit = "V"\nat_least = 1.6\nper = "between-legs"\n'
        'condition = { drive_v = 0.5, volume = "any", into_ohm = 600.0 }',
    )
    # closed form: 1.5 V across, 1.714 V on each leg
    assert [r["outcome"] for r in row["readings"]] == ["fails", "meets"]
    assert (row["outcome"], row["depends_on_meaning"]) == ("cannot-tell", True)


def test_dbm_needs_and_uses_its_load(tmp_path: Path) -> None:
    row = judged(
        tmp_path,
        'quantity = "single-ended-level"\nunit = "dBm"\nat_least = 0.0\n'
        'condition = { drive_v = 0.5, volume = "any", into_ohm = 600.0 }',
    )
    # closed form: 1 mW in 600 ohm is sqrt(0.6) V; 1 V behind 50 ohm into 600 ohm
    assert row["limits"]["low"] == pytest.approx(math.sqrt(0.6))
    assert level(row) == pytest.approx(600.0 / 650.0)
    with pytest.raises(BadInput, match="say into_ohm"):
        specified(tmp_path, 'quantity = "balanced-level"\nunit = "dBm"\nat_least = 0.0')


def test_a_level_is_carried_to_the_stated_drive_below_the_maximum(tmp_path: Path) -> None:
    condition = 'condition = { drive_v = %s, volume = "noon" }\nper = "between-legs"'
    line = 'quantity = "balanced-level"\nunit = "V"\nat_least = 1.0\n' + condition
    row = judged(tmp_path, line % "1.0")
    # closed form: twice the drive, twice the level
    assert level(row) == pytest.approx(4.0)
    assert "below the measured maximum" in row["readings"][0]["figures"][0]["steps"][1]
    beyond = judged(tmp_path, line % "5.0")
    assert beyond["outcome"] == "not-comparable"


@pytest.mark.parametrize(
    ("condition", "word"),
    [
        ("drive_v = 0.5", "names none"),
        ('drive_v = 0.5, volume = "maximum"', "repeat the takes there"),
        ('volume = "noon"', "what the device was fed"),
        ('drive_dbfs = 0.0, volume = "noon"', "full scale"),
    ],
)
def test_a_level_under_another_condition_is_not_compared(
    tmp_path: Path, condition: str, word: str
) -> None:
    row = judged(
        tmp_path,
        'quantity = "balanced-level"\nunit = "V"\nat_least = 1.0\nper = "between-legs"\n'
        f"condition = {{ {condition} }}",
    )
    assert row["outcome"] == "not-comparable"
    assert word in row["readings"][0]["figures"][0]["reason"]


def test_a_figure_at_another_volume_is_taken_from_there(tmp_path: Path) -> None:
    facts = document()
    facts["sides"]["mono"]["facts_at"] = [
        {"condition": {"volume": "maximum"}, "facts": {"differential_gain": entry(20.0, "dB", 0.1)}}
    ]
    row = judged(
        tmp_path,
        'quantity = "balanced-gain"\nunit = "dB"\nat_least = 19.0\n'
        'condition = { volume = "Maximum" }',
        facts,
    )
    assert (row["outcome"], level(row)) == ("meets", 20.0)


def test_gain_and_maximum_into_a_load(tmp_path: Path) -> None:
    into = 'condition = { volume = "any", into_ohm = 600.0, into = "between-legs" }'
    gain = judged(tmp_path, f'quantity = "balanced-gain"\nunit = "dB"\nat_least = 9.0\n{into}')
    # closed form: 20 log10(600/800) off
    assert level(gain) == pytest.approx(12.04 + 20.0 * math.log10(0.75))
    most = 'quantity = "balanced-maximum"\nunit = "V"\nat_least = %s\n' + into
    # closed form: no more than 10.05 V x 0.75 can come out; whether that much does is not known
    assert judged(tmp_path, most % "8.0")["outcome"] == "fails"
    assert judged(tmp_path, most % "7.0")["outcome"] == "cannot-tell"


def test_missing_facts_name_their_take(tmp_path: Path) -> None:
    row = judged(tmp_path, 'quantity = "balanced-noise"\nunit = "uV"\nat_most = 10.0')
    assert (row["outcome"], row["next_take"]) == ("not-measured", "idle")


@pytest.mark.parametrize(("limit", "outcome"), [(3.0, "cannot-tell"), (12.0, "meets")])
def test_noise_that_the_recorder_decides_is_a_bound(
    tmp_path: Path, limit: float, outcome: str
) -> None:
    facts = document()
    facts["sides"]["mono"]["facts"]["differential_noise_a"] = entry(
        9e-6, "V", 1e-6, limited_by_bench=True
    )
    row = judged(
        tmp_path,
        f'quantity = "balanced-noise"\nunit = "uV"\nat_most = {limit}\nweighting = "a"\n'
        'condition = { volume = "any" }',
        facts,
    )
    # closed form: at most 10 uV, of which the recorder's share is not known
    assert row["outcome"] == outcome


def test_distortion_in_decibels_and_at_its_level(tmp_path: Path) -> None:
    facts = document()
    facts["sides"]["mono"]["facts"]["differential_thd"] = entry(
        0.005, "percent", 0.0005, at_volts=2.0
    )
    line = (
        'quantity = "balanced-thd"\nunit = "dB"\nat_most = -80.0\ncondition = { volume = "any"%s }'
    )
    row = judged(tmp_path, line % "", facts)
    # closed form: -80 dB is 0.01 percent
    assert (row["outcome"], row["limits"]["high"]) == ("meets", pytest.approx(0.01))
    assert judged(tmp_path, line % ", level_v = 2.0", facts)["outcome"] == "meets"
    assert judged(tmp_path, line % ", level_v = 8.0", facts)["outcome"] == "not-comparable"


def test_a_figure_into_a_load_needs_that_load(tmp_path: Path) -> None:
    facts = document()
    body = facts["sides"]["mono"]
    body["facts"]["differential_low_corner"] = entry(2.0, "Hz", 0.1)
    line = 'quantity = "balanced-low-corner"\nunit = "Hz"\nat_most = 10.0\ncondition = { %s }'
    loaded = "into_ohm = 600.0"
    assert judged(tmp_path, line % "", facts)["outcome"] == "meets"
    row = judged(tmp_path, line % loaded, facts)
    assert row["outcome"] == "not-comparable"
    assert "without that load" in row["readings"][0]["figures"][0]["reason"]
    corner = {"differential_low_corner": entry(20.0, "Hz", 0.1)}
    body["facts_at"] = [{"condition": {"load_ohm": 600.0, "load_is": "each leg"}, "facts": corner}]
    # closed form: 20 Hz into the load, 2 Hz without
    assert judged(tmp_path, line % loaded, facts)["outcome"] == "fails"
    assert judged(tmp_path, line % "", facts)["outcome"] == "meets"
    del body["facts"]["differential_low_corner"]
    assert judged(tmp_path, line % "", facts)["outcome"] == "not-comparable"
    body["facts_at"] = [{"condition": {"temperature_c": 50.0}, "facts": corner}]
    assert judged(tmp_path, line % "", facts)["outcome"] == "not-measured"


def test_distortion_at_the_stated_tone_is_found_among_others(tmp_path: Path) -> None:
    facts = document()
    body = facts["sides"]["mono"]
    body["facts"]["differential_thd"] = entry(0.001, "percent", 0.0001, at_volts=2.0)
    high = entry(0.02, "percent", 0.001, at_volts=2.0) | {"at_hz": 10_000.0}
    condition = {"tone_hz": 10_000.0, "tone_volts": 2.0, "take": "x"}
    body["facts_at"] = [{"condition": condition, "facts": {"differential_thd": high}}]
    line = (
        'quantity = "balanced-thd"\nunit = "percent"\nat_most = 0.01\n'
        'condition = { volume = "any", at_hz = %s }'
    )
    assert judged(tmp_path, line % "1000.0", facts)["outcome"] == "meets"
    assert judged(tmp_path, line % "10000.0", facts)["outcome"] == "fails"
    assert judged(tmp_path, line % "100.0", facts)["outcome"] == "not-comparable"


def test_typical_is_no_limit_but_with_a_tolerance(tmp_path: Path) -> None:
    line = (
        'quantity = "gain-difference"\nunit = "dB"\ntypical = 6.5\ncondition = { volume = "any" }'
    )
    row = judged(tmp_path, line)
    against = row["readings"][0]["figures"][0]["against_typical"]
    # closed form: 6.02 less 6.5
    assert row["outcome"] == "no-limit"
    assert against["value"] == pytest.approx(-0.48)
    assert against["larger"] is True
    assert judged(tmp_path, line + "\ntolerance = 0.1")["outcome"] == "fails"
    assert judged(tmp_path, line + "\ntolerance = 1.0")["outcome"] == "meets"


@pytest.mark.parametrize(
    ("stage", "says", "outcome"),
    [
        ({}, "differential", "meets"),
        ({}, "both-legs-driven", "meets"),
        ({}, "transformer-coupled", "fails"),
        ({"confidence": 0.9}, "differential", "cannot-tell"),
        ({"kind": "undetermined", "next_take": "load-cold"}, "differential", "cannot-tell"),
        ({"kind": "faulty"}, "differential", "fails"),
        (
            {
                "kind": "electronically-floating",
                "also_possible": [{"kind": "transformer-coupled", "confidence": None}],
            },
            "electronically-floating",
            "cannot-tell",
        ),
    ],
)
def test_kinds(tmp_path: Path, stage: dict[str, Any], says: str, outcome: str) -> None:
    row = judged(tmp_path, f'quantity = "kind"\nsays = "{says}"', document(mono=side(**stage)))
    # closed form: the share of draws is the probability; 2.5 % is the risk
    assert row["outcome"] == outcome
    assert row["next_take"] == stage.get("next_take")


def test_polarity_told_by_the_drive_alone_is_not_told(tmp_path: Path) -> None:
    line = 'quantity = "polarity"\nsays = "pin-3-hot"'
    assert judged(tmp_path, line)["outcome"] == "fails"
    doubtful = document(
        mono=side(polarity_against="the drive alone: it may be the device that inverts")
    )
    row = judged(tmp_path, line, doubtful)
    assert (row["outcome"], row["next_take"]) == ("cannot-tell", "single-ended")


def test_channels(tmp_path: Path) -> None:
    facts = document(left=side(), right=side())
    facts["between_sides"] = {"facts": {"differential_channel_balance": entry(-0.25, "dB", 0.02)}}
    line = 'quantity = "channel-balance"\nunit = "dB"\nat_most = %s\ncondition = { volume = "any" }'
    rows = verify(facts, specified(tmp_path, line % "0.3")).to_json()["lines"]
    # closed form: 0.25 within 0.3, once for both sides
    assert [(r["side"], r["outcome"]) for r in rows] == [(None, "meets")]
    assert verify(facts, specified(tmp_path, line % "0.2")).lines[0].outcome == "fails"


def test_a_balance_without_a_tone_says_its_tone_and_its_worst(tmp_path: Path) -> None:
    facts = document(left=side(), right=side())
    fact = {**entry(0.04, "dB", 0.02), "at_hz": 997.0}
    curve = {"unit": "dB", "hz": [20.5, 997.0, 19490.7], "value": [-0.27, 0.04, 0.05],
             "u95": [0.02, 0.02, 0.02]}  # fmt: skip
    name = "differential_channel_balance"
    facts["between_sides"] = {"facts": {name: fact}, "curves": {name: curve}}
    line = (
        'quantity = "channel-balance"\nunit = "dB"\nat_most = 0.1\ncondition = { volume = "any" }'
    )
    told = str(verify(facts, specified(tmp_path, line)).to_json()["lines"][0])
    assert "judged at 997 Hz, the data sheet names no frequency" in told
    # the curve's largest magnitude
    assert "up to −0.270 ± 0.020 dB at 20.5 Hz" in told


@pytest.mark.parametrize(
    ("limit", "worst"),
    [
        # the smallest and the largest value of the curve below; both as far from 14.7 as they are
        ("at_least = 10.0", "over the band down to 7.00 ± 0.10 dB at 20.5 Hz"),
        ("at_most = 20.0", "over the band up to above 31.0 dB at 18 kHz"),
        ("typical = 14.0\ntolerance = 1.0", "over the band as far as 30.00 ± 0.10 dB at 15 kHz"),
    ],
)
def test_a_figure_without_a_tone_says_where_it_is_worst_for_its_limit(
    tmp_path: Path, limit: str, worst: str
) -> None:
    facts = document(left=side())
    name = "output_common_mode_rejection"
    body = facts["sides"]["left"]
    body["facts"][name] = {**entry(14.7, "dB", 0.05), "at_hz": 997.0}
    body["curves"][name] = {
        "unit": "dB", "hz": [20.5, 40.0, 997.0, 15e3, 18e3], "value": [7.0, 7.1, 14.7, 30.0, 31.0],
        "u95": [0.1] * 5, "bound": [None, "above", None, None, "above"],
    }  # fmt: skip
    if "at_most" not in limit and "typical" not in limit:
        # a bound from the better side may be better: it is not known to be the worst
        body["curves"][name]["value"][1] = 6.0
    line = f'quantity = "output-common-mode-rejection"\nunit = "dB"\n{limit}'
    told = str(verify(facts, specified(tmp_path, line)).to_json()["lines"][0])
    assert "judged at 997 Hz, the data sheet names no frequency" in told
    assert worst in told


def codes(facts: dict[str, Any], folder: Path) -> list[tuple[str, str, str]]:
    spec = specified(folder, 'quantity = "kind"\nsays = "differential"')
    return [(f.code, f.side, f.certainty) for f in verify(facts, spec).faults]


def test_faults_and_what_one_side_says_about_the_other(tmp_path: Path) -> None:
    right = side()
    right["facts"]["differential_level"] = entry(0.002, "V", 1e-5)
    assert codes(document(left=side(), right=right), tmp_path) == [
        ("channel-gone", "right", "found")
    ]
    right = side()
    right["facts"]["cold_impedance"] = entry(470.0, "ohm", 4.0)
    assert codes(document(left=side(), right=right), tmp_path) == [
        ("part-unlike-its-twin", "right", "found")
    ]
    right = side(faults=["coupling-capacitor-cold"], possible_faults=["cold-leg-dead"])
    right["facts"]["cold_impedance"] = entry(470.0, "ohm", 4.0)
    right["facts"]["hot_direct_voltage"] = entry(-0.8, "V", 0.01)
    assert codes(document(left=side(), right=right), tmp_path) == [
        ("coupling-capacitor-cold", "right", "found"),
        ("direct-voltage", "right", "found"),
        ("cold-leg-dead", "right", "possible"),
    ]
    right = side()
    right["conditions"] = {**right["conditions"], "volume": "half past nine"}
    right["facts"]["differential_level"] = entry(0.002, "V", 1e-5)
    assert codes(document(left=side(), right=right), tmp_path) == []


def test_a_second_look_stands_beside_the_first(tmp_path: Path) -> None:
    dried = side(faults=["coupling-capacitor-cold"])
    dried["facts"]["cold_impedance"] = entry(200.0, "ohm", 2.0)
    spec = specified(
        tmp_path, 'quantity = "balanced-impedance"\nunit = "ohm"\nat_most = 150.0\nper = "each-leg"'
    )
    found = verify(document(), spec, before=document(mono=dried)).to_json()
    row = found["lines"][0]
    assert (row["outcome"], row["before"]["outcome"]) == ("meets", "fails")
    change = row["readings"][0]["figures"][1]["change"]
    # closed form: 200 to 100 ohm
    assert (change["value"], change["larger"]) == (pytest.approx(-50.0), True)
    assert [f["fault"] for f in found["faults_before"]] == ["coupling-capacitor-cold"]
    assert found["faults"] == []


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ('quantity = "balanced-impedance"\nunit = "ohm"', "states nothing"),
        ('quantity = "balanced-impedance"\nunit = "dB"\nat_most = 1.0', "needs unit"),
        ('quantity = "balanced-impedance"\nunit = "ohm"\nat_most = -1.0', "below zero"),
        ('quantity = "balanced-thd"\nunit = "dB"\nat_most = 80.0', "minus sign"),
        ('quantity = "gain-difference"\nunit = "dB"\nat_most = 1.0\nat_least = 2.0', "below at_le"),
        ('quantity = "gain-difference"\nunit = "dB"\nat_most = 1.0\ntypical = 2.0', "two lines"),
        ('quantity = "gain-difference"\nunit = "dB"\nat_most = 1.0\nper = "each-leg"', "belongs"),
        ('quantity = "kind"\nsays = "pin-2-hot"', "not a kind"),
        ('quantity = "polarity"', "needs says"),
        ('quantity = "loudness"\nat_most = 1.0', "loudness"),
        ('quantity = "channel-balance"\nunit = "dB"\nat_most = -0.3', "not the sign"),
    ],
)
def test_lines_that_make_no_sense_are_refused(tmp_path: Path, line: str, word: str) -> None:
    with pytest.raises(BadInput, match=word):
        specified(tmp_path, line)


def test_a_specification_of_another_device_is_said(tmp_path: Path) -> None:
    head = '[device]\nmaker = "Other"\nmodel = "Thing"\n'
    spec = specified(tmp_path, 'quantity = "kind"\nsays = "differential"', head=head)
    assert "Other Thing" in verify(document(), spec).remarks[0]


def test_faults_of_a_side_not_asked_for_are_not_told(tmp_path: Path) -> None:
    facts = document(left=side(), right=side(faults=["cold-leg-dead"]))
    spec = specified(tmp_path, 'quantity = "kind"\nsays = "differential"')
    # by construction: the fault is on the right
    assert verify(facts, spec, sides=["left"]).sound
    assert not verify(facts, spec, sides=["right"]).sound
    assert verify(facts, spec).faults_found == 1


def rising(**more: Any) -> dict[str, Any]:
    """A side whose distortion rises threefold from 2 V to 4 V, tone at 1 kHz."""
    facts = document()
    body = facts["sides"]["mono"]
    body["facts"]["differential_thd"] = entry(0.01, "%", 0.0004, at_volts=2.0, limit=0.0002, **more)
    body["curves"]["differential_thd_against_level"] = {
        "unit": "%", "volts": [1.0, 2.0, 4.0, 8.0], "value": [None, 0.01, 0.03, 0.09],
        "u95": [None, 1e-5, 1e-5, 1e-5], "limit": [1e-4] * 4,
    }  # fmt: skip
    return facts


THD = 'quantity = "balanced-thd"\nunit = "percent"\nat_most = %s\ncondition = { volume = "any", '


@pytest.mark.parametrize(
    ("level", "percent", "u95"),
    [
        # closed form: at the point itself; the bench's own 0.0002 % grows fourfold with 2 to 4 V
        (4.0, 0.03, 0.0008),
        # closed form: 0.4 dB above it a slope of 9.54 dB in 6.02 dB is 7.6 %, counted twice
        (4.0 * 10.0**0.02, 0.03, math.hypot(0.0008, 2.0 * 0.03 * (10.0 ** (0.02 * 1.585) - 1.0))),
    ],
)
def test_distortion_at_another_level_is_read_from_its_curve(
    tmp_path: Path, level: float, percent: float, u95: float
) -> None:
    row = judged(tmp_path, THD % 0.05 + f"level_v = {level} }}", rising())
    figure = row["readings"][0]["figures"][0]
    assert figure["measured"]["value"] == pytest.approx(percent)
    assert figure["measured"]["u95"] == pytest.approx(u95, rel=2e-3)
    assert (row["outcome"], figure["steps"]) == (
        "meets",
        [
            "at 4.00 V of the take of a rising tone",
            "judged at 1000 Hz, the data sheet names no frequency",
        ],
    )


@pytest.mark.parametrize(
    ("condition", "outcome"),
    [
        ("level_v = 2.0 }", "meets"),
        # closed form: 2.8 V is 3 dB from either point
        ("level_v = 2.8 }", "not-comparable"),
        # the rising tone is one of 1 kHz
        ("level_v = 4.0, at_hz = 5000.0 }", "not-comparable"),
    ],
)
def test_the_curve_stands_for_its_own_levels_and_tone_only(
    tmp_path: Path, condition: str, outcome: str
) -> None:
    assert judged(tmp_path, THD % 0.05 + condition, rising())["outcome"] == outcome


def test_distortion_no_larger_than_the_bench_own_is_a_bound(tmp_path: Path) -> None:
    facts = rising()
    del facts["sides"]["mono"]["facts"]["differential_thd"]
    row = judged(tmp_path, THD % 0.02 + "level_v = 2.0 }", facts)
    # by design: without a loop-back take a bench is taken to add 0.03 %
    measured = row["readings"][0]["figures"][0]["measured"]
    assert measured["bound"] == "below"
    # closed form: what was heard and that
    assert measured["value"] == pytest.approx(0.01 + 0.03, rel=0.001)
    assert row["outcome"] == "cannot-tell"


@pytest.mark.parametrize("name", [n for n, q in QUANTITIES.items() if q.about != "word"])
@pytest.mark.parametrize("bound", [None, "above", "below"])
@pytest.mark.long
def test_what_cannot_be_told_always_names_what_would(
    tmp_path: Path, name: str, bound: str | None
) -> None:
    """The value lies on the limit, or only a bound on the wrong side of it is known."""
    quantity = QUANTITIES[name]
    unit = quantity.units[0]
    facts = document(left=side(), right=side())
    value = -60.0 if name == "crosstalk" else 50.0
    known = entry(value, "%" if unit == "percent" else unit, 5.0)
    known |= {} if bound is None else {"u95": 0.0, "bound": bound}
    home = facts["sides"]["left"]["facts"]
    if quantity.between_sides:
        home = facts.setdefault("between_sides", {"facts": {}})["facts"]
    home |= {fact: dict(known) for facts_ in quantity.facts.values() for fact in facts_}
    wanted = "at_most" if bound in (None, "below") else "at_least"
    limit = value + (2.0 if bound is None else -2.0 if bound == "below" else 2.0)
    condition = 'volume = "any"' + (", drive_v = 0.5" if quantity.about == "level" else "")
    row = judged(
        tmp_path,
        f'quantity = "{name}"\nunit = "{unit}"\n{wanted} = {limit}\ncondition = {{ {condition} }}',
        facts,
    )
    assert row["outcome"] == "cannot-tell", row
    assert row["settled_by"]
    if bound is None and quantity.about != "level":
        # closed form: 2 from the limit with 5 of doubt, at 2.5 % the doubt wanted is 2 itself
        assert "a doubt of at most ±2.0 " in row["settled_by"][0]


def test_a_typical_figure_of_two_meanings_is_held_against_each_by_name(tmp_path: Path) -> None:
    spec = specified(
        tmp_path,
        'quantity = "balanced-level"\nunit = "V"\ntypical = 2.0\n'
        'condition = { drive_v = 0.5, volume = "noon" }',
    )
    told = " ".join(render_verification_text(verify(document(), spec).to_json()).split())
    # closed form: 2 V between the legs, 1 V on each
    assert "if meant between the legs: from the typical figure 0.000" in told
    assert "if meant each leg against pin 1: from the typical figure hot -6.02" in told
    assert 'not said: which one the maker means: per = "between-legs" or "each-leg"' in told


def test_words_nobody_can_tell_name_what_would(tmp_path: Path) -> None:
    half = document(
        mono=side(confidence=0.9, also_possible=[{"kind": "faulty", "confidence": 0.1}])
    )
    row = judged(tmp_path, 'quantity = "kind"\nsays = "differential"', half)
    assert (row["outcome"], row["next_take"]) == ("cannot-tell", None)
    assert "now 90 % sure" in row["settled_by"][0]


def test_what_the_takes_could_not_show_is_said(tmp_path: Path) -> None:
    dim = side(polarity="undetermined")
    del dim["facts"]["cold_impedance"]
    spec = specified(tmp_path, 'quantity = "kind"\nsays = "differential"')
    found = verify(document(left=side(), right=dim), spec)
    # by construction: one side tells everything, the other neither polarity nor the cold leg
    assert found.not_looked_for["left"] == ()
    assert "dried coupling capacitors" in found.not_looked_for["right"]
    page = render_verification(found.to_json())
    assert "No fault found in what was looked for" in page
    assert "Not looked for yet: right: unequal leg impedances" in page
    assert "Not looked for yet" not in render_verification(verify(document(), spec).to_json())


def test_an_earlier_look_at_another_example_is_said(tmp_path: Path) -> None:
    spec = specified(tmp_path, 'quantity = "kind"\nsays = "differential"')
    other = document()
    other["device"]["serial"] = "LF-00999"
    (remark,) = verify(document(), spec, before=other).remarks
    assert "LF-00999" in remark
    assert verify(document(), spec, before=document()).remarks == ()


@pytest.mark.parametrize(
    ("tried", "stated", "limit", "outcome"),
    [
        # closed form: 1210 ohm across load each leg with 605, no less than 600 across (300)
        (("hot", "cold", 1210.0), ("between-legs", 600.0), "at_least = 1.3", "cannot-tell"),
        # closed form: 2 V behind 200 ohm into 600 is 1.5 V at the most, driven or not
        (("hot", "cold", 1210.0), ("between-legs", 600.0), "at_least = 1.6", "fails"),
        (("hot", "cold", 1210.0), ("between-legs", 600.0), "at_most = 1.6", "meets"),
        # closed form: 10 k across load each leg with 5 k, far less than what was refused
        (("hot", "cold", 1210.0), ("between-legs", 10e3), "at_least = 1.8", "meets"),
        (("single-ended", "ground", 600.0), ("each-leg", 600.0), "at_least = 1.6", "cannot-tell"),
    ],
)
def test_no_level_is_promised_into_a_load_as_hard_as_a_refused_one(
    tmp_path: Path,
    tried: tuple[str, str, float],
    stated: tuple[str, float],
    limit: str,
    outcome: str,
) -> None:
    refused = {"from": tried[0], "to": tried[1], "ohm": tried[2], "volume": "", "seen": "falls"}
    found = document(left=side(refused=[refused]))
    row = judged(
        tmp_path,
        f'quantity = "balanced-level"\nunit = "V"\n{limit}\nper = "between-legs"\ncondition = '
        f'{{ drive_v = 0.5, volume = "any", into_ohm = {stated[1]}, into = "{stated[0]}" }}',
        found,
    )
    assert row["outcome"] == outcome
