"""The commands as somebody types them."""

from __future__ import annotations

import io
import os
import re
import sys
from pathlib import Path

import pytest

from probe.bench.calibration import store
from probe.bench.calibration.document import TEMPLATE, read_bench, write_bench
from probe.cli.main import main


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch):
    monkeypatch.setenv("PROBE_DATA", str(tmp_path / "data"))
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))


def test_the_template_is_a_bench_and_can_be_shown(tmp_path: Path, capsys):
    assert main(["calibrate", "--template"]) == 0
    assert capsys.readouterr().out == TEMPLATE
    place = tmp_path / "bench.toml"
    # with every line that is a comment in it made one that counts
    place.write_text(re.sub(r"(?m)^# (?=[\w\[].*(=|\]))", "", TEMPLATE).replace("how: ", "# how: "))
    lines = [x for x in place.read_text().splitlines() if not re.match(r"[A-Z].*\bfile\b|\"", x)]
    place.write_text("\n".join(x for x in lines if "=" in x or x.startswith("[") or not x))
    assert main(["calibrate", "--show", str(place)]) == 0
    shown = capsys.readouterr().out
    # as the template says: 8.70 +- 0.09 V, by the multimeter
    assert "8.700 ± 0.090 V peak (by the multimeter)" in shown
    assert "150 ± 20 pF" in shown


def test_kept_calibrations_are_found_again(tmp_path: Path):
    place = tmp_path / "bench.toml"
    place.write_text(TEMPLATE)
    bench = read_bench(place)
    kept = store.keep(bench)
    assert kept.is_relative_to(tmp_path / "data")
    assert store.remembered(bench.interface, bench.gain, bench.leads) == bench
    assert store.remembered(bench.interface, "another", bench.leads) is None
    (kept.parent / "broken.toml").write_text("x")
    assert [found for _, found in store.kept()] == [bench]
    before = kept.read_bytes()
    write_bench(bench, kept)
    assert kept.read_bytes() == before
    assert sorted(p.name for p in kept.parent.iterdir()) == ["broken.toml", kept.name]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["calibrate", "--practice", "--meter", "50%"], "accuracy"),
        (["calibrate", "--practice", "--series", "x"], "--series"),
        (["calibrate", "--practice", "--series", "1"], "1000 to 1e\\+06 ohm"),
        (["calibrate", "--practice", "--shunt", "604,nan"], "--shunt"),
        (["calibrate", "--practice", "--full-scale", "-3"], "--full-scale"),
        (["calibrate", "--practice", "--mains", "400"], "45 to 65"),
        (["calibrate", "--show", "no.toml"], "no such file"),
        (["check", "--practice"], "no calibration of"),
        (["check", "--practice", "--reference", "1"], "10 to 10000 ohm"),
    ],
)
def test_rubbish_is_refused_in_one_line(words, said, capsys, tmp_path: Path):
    assert main(words) == 2
    err = capsys.readouterr().err
    assert re.search(said, err)
    assert err.count("\n") == 1
    assert not (tmp_path / "data").exists()


def test_the_end_of_input_stops_and_writes_nothing(tmp_path: Path, capsys):
    assert main(["calibrate", "--practice", "--out", str(tmp_path / "b.toml")]) == 130
    out = capsys.readouterr()
    assert "Step 1 of 8: inputs terminated" in out.out
    assert "Phantom power off" in out.out
    assert list(tmp_path.iterdir()) == []


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="no pseudo-terminals there")
def test_calibration_and_check_through_a_pseudo_terminal(tmp_path: Path):
    import pexpect

    run = pexpect.spawn(
        sys.executable, ["-m", "probe", "calibrate", "--practice", "--meter", "good"],
        encoding="utf-8", timeout=120, dimensions=(30, 80),
        env={**os.environ, "PROBE_DATA": str(tmp_path)},
    )  # fmt: skip
    reading = None
    while True:
        seen = run.expect(["Plugged\\?.*> ", "meter shows ([0-9.]+) V", "stop\\) > ", pexpect.EOF])
        if seen == 0:
            run.sendline("")
        elif seen == 1:
            reading = run.match.group(1)
        elif seen == 2:
            run.sendline("what?" if reading is None else str(reading))
        else:
            break
    run.close()
    assert run.exitstatus == 0
    assert reading is not None
    [place] = (tmp_path / "bench").glob("*.toml")
    figures = read_bench(place)
    # the practice interface's own: 8.71 V
    assert abs(figures.inputs[0].volts_full_scale.value - 8.71) < 0.05
    check = pexpect.spawn(
        sys.executable, ["-m", "probe", "check", "--practice", "--both"],
        encoding="utf-8", timeout=60, env={**os.environ, "PROBE_DATA": str(tmp_path)},
    )  # fmt: skip
    check.expect("Plugged\\?.*> ")
    check.sendline("")
    check.expect("as calibrated: a session may begin")
    check.expect(pexpect.EOF)
    check.close()
    assert check.exitstatus == 0
