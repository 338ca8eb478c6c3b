"""The command, its text and its page: statuses, widths, strangers' text, one side of paper."""

from __future__ import annotations

import copy
import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from probe.cli.main import main
from probe.facts.shape import shape_complaint
from probe.report import render_verification, render_verification_text
from probe.report.summary import widest
from probe.verify import read_specification, verify
from tests.report import samples
from tests.report.browser import Browser
from tests.verify.documents import document, side

SPEC = """\
format = "probe-specification/1"
name = "data sheet"
[device]
maker = "Larkfield"
model = "LP-2"
[[line]]
quantity = "balanced-impedance"
unit = "ohm"
at_most = 110.0
per = "each-leg"
[[line]]
quantity = "balanced-level"
unit = "dBu"
typical = 8.2
tolerance = 0.5
per = "between-legs"
condition = { drive_v = 0.5, volume = "noon" }
[[line]]
quantity = "balanced-gain"
unit = "dB"
typical = 12.0
condition = { volume = "any" }
[[line]]
quantity = "balanced-noise"
unit = "uV"
at_most = 10.0
weighting = "a"
[[line]]
quantity = "balanced-thd"
unit = "percent"
at_most = 0.01
[[line]]
quantity = "channel-balance"
unit = "dB"
at_most = 0.3
[[line]]
quantity = "polarity"
says = "pin-2-hot"
[[line]]
quantity = "kind"
says = "differential"
"""


@pytest.fixture
def spec(tmp_path: Path) -> Path:
    path = tmp_path / "spec.toml"
    path.write_text(SPEC, "utf-8")
    return path


def stereo() -> dict[str, Any]:
    right = side(ohm=150.0, faults=["coupling-capacitor-cold"], possible_faults=["cold-leg-dead"])
    return document(left=side(), right=right)


def written(folder: Path, facts: dict[str, Any], name: str = "facts.json") -> str:
    path = folder / name
    path.write_text(json.dumps(facts), "utf-8")
    return str(path)


