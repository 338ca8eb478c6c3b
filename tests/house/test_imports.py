"""What may import what, and that starting up loads nothing heavy."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import probe

PACKAGE = Path(probe.__file__).parent

HEAVY = (
    "numpy", "scipy", "soundfile", "pydantic", "jinja2", "matplotlib", "sounddevice",
    "joblib", "platformdirs", "rich", "sqlite3",
)  # fmt: skip

SHARED_WITH_SIMULATE = (
    "probe.session.model", "probe.formats", "probe.errors", "probe.decibels", "probe.simulate",
)  # fmt: skip
"""What the simulation may use: nothing that solves or judges, so that it can test what does."""


@pytest.mark.parametrize(
    "code",
    [
        "import probe",
        "import probe.cli.main",
        "from probe.cli.main import main; assert main(['--help']) == 0",
        "from probe.cli.main import main; assert main(['--version']) == 0",
        "from probe.cli.main import main; assert main(['analyse', '--help']) == 0",
        "from probe.cli.main import main; assert main(['advise', '--help']) == 0",
        "from probe.cli.main import main; assert main(['simulate', '--help']) == 0",
        "from probe.cli.main import main; assert main(['verify', '--help']) == 0",
        "from probe.cli.main import main; assert main(['archive', '--help']) == 0",
        "from probe.cli.main import main; assert main(['compare', '--help']) == 0",
        "from probe.cli.main import main; assert main(['batch', '--help']) == 0",
    ],
)
def test_starting_loads_nothing_heavy(code: str) -> None:
    ask = f"import sys; heavy = sorted(sys.modules.keys() & set({HEAVY!r}))"
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{ask}\nsys.exit(','.join(heavy) or None)"],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")


def imported(path: Path) -> set[str]:
    """Full names of what a file imports, anywhere in it; names of ``from`` lines included."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def within(name: str, rooms: tuple[str, ...]) -> bool:
    """Whether an imported name is one of these rooms or something in them."""
    return any(name == room or name.startswith(f"{room}.") for room in rooms)


def test_the_simulation_shares_nothing_that_solves() -> None:
    files = list((PACKAGE / "simulate").rglob("*.py"))
    assert len(files) > 5
    for path in files:
        own = {name for name in imported(path) if name.split(".")[0] == "probe"}
        assert {n for n in own if not within(n, SHARED_WITH_SIMULATE)} == set(), path


def test_only_the_command_and_the_virtual_bench_run_the_simulation() -> None:
    # its list of tones is not the simulation: the bench plays the same ones
    users = {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        if any(
            within(name, ("probe.simulate",)) and not within(name, ("probe.simulate.tones",))
            for name in imported(path)
        )
    }
    assert {u for u in users if not u.startswith(("simulate/", "bench/virtual/"))} == {
        "cli/simulate.py"
    }


def test_only_commands_print() -> None:
    # The linter holds this too; it would be silent where somebody turned a rule off.
    for path in PACKAGE.rglob("*.py"):
        if path.parent.name == "cli":
            continue
        calls = [n for n in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(n, ast.Call)]
        names = [c.func.id for c in calls if isinstance(c.func, ast.Name)]
        assert "print" not in names, path
