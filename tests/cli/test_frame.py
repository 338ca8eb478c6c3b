"""The frame around every command: status, streams, one line for each error, a fast start."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

import probe
from probe.cli import main as frame

ROOT = Path(probe.__file__).parents[1]

STAND_IN = '''
"""A command that does as it is told, in place of a real one."""
import os
import signal
import sys
import time
from probe.errors import BadInput, NotUsable
from probe.interrupt import raise_if_asked


def ctrl_c():
    os.kill(os.getpid(), signal.SIGINT)
    for _ in range(1000):
        time.sleep(0)


def add_arguments(parser):
    parser.add_argument("what")
    parser.add_argument("--times", type=int, default=1)
    parser.add_argument("--word", choices=["hot", "cold"])


def run(args):
    match args.what:
        case "bad":
            raise BadInput("x.toml line 3: take[0].file: is missing")
        case "hostile":
            raise BadInput("a\\x1b[2Jb\\nc\\u202ed\\r\\ne")
        case "unusable":
            raise NotUsable("no take carries a signal")
        case "interrupt":
            raise KeyboardInterrupt
        case "interrupt in a class":
            class Descriptor:
                def __set_name__(self, owner, name):
                    raise KeyboardInterrupt
            class Owner:
                member = Descriptor()
        case "dropped":
            class Finalized:
                def __del__(self):
                    ctrl_c()
            thing = Finalized()
            del thing
            time.sleep(60)
        case "caught":
            try:
                ctrl_c()
            except BaseException:
                pass
            while True:
                raise_if_asked()
                time.sleep(0.01)
        case "caught at the end":
            try:
                ctrl_c()
            except BaseException:
                pass
        case "in a string":
            exec("from stand_in import ctrl_c; ctrl_c()")
        case "replaced":
            try:
                ctrl_c()
            finally:
                raise BadInput("something that could not be put away")
        case "sleep":
            print("started", flush=True)
            time.sleep(60)
        case "unwind":
            try:
                print("started", flush=True)
                time.sleep(60)
            finally:
                print("put away", flush=True)
        case "disk":
            raise OSError(28, "No space left on device", "facts.json")
        case "memory":
            raise MemoryError
        case "warn":
            import warnings
            warnings.warn("a detail of some library", RuntimeWarning)
        case "odd":
            print("\\u03a9 \\udc80 \\U0001f600")
        case "odd error":
            raise BadInput("\\u03a9 \\udc80 \\U0001f600")
        case "flood":
            for n in range(args.times):
                print("a line of some length, number", n)
        case "seven":
            return 7
    return 0
'''

# Who starts the tests in the background of a shell has the keyboard's interruption ignored below.
PRELUDE = (
    "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
    "import sys; from probe.cli import main as m; "
    "m.COMMANDS['act'] = ('stand_in', 'do as told'); sys.exit(m.main())"
)


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("commands")
    (folder / "stand_in.py").write_text(STAND_IN, encoding="utf-8")
    return {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), str(folder)])}


def act(
    environment: dict[str, str], *arguments: str, **more: str
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", PRELUDE, *arguments],
        env={**environment, **more},
        capture_output=True,
        text=True,
        timeout=60,
        errors="replace",
        check=False,
    )


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (["act", "bad"], 2, "probe: x.toml line 3: take[0].file: is missing"),
        (["act", "unusable"], 2, "probe: no take carries a signal"),
        (["act", "hostile"], 2, "probe: a\\x1b[2Jb c\\u202ed e"),
        (["act", "interrupt"], 130, "probe: interrupted"),
        (["act", "interrupt in a class"], 130, "probe: interrupted"),
        (["act", "disk"], 2, "probe: facts.json: No space left on device"),
        (["act", "memory"], 2, "probe: not enough memory"),
        ([], 2, "probe: a command is needed: analyse, advise, "),
        (["analyze"], 2, 'probe: no command "analyze"; did you mean "analyse"?'),
        (["qqq"], 2, 'probe: no command "qqq"; there are analyse, advise, '),
        (
            ["\x1b[31m"],
            2,
            'probe: no command "\\x1b[31m"; there are analyse, advise, ',
        ),
        (["--loud"], 2, 'probe: unrecognized arguments: --loud; see "probe --help"'),
        (["act"], 2, 'probe: the following arguments are required: what; see "probe act --help"'),
        (["act", "seven", "more"], 2, 'probe: unrecognized arguments: more; see "probe --help"'),
        (["act", "x", "--tim", "3"], 2, 'unrecognized arguments: --tim 3; see "probe --help"'),
        (["act", "x", "--times", "many"], 2, "invalid int value: 'many'; see \"probe act --help\""),
        (["act", "x", "--word", "a\x1b\nb"], 2, "argument --word: invalid choice: 'a\\x1b\\nb'"),
    ],
)
@pytest.mark.long
def test_errors_are_one_line_and_a_status(
    environment: dict[str, str], arguments: list[str], status: int, said: str
) -> None:
    done = act(environment, *arguments)
    # Exit statuses: 2 for bad input by the project's own rule; 130 is 128 + SIGINT, the
    # convention of POSIX shells.
    assert done.returncode == status
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert said in done.stderr
    assert done.stderr.rstrip("\n").isprintable()


def test_a_command_decides_its_own_status(environment: dict[str, str]) -> None:
    # As written in the stand-in.
    assert act(environment, "act", "seven").returncode == 7
    assert act(environment, "act", "nothing").returncode == 0


def test_warnings_of_libraries_are_not_shown_unless_asked(environment: dict[str, str]) -> None:
    assert act(environment, "act", "warn").stderr == ""
    shown = act(environment, "act", "warn", PYTHONWARNINGS="always")
    assert "a detail of some library" in shown.stderr


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_a_console_that_cannot_show_a_character(environment: dict[str, str], encoding: str) -> None:
    printed = act(environment, "act", "odd", PYTHONIOENCODING=encoding)
    assert (printed.returncode, printed.stderr) == (0, "")
    assert "?" in printed.stdout or "\ufffd" in printed.stdout
    failed = act(environment, "act", "odd error", PYTHONIOENCODING=encoding)
    assert failed.returncode == 2
    assert failed.stderr.startswith("probe: ")
    assert "Traceback" not in failed.stderr


def test_nobody_reads_the_output(environment: dict[str, str]) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", PRELUDE, "act", "flood", "--times", "200000"],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.readline()
    process.stdout.close()
    complaints = process.stderr.read()
    process.stderr.close()
    # 141 is 128 + SIGPIPE, the convention of POSIX shells.
    assert process.wait(timeout=60) == 141
    assert complaints == b""


def test_a_closed_output(environment: dict[str, str]) -> None:
    line = f'"{sys.executable}" -c "{PRELUDE}" act odd >&-'
    done = subprocess.run(
        ["sh", "-c", line], env=environment, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_interrupted_by_the_keyboard(environment: dict[str, str]) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", PRELUDE, "act", "sleep"],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "started\n"
    process.send_signal(signal.SIGINT)
    _, complaints = process.communicate(timeout=60)
    # 128 + SIGINT, the convention of POSIX shells.
    assert process.returncode == 130
    assert complaints == "probe: interrupted\n"


@pytest.mark.parametrize(
    "where", ["dropped", "caught", "caught at the end", "in a string", "replaced"]
)
def test_an_interruption_that_something_swallows_is_not_lost(
    environment: dict[str, str], where: str
) -> None:
    done = act(environment, "act", where)
    # 128 + SIGINT, the convention of POSIX shells.
    assert (done.returncode, done.stdout) == (130, "")
    assert done.stderr == "probe: interrupted\n"


@pytest.mark.parametrize("asked", [signal.SIGTERM, signal.SIGHUP])
def test_asked_to_stop(environment: dict[str, str], asked: signal.Signals) -> None:
    # however these tests were started: under nohup a hang-up is ignored, and is meant to be
    heard = f"import signal; signal.signal({int(asked)}, signal.SIG_DFL); "
    process = subprocess.Popen(
        [sys.executable, "-c", heard + PRELUDE, "act", "unwind"],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "started\n"
    process.send_signal(asked)
    printed, complaints = process.communicate(timeout=60)
    # 128 + the signal, the convention of POSIX shells.
    assert process.returncode == 128 + asked
    assert (printed, complaints) == ("put away\n", "probe: stopped\n")


@pytest.mark.parametrize(("what", "status"), [("bad", 2), ("nothing", 0)])
def test_a_full_disk_behind_the_messages(
    environment: dict[str, str], what: str, status: int
) -> None:
    line = f'"{sys.executable}" -c "{PRELUDE}" act {what} 2>/dev/full'
    done = subprocess.run(["sh", "-c", line], env=environment, capture_output=True, check=False)
    assert (done.returncode, done.stdout) == (status, b"")


def test_a_full_disk_behind_the_output(environment: dict[str, str]) -> None:
    line = f'"{sys.executable}" -c "{PRELUDE}" act odd >/dev/full'
    done = subprocess.run(
        ["sh", "-c", line], env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert done.stderr == "probe: standard output: No space left on device\n"


def test_help_names_every_command_and_version_is_that_of_the_package(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert frame.main(["--help"]) == 0
    text = capsys.readouterr().out
    assert all(name in text for name in frame.COMMANDS)
    assert frame.main(["--version"]) == 0
    assert capsys.readouterr().out == f"probe {probe.__version__}\n"


def test_help_of_a_command_is_its_own(environment: dict[str, str]) -> None:
    done = act(environment, "act", "--help")
    assert (done.returncode, done.stderr) == (0, "")
    assert "--times" in done.stdout


def test_module_and_function_are_one_command(environment: dict[str, str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "probe", "--version"],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == f"probe {probe.__version__}\n"


SLOW = (
    "numpy",
    "scipy",
    "matplotlib",
    "soundfile",
    "pydantic",
    "jinja2",
    "typing",
    "probe.session",
)


@pytest.mark.parametrize("line", ["import probe", "from probe.cli import main; main.main(['-h'])"])
def test_nothing_slow_is_imported_for_help(environment: dict[str, str], line: str) -> None:
    code = f"{line}; import sys; print(sorted(m for m in {SLOW} if m in sys.modules))"
    done = subprocess.run(
        [sys.executable, "-S", "-c", code],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.splitlines()[-1] == "[]"
