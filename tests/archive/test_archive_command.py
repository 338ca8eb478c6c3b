"""``probe archive`` as typed, and entries where other commands take a facts file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from probe.cli.main import main
from probe.facts import to_json
from probe.report.summary import widest
from tests.archive.made import example
from tests.house.readme import ROOT
from tests.verify.test_verify_page import HOSTILE, SPEC


@pytest.fixture
def kept(tmp_path: Path) -> str:
    return str(tmp_path / "archive.sqlite")


def typed(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    capsys.readouterr()
    status = main(list(arguments))
    out, err = capsys.readouterr()
    return status, out, err


def add(folder: Path, kept: str, *documents: dict[str, object]) -> None:
    paths = []
    for number, facts in enumerate(documents):
        path = folder / f"facts-{number}.json"
        path.write_text(to_json(facts), "utf-8")
        paths.append(str(path))
    assert main(["archive", "add", "--archive", kept, *paths]) == 0


def test_a_session_is_kept_found_shown_and_given_back(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    session = ROOT / "captures" / "streamer-ground-sensing"
    assert main(["archive", "add", str(session), "--archive", kept, "--note", "on loan"]) == 0
    status, out, _ = typed(capsys, "archive", "search", "ground-sensing", "loan", "--archive", kept)
    assert (status, len(out.splitlines())) == (0, 1)
    back = tmp_path / "back"
    status, out, _ = typed(
        capsys, "archive", "show", "1", "--archive", kept, "--session", str(back),
        "--facts", str(tmp_path / "f.json"), "--report", str(tmp_path / "r.html"),
    )  # fmt: skip
    assert status == 0
    # closed form: identity
    for path in session.glob("*.flac"):
        assert (back / path.name).read_bytes() == path.read_bytes()
    assert json.loads((tmp_path / "f.json").read_text("utf-8"))["format"] == "probe-facts/1"
    assert "<html" in (tmp_path / "r.html").read_text("utf-8")
    assert typed(capsys, "archive", "show", "1", "--archive", kept, "--session", str(back))[0] == 2


def test_an_entry_stands_where_a_facts_file_does(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(tmp_path, kept, example(3), example(4))
    (tmp_path / "spec.toml").write_text(SPEC, "utf-8")
    spec = str(tmp_path / "spec.toml")
    from_file = typed(capsys, "verify", str(tmp_path / "facts-0.json"), spec)
    from_entry = typed(capsys, "verify", "archive:S-00003", spec, "--archive", kept)
    # closed form: the same facts, the same answer
    assert from_file == from_entry
    assert typed(capsys, "verify", "archive:larkfield", spec, "--archive", kept)[0] in (0, 1)
    status, out, err = typed(capsys, "verify", "archive:nobody", spec, "--archive", kept)
    assert (status, out, len(err.splitlines())) == (2, "", 1)
    (tmp_path / "d.toml").write_text(
        'format = "probe-destination/1"\n[[input]]\nconnector = "rca"\n', "utf-8"
    )
    place = str(tmp_path / "d.toml")
    advice = typed(capsys, "advise", "archive:1", place, "--archive", kept, "--json")
    assert advice == typed(capsys, "advise", str(tmp_path / "facts-0.json"), place, "--json")
    assert advice[0] == 0


def test_drift_and_family(tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]) -> None:
    looks = [example(5, ohm=100.0 + 4.0 * k, on=f"20{20 + k}-05-01") for k in range(3)]
    for k, one in enumerate(looks):
        one["made"]["session_sha256"] = f"{900 + k:064x}"
    sisters = [example(5 + 20 * k, ohm=100.0 + 0.3 * k) for k in range(1, 7)]
    add(tmp_path, kept, *looks, *sisters)
    status, out, _ = typed(capsys, "archive", "drift", "S-00005", "--archive", kept)
    assert status == 0
    assert "MOVED mono" in out
    assert "a year" in out
    status, out, _ = typed(capsys, "archive", "family", "3", "--archive", kept)
    assert status == 0
    assert "OUTSIDE" in out
    assert "6 sisters" in out
    told = json.loads(typed(capsys, "archive", "family", "3", "--archive", kept, "--json")[1])
    assert {f["sisters"] for f in told["facts"] if f["fact"] == "hot_impedance"} == {6}
    assert typed(capsys, "archive", "drift", "S-00025", "--archive", kept)[0] == 2


def test_export_import_remove_check(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(tmp_path, kept, *(example(n) for n in range(4)))
    out = str(tmp_path / "out.sqlite")
    assert typed(capsys, "archive", "export", out, "2", "3", "--archive", kept)[0] == 0
    assert typed(capsys, "archive", "export", out, "--archive", kept)[0] == 2
    other = str(tmp_path / "other.sqlite")
    assert typed(capsys, "archive", "import", out, "--archive", other)[1] == "2 entries added\n"
    assert typed(capsys, "archive", "remove", "1", "--archive", other)[0] == 0
    assert typed(capsys, "archive", "remove", "1", "--archive", other)[0] == 2
    assert len(typed(capsys, "archive", "list", "--archive", other)[1].splitlines()) == 1
    assert typed(capsys, "archive", "check", "--archive", other)[:2] == (0, "no damage found\n")
    assert typed(capsys, "archive", "list", "--archive", str(tmp_path / "none"))[0] == 2
    assert typed(capsys, "archive", "list", "--archive", "")[0] == 2
    assert typed(capsys, "archive")[0] == 2


@pytest.mark.parametrize("text", HOSTILE, ids=["markup", "control", "direction", "formula", "long"])
def test_strangers_text_does_no_harm(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str], text: str
) -> None:
    facts = example(1)
    facts["device"] = dict.fromkeys(("maker", "model", "serial", "firmware", "kind"), text)
    facts["made"]["bench"] = {"interface": text, "recorded_on": text}
    again = json.loads(json.dumps(facts))
    again["made"]["session_sha256"] = text
    add(tmp_path, kept, facts, again)
    for action in (["list"], ["show", "1"], ["show", "2"], ["drift", "1"], ["family", "1"]):
        status, out, err = typed(capsys, "archive", *action, "--archive", kept)
        assert (status, err) == (0, "")
        assert not set("\x1b\x07\u202e\u2066") & set(out)
        # closed form: a terminal has 80 columns
        assert widest(out) <= 80
    assert typed(capsys, "archive", "search", text[:60], "--archive", kept)[0] == 0
