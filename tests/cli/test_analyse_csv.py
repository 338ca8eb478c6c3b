"""`probe analyse --csv`: every fact and every curve as tables a spreadsheet reads."""

from __future__ import annotations

import csv
import json
import math
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house.readme import ROOT

DEMO = ROOT / "captures" / "preamplifier-noise"


def probe(*arguments: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "probe", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)


@pytest.mark.long
def test_tables_hold_what_the_facts_hold(tmp_path: Path) -> None:
    done = probe("analyse", DEMO, "--draws", 100, "--out", tmp_path, "--csv", tmp_path / "tables")
    assert done.returncode == 0, done.stderr
    facts = json.loads((tmp_path / "facts.json").read_text())["sides"]["left"]
    with (tmp_path / "tables" / "facts.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    named = {row["fact"]: row for row in rows if not row["condition"]}
    # the same document, read by the standard library
    for name in ("differential_noise_a", "hot_thd", "differential_maximum", "drift"):
        assert math.isclose(float(named[name]["value"]), facts["facts"][name]["value"])
    with (tmp_path / "tables" / "curves.csv").open(newline="") as file:
        curves = {row["curve"] for row in csv.DictReader(file)}
    assert {"differential_noise_density", "hot_thd_against_level"} <= curves


def test_csv_and_json_together_are_refused_and_nothing_is_written(tmp_path: Path) -> None:
    done = probe("analyse", DEMO, "--json", "--csv", tmp_path / "tables")
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []
