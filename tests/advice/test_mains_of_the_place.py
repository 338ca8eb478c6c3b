"""Mains of the place a measured device plays in: of its session, or as typed.

What fails here tells hum where mains are 120 V and 60 Hz, or 100 V, as if they were 230 V.
"""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.between_chassis import ground_fault
from probe.advice.subject import mains_of, mains_volts_of, playing_at
from probe.advice.typed import changed, typed_destination
from probe.cli.main import main
from probe.formats.mains import Mains, typed_mains
from tests.advice.stages import facts, symmetrical

SESSION = Path(__file__).parents[2] / "captures" / "preamplifier-differential"
FACTS = {**facts(), "made": {"bench": {"mains_hz": 50.0}}}


def hum(document: dict[str, Any], preset: str) -> float:
    place = mains_of(document), mains_volts_of(document)
    there = changed(typed_destination("rca:47k:2V", *place), ground=preset)
    options = advise(document, {"left": symmetrical()}, there).options
    (found,) = [o.figures.hum for o in options if o.option.id == "rca-to-rca"]
    assert found is not None
    return found.value


@pytest.mark.parametrize("preset", ["unearthed", "earthed-and-unearthed"])
@pytest.mark.parametrize(
    ("volts", "hz"), [(120.0, 60.0), (100.0, 50.0), (None, 60.0), (115.0, None)]
)
def test_leakage_goes_with_voltage_and_frequency(
    volts: float | None, hz: float | None, preset: str
) -> None:
    found = hum(playing_at(FACTS, Mains(hz, volts)), preset) / hum(FACTS, preset)
    # closed form: U/2 behind a filter's C drives pi f C U through the shield
    assert found == pytest.approx((hz or 50.0) * (volts or 230.0) / (50.0 * 230.0), rel=1e-3)


def test_an_earthed_box_does_not_know_the_mains() -> None:
    # closed form: behind a resistance the current goes with the difference alone
    assert hum(playing_at(FACTS, Mains(60.0, 120.0)), "two-rooms") == pytest.approx(
        hum(FACTS, "two-rooms"), rel=1e-3
    )


def advised(folder: Path, capsys: Any, *more: str) -> tuple[float, str]:
    words = ["advise", str(folder), "rca:47k:2V", "--ground", "unearthed", "--json", *more]
    assert main(words) == 0
    options = json.loads(capsys.readouterr().out)["options"]
    used = next(o for o in options if o["id"] == "rca-to-rca")
    return used["hum"]["value"], next(r for r in used["reasons"] if r.startswith("ground:"))


@pytest.mark.long
def test_a_session_says_the_mains_once_for_all(tmp_path: Path, capsys: Any) -> None:
    text = (SESSION / "session.toml").read_text("utf-8")
    for take in SESSION.glob("*.flac"):
        shutil.copy(take, tmp_path)
    said = re.sub(r"^mains_hz = .*$", "mains_hz = 60\nmains_v = 120", text, flags=re.M)
    (tmp_path / "session.toml").write_text(said, "utf-8")
    there, words = advised(tmp_path, capsys)
    # the rule: what the session says and what is typed for another session are one and the same
    assert advised(SESSION, capsys, "--mains", "120V/60Hz")[0] == pytest.approx(there, rel=1e-6)
    # closed form: half of 120 V; the page says which mains it was solved for
    assert "60 V, half of 120 V mains" in words
    # the rule: who plays elsewhere types it, and it goes before what the session says
    elsewhere, words = advised(tmp_path, capsys, "--mains", "230V")
    assert "115 V, half of 230 V mains" in words
    # closed form: 230 V against 120 V, both at 60 Hz
    assert elsewhere / there == pytest.approx(230.0 / 120.0, rel=1e-6)


@pytest.mark.parametrize(
    ("typed", "hz", "volts"),
    [("120V/60Hz", 60.0, 120.0), ("60Hz/120V", 60.0, 120.0), ("60", 60.0, None),
     ("100 V", None, 100.0)],
)  # fmt: skip
def test_either_may_be_typed(typed: str, hz: float | None, volts: float | None) -> None:
    assert typed_mains(typed) == Mains(hz, volts)


@pytest.mark.parametrize(
    ("typed", "says"),
    [("120", "45 to 65 Hz"), ("12V", "90 to 260 V"), ("400Hz", "45 to 65 Hz"), ("", "120V/60Hz"),
     ("60Hz/50Hz", "one of both"), ("120V/60Hz/1A", "120V/60Hz"), ("home", "120V/60Hz")],
)  # fmt: skip
def test_what_no_mains_are_is_refused_in_one_line(typed: str, says: str, capsys: Any) -> None:
    assert main(["advise", str(SESSION), "rca:47k:2V", "--mains", typed]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert says in told.err


@pytest.mark.parametrize(("volts", "dangerous"), [("5.1V", False), ("60V", True)])
def test_few_volts_are_a_fault_and_not_dangerous_to_touch(volts: str, dangerous: bool) -> None:
    """Lost: a word that is true of 60 V and worn out by 5."""
    there = changed(typed_destination("rca:20k:1V", 50.0), ground=f"{volts}/12mA/100ohm")
    (note,) = ground_fault(there)
    # IEC 61140, from memory: 25 V alternating are no danger to dry hands
    assert ("dangerous to touch" in note.message) is dangerous
    assert "a protective earth is missing" in note.message
