"""Differences against closed forms; what was taken under other conditions is not mixed."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from uncertainties import ufloat
from uncertainties.umath import log10

from probe.cli.main import main
from probe.compare.compare import compare, items_of
from probe.compare.difference import difference
from probe.errors import BadInput
from probe.report import render_comparison, render_comparison_text
from probe.report.summary import widest
from tests.report import samples
from tests.verify.documents import document, entry, side
from tests.verify.test_verify_page import HOSTILE


def test_levels_differ_in_decibels_impedances_in_percent() -> None:
    a, b = entry(2.0, "V", 0.02), entry(1.9, "V", 0.03)
    found = difference("differential_level", a, b)
    # reference library: uncertainties, linear propagation
    expected = 20.0 * log10(ufloat(1.9, 0.03) / ufloat(2.0, 0.02))
    assert found is not None
    assert found.value == pytest.approx(expected.nominal_value)
    assert (found.high - found.low) / 2.0 == pytest.approx(expected.std_dev, rel=0.03)
    ohm = difference("hot_impedance", entry(100.0, "ohm", 1.0), entry(110.0, "ohm", 2.0))
    percent = 100.0 * (ufloat(110.0, 2.0) / ufloat(100.0, 1.0) - 1.0)
    assert ohm is not None
    # reference library: the same
    assert ohm.value == pytest.approx(percent.nominal_value)
    assert (ohm.high - ohm.low) / 2.0 == pytest.approx(percent.std_dev, rel=1e-9)
    assert ohm.larger is True


@pytest.mark.parametrize(
    ("b", "larger"),
    [
        # closed form: 0.03 and 0.04 make 0.05
        (entry(6.049, "dB", 0.04), False),
        (entry(6.051, "dB", 0.04), True),
        (entry(5.9, "dB", 0.0, bound="below"), True),
        (entry(6.5, "dB", 0.0, bound="above"), True),
        (entry(5.9, "dB", 0.0, bound="above"), None),
        (entry(6.049, "dB", 0.04, low=6.0, high=6.2), True),
    ],
)
def test_larger_than_both_doubts(b: dict[str, Any], larger: bool | None) -> None:
    found = difference("gain_difference", entry(6.0, "dB", 0.03), b)
    assert found is not None
    if "low" in b:  # a lopsided one: its near end decides; closed form: hypot(0.049, 0.03) > 0.049
        larger = False
    assert found.larger is larger


def test_angles_go_round() -> None:
    found = difference("leg_phase", entry(179.9, "deg", 0.01), entry(-179.9, "deg", 0.01))
    # closed form
    assert found is not None
    assert found.value == pytest.approx(0.2)


def test_rate_of_false_differences() -> None:
    """Of pairs that are equal, five in a hundred differ by more than 95 % intervals allow."""
    rng = np.random.default_rng(2)
    count, larger = 20_000, 0
    values = 2.0 + 0.01 * rng.standard_normal((count, 2))
    for a, b in values:
        found = difference("x", entry(a, "V", 0.0196), entry(b, "V", 0.0196))
        larger += bool(found and found.larger)
    # closed form: binomial, 4.5 standard deviations
    assert abs(larger - 0.05 * count) < 4.5 * math.sqrt(count * 0.05 * 0.95)


def pair(**more: Any) -> list[tuple[str, dict[str, Any]]]:
    other = document(mono=side(ohm=150.0) | more)
    return [("a", document()), ("b", other)]


def rows(named: list[tuple[str, dict[str, Any]]], **more: Any) -> dict[str, dict[str, Any]]:
    found = compare(items_of(named), **more).to_json()
    json.dumps(found, allow_nan=False)
    return {row["fact"]: row for row in found["rows"]}


def test_another_volume_is_marked_and_not_mixed() -> None:
    found = rows(pair(conditions={"volume": "maximum", "drive_volts": 0.5, "drive_dbfs": None}))
    assert found["differential_level"]["cells"][1]["apart"] == ["volume"]
    assert "difference" not in found["differential_level"]["cells"][1]
    # closed form: an impedance does not hang on it: 100 to 150 ohm
    assert found["hot_impedance"]["cells"][1]["difference"]["value"] == pytest.approx(50.0)


def test_a_side_that_did_not_drive_a_load_has_no_clean_bill() -> None:
    named = pair()
    named[1][1]["sides"]["mono"]["stage"]["refused_loads"] = ["a load of 1.21 kohm was refused"]
    found = compare(items_of(named)).to_json()
    assert [i["refused_loads"] for i in found["items"]] == [[], ["a load of 1.21 kohm was refused"]]
    page = render_comparison(found)
    # one of the two sides, by the facts above
    assert page.count("did not drive a load that was tried") == page.count("none found") == 1


def test_another_drive_and_another_tone() -> None:
    found = rows(pair(conditions={"volume": "noon", "drive_volts": 0.25, "drive_dbfs": None}))
    assert found["differential_level"]["cells"][1]["apart"] == ["drive"]
    assert found["gain_difference"]["cells"][1]["apart"] == []
    named = pair()
    named[1][1]["sides"]["mono"]["facts"]["hot_impedance"]["at_hz"] = 71.0
    assert rows(named)["hot_impedance"]["cells"][1]["apart"] == ["frequency"]


def test_noise_on_another_bench_and_distortion_at_another_level() -> None:
    named = pair()
    for at, (_, facts) in enumerate(named):
        found = facts["sides"]["mono"]["facts"]
        found["differential_noise"] = entry(1e-5, "V", 1e-6)
        found["differential_thd"] = entry(0.01, "percent", 0.001, at_volts=1.0 + at)
    named[1][1]["made"]["bench"]["interface"] = "another"
    found = rows(named)
    assert found["differential_noise"]["cells"][1]["apart"] == ["bench"]
    assert "level" in found["differential_thd"]["cells"][1]["apart"]
    assert found["hot_impedance"]["cells"][1]["apart"] == []


def test_orders_and_reference() -> None:
    found = compare(items_of(pair()), order="difference").to_json()
    assert found["rows"][0]["fact"] in ("hot_impedance", "cold_impedance", "differential_impedance")
    names = [r["fact"] for r in compare(items_of(pair()), order="name").to_json()["rows"]]
    assert names == sorted(names)
    turned = rows(pair(), reference=1)["hot_impedance"]
    # closed form: 150 to 100 ohm
    assert turned["cells"][0]["difference"]["value"] == pytest.approx(-100.0 / 3.0)
    only = compare(items_of(pair()), facts=["hot_impedance"]).to_json()
    assert [r["fact"] for r in only["rows"]] == ["hot_impedance"]


def test_two_to_twelve() -> None:
    with pytest.raises(BadInput, match="1 sides"):
        items_of(pair()[:1])
    with pytest.raises(BadInput, match="13 sides"):
        items_of([("a", document())] * 13)
    assert len(items_of([("a", document(left=side(), right=side()))])) == 2
    stereo = [("a", document(left=side(), right=side()))] * 2
    assert [i.side for i in items_of(stereo, ["left"])] == ["left", "left"]


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    paths = []
    for name, facts in pair():
        path = tmp_path / f"{name}.json"
        path.write_text(json.dumps(facts), "utf-8")
        paths.append(str(path))
    page = tmp_path / "c.html"
    assert main(["compare", *paths, "--html", str(page), "--sort", "difference"]) == 0
    out = capsys.readouterr().out
    assert "<>" in out
    assert widest(out.replace(str(page), "")) <= 80
    assert page.read_text("utf-8").count("<svg") >= 1
    assert main(["compare", *paths, "--json", "--against", "b"]) == 0
    assert json.loads(capsys.readouterr().out)["reference"] == 1
    assert main(["compare", *paths, "--against", "C"]) == 2
    assert main(["compare", paths[0]]) == 2
    capsys.readouterr()


def test_twelve_kinds_of_device_fit_one_page() -> None:
    named = [(n, make()) for n, make in samples.SAMPLES.items() if n != "hostile"]
    whole = [(n, f) for n, f in named if all("curves" in s for s in f.get("sides", {}).values())]
    items = items_of(whole[:6])
    found = compare(items, order="difference").to_json()
    page, told = render_comparison(found), render_comparison_text(found)
    assert page.count("<figure>") >= 3
    assert widest(told) <= 80


@pytest.mark.parametrize("text", HOSTILE, ids=["markup", "control", "direction", "formula", "long"])
def test_strangers_text_does_no_harm(text: str) -> None:
    named = pair()
    for _, facts in named:
        facts["device"] = dict.fromkeys(("maker", "model", "serial", "firmware"), text)
        facts["made"]["bench"] = {"interface": text, "recorded_on": text}
        facts["sides"]["mono"]["conditions"]["volume"] = text
        facts["sides"]["mono"]["stage"]["faults"] = [text]
        facts["sides"]["mono"]["facts"][text[:40]] = entry(1.0, text[:40], 0.1)
        facts["sides"]["mono"]["curves"][text[:40]] = {
            "unit": text, "hz": [20.0, 1e3], "value": [1.0, 2.0], "u95": [0.1, 0.1],
        }  # fmt: skip
    found = compare(items_of([(text, f) for _, f in named])).to_json()
    page, told = render_comparison(found), render_comparison_text(found)
    assert "<script>alert" not in page
    for shown in (page, told):
        assert not set("\x1b\x07\u202e\u2066") & set(shown)
        assert "x" * 200 not in shown
    # closed form: a terminal has 80 columns
    assert widest(told) <= 80


def test_curves_against_level_and_bounds() -> None:
    curves = {
        "hz": [20.0, 1000.0],
        "differential_thd_against_level": {
            "unit": "%", "volts": [0.5, 1.0, 2.0], "value": [None, 0.01, 0.02],
            "u95": [None, 1e-3, 1e-3], "limit": [0.01, 5e-3, 2e-3],
        },
        "signal_balance": {
            "unit": "dB", "value": [60.0, 50.0], "u95": [0.0, 1.0], "bound": ["above", None],
        },
    }  # fmt: skip
    facts = document(left=side() | {"curves": curves}, right=side() | {"curves": curves})
    found = compare(items_of([("a", facts)])).to_json()
    level, balance = found["curves"]
    # What is known of each curve above; a bound is no value.
    assert level["lines"][0]["volts"] == [1.0, 2.0]
    assert "hz" not in level["lines"][0]
    assert balance["lines"][1]["value"] == [50.0]
    page = render_comparison(found)
    assert "Distortion between the legs, against level" in page
    assert "level of the output, V rms" in page