def test_status_tells(tmp_path: Path, spec: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # docs/formats.md: 0 nothing fails, 1 a line fails or a fault is found, 2 bad input
    assert main(["verify", written(tmp_path, document()), str(spec)]) == 0
    assert main(["verify", written(tmp_path, stereo()), str(spec)]) == 1
    assert main(["verify", written(tmp_path, document()), str(spec), "--side", "left"]) == 2
    assert main(["verify", written(tmp_path, document())]) == 2
    assert main(["verify", written(tmp_path, document()), str(spec), "--risk", "60"]) == 2
    nothing = document()
    nothing["sides"] = {}
    assert main(["verify", written(tmp_path, nothing), str(spec)]) == 2
    capsys.readouterr()
    assert main(["verify", written(tmp_path, stereo()), str(spec), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["format"] == "probe-verification/1"


def test_headline_and_status_agree_where_no_line_fails(
    tmp_path: Path, spec: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    faulty = document(mono=side(faults=["coupling-capacitor-cold"]))
    assert main(["verify", written(tmp_path, faulty), str(spec)]) == 1
    told = " ".join(capsys.readouterr().out.split())
    assert "FAILS" not in told
    assert "Not sound: 1 fault found, though no line fails." in told


def test_the_head_says_simulated_and_whose_figures_these_are(tmp_path: Path, spec: Path) -> None:
    facts = document()
    facts["made"]["bench"]["interface"] = "simulated bench"
    spec.write_text(SPEC.replace("Larkfield", "Other").replace("LP-2", "Thing"), "utf-8")
    found = verify(facts, read_specification(spec)).to_json()
    page, told = render_verification(found), render_verification_text(found)
    for shown in (page, " ".join(told.split())):
        verdict = shown.index("Lines: ")
        assert shown.index("Simulated: ") < verdict
        assert shown.index("another device, Other Thing") < verdict


@pytest.mark.parametrize(
    ("limit", "per", "said"),
    [
        # closed form: 1 - Phi(0.05 * 1.96) = 46.1 % of each leg, whose doubt is 1 ohm (95 %)
        (100.05, "each-leg", "accepted, the risk of being wrong is at most 92.2 %"),
        (200.1, "between-legs", "accepted, the risk of being wrong is 46 %"),
        # closed form: on the limit each half; the sum is all cases and says nothing
        (100.0, "each-leg", "rejected, the risk of being wrong is at most 50 %"),
    ],
)
def test_the_sum_of_two_risks_is_called_the_most_that_it_is(
    tmp_path: Path, limit: float, per: str, said: str
) -> None:
    """Else somebody rejects a device at "98 %" where the risk of accepting it is 65 %."""
    path = tmp_path / "legs.toml"
    path.write_text(
        'format = "probe-specification/1"\n[[line]]\nquantity = "balanced-impedance"\n'
        f'unit = "ohm"\nat_most = {limit}\nper = "{per}"\n',
        "utf-8",
    )
    found = verify(document(), read_specification(path)).to_json()
    for page in (render_verification(found), render_verification_text(found)):
        assert said in " ".join(page.replace("\u00a0", " ").split())


def test_the_page_is_written_or_nothing(tmp_path: Path, spec: Path) -> None:
    page = tmp_path / "pages" / "v.html"
    page.parent.mkdir()
    assert main(["verify", written(tmp_path, stereo()), str(spec), "--html", str(page)]) == 1
    assert "LF-00417" in page.read_text("utf-8")
    assert main(["verify", written(tmp_path, stereo()), str(spec), "--html", str(tmp_path)]) == 2
    assert [p.name for p in page.parent.iterdir()] == ["v.html"]


HOSTILE = (
    "<script>alert(1)</script>",
    "\x1b[31mred\x07",
    "\u202eevil\u2066",
    "=cmd|' /C calc'!A0",
    "x" * 10_000,
)


@pytest.mark.parametrize("text", HOSTILE, ids=["markup", "control", "direction", "formula", "long"])
def test_strangers_text_does_no_harm(spec: Path, text: str) -> None:
    facts = stereo()
    facts["device"] = {"maker": text, "model": text, "serial": text, "firmware": text}
    facts["made"]["bench"] = {"interface": text, "recorded_on": text}
    facts["warnings"] = [{"code": text, "take": text, "message": text}]
    for body in facts["sides"].values():
        body["conditions"]["volume"] = text
        body["stage"]["possible_faults_told_by"] = [{"fault": "cold-leg-dead", "message": text}]
        body["stage"]["faults"] = [text]
        body["stage"]["polarity_against"] = f"invert {text}"
    found = verify(facts, read_specification(spec), before=copy.deepcopy(facts)).to_json()
    page, told = render_verification(found), render_verification_text(found)
    assert "<script" not in page
    for shown in (page, told):
        assert not set("\x1b\x07\u202e\u2066") & set(shown)
        assert "x" * 700 not in shown
    # closed form: a terminal has 80 columns; a word without a space is broken
    assert widest(told) <= 80


@pytest.mark.browser
@pytest.mark.parametrize("second", [False, True])
def test_one_side_of_paper_and_no_sideways_scrolling(
    chromium: Browser, tmp_path: Path, spec: Path, second: bool
) -> None:
    if shutil.which("pdfinfo") is None:
        if os.environ.get("CI"):
            pytest.fail("no pdfinfo on the path")
        pytest.skip("no pdfinfo on the path")
    found = verify(stereo(), read_specification(spec), before=stereo() if second else None)
    found = found.to_json()
    page = tmp_path / "v.html"
    page.write_text(render_verification(found), "utf-8")
    chromium.show(page, 360)
    # closed form: nothing is wider than the window
    assert chromium.ask("document.documentElement.scrollWidth") <= 360
    (tmp_path / "v.pdf").write_bytes(chromium.paper())
    spoken = chromium.spoken()
    # by design: the outcome is told before the table, the table before the signatures
    order = [name for role, name in spoken if role in ("heading", "columnheader")]
    assert order.index("Outcome") < order.index("Faults")
    told = subprocess.run(
        ["pdfinfo", str(tmp_path / "v.pdf")], capture_output=True, text=True, check=True
    ).stdout
    # by design: a page to print and sign has one side
    assert "Pages:           1" in told
    assert "A4" in told


def test_samples_of_every_kind_are_verified(spec: Path) -> None:
    for make in samples.SAMPLES.values():
        facts = make()
        if shape_complaint(facts) is None:
            told = render_verification_text(verify(facts, read_specification(spec)).to_json())
            assert widest(told) <= 80
