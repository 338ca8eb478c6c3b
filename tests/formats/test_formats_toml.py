"""Every complaint about a TOML file: its text, and that it is one harmless line.

The expected words of a message are the project's own: regression only, unless a source is named.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import Literal

import pytest
from pydantic import Field

from probe.errors import BadInput
from probe.formats.places import key_lines, line_of
from probe.formats.text import all_of, nearest, one_of, printable, quoted, shown_value
from probe.formats.toml import LARGEST_FILE, OneLine, Table, complaint, dotted, read_toml
from tests.cost import at_most

HEAD = 'format = "probe-example/1"\n'


class Resistor(Table):
    from_: Literal["hot", "cold", "ground"] = Field(alias="from")
    ohm: float = Field(gt=0)


class Part(Table):
    file: str
    side: Literal["left", "right"] = "left"
    resistor: tuple[Resistor, ...] = ()
    pair: tuple[float, float] | None = None
    title: OneLine = ""


class Example(Table):
    part: tuple[Part, ...] = ()
    number: float = 1.0
    count: int = 1
    switch: bool = False


Read = Callable[[str | bytes], Example]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def run(text: str | bytes) -> Example:
        path = tmp_path / "example.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return read_toml(path, Example, format_word="probe-example/1")

    return run


def complaint_of(read: Read, text: str | bytes) -> str:
    with pytest.raises(BadInput) as caught:
        read(text)
    message = str(caught.value)
    assert message.isprintable()
    assert len(message) < 600
    return message


def test_a_valid_file_becomes_the_model(read: Read) -> None:
    text = HEAD + (
        'number = 3\n[[part]]\nfile = "a"\npair = [1, 2.5]\n'
        'resistor = [{ from = "hot", ohm = 604 }]\n'
    )
    example = read(text)
    # The values are those written in the text above; whole numbers are taken as floats.
    assert example.number == 3.0
    assert isinstance(example.number, float)
    assert example.part[0].pair == (1.0, 2.5)
    assert example.part[0].resistor[0].from_ == "hot"
    assert example.part[0].resistor[0].ohm == 604.0


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("number = 3\n", 'key "format" is missing; this file must say format = "probe-example/1"'),
        ('format = "other"\n', 'format is "other", "probe-example/1" is what can be read here'),
        ("format = 1\n", 'format is 1, "probe-example/1"'),
        (HEAD + "number = nan", "line 2: number: must be a finite number, not nan"),
        (HEAD + "number = -inf", "line 2: number: must be a finite number, not -inf"),
        (HEAD + "number = true", "line 2: number: must be a number, not true"),
        (HEAD + 'number = "3"', 'line 2: number: must be a number, not "3"'),
        (HEAD + "number = 1" + "0" * 400, "number: must be a number, not a whole number of very"),
        (HEAD + "number = 1" + "0" * 5000, "a whole number in it has far too many digits"),
        (HEAD + "count = 1.5", "line 2: count: must be a whole number, not 1.5"),
        (HEAD + "switch = 1", "line 2: switch: must be true or false, not 1"),
        (HEAD + "part = 3", "line 2: part: must be an array [ ... ], not 3"),
        (HEAD + "part = [3]", "line 2: part[0]: must be a table, not 3"),
        (HEAD + "part = {}", "line 2: part: must be an array [ ... ] of tables"),
        (HEAD + "\n[[part]]\n", "line 3: part[0].file: is missing; text in quotes is needed"),
        (HEAD + "\n[[part]]\nfile = 2026-03-14\n", "must be text in quotes, not 2026-03-14"),
        (
            HEAD + '[[part]]\nfile = "a"\nside = "lift"\n',
            'line 4: part[0].side: must be left or right, not "lift" (did you mean "left"?)',
        ),
        (
            HEAD + '[[part]]\nfile = "a"\nresistor = [\n{ from = "hot", ohm = 1 },\n'
            '{ from = "hot", ohm = 0.0 }]\n',
            "line 6: part[0].resistor[1].ohm: must be above 0, not 0.0",
        ),
        (
            HEAD + '[[part]]\nfile = "a"\nresistor = [{ form = "hot", ohm = 0 }]\n',
            'line 4: part[0].resistor[0].form: unknown key; did you mean "from"? (and 2 more)',
        ),
        (HEAD + '[[part]]\nfile = "a"\npair = [1]\n', "line 4: part[0].pair"),
        (HEAD + "qqq = 1\n", "unknown key; known here: format, part, number, count, switch"),
        (HEAD + 'part.file = "a"', "line 2: part: must be an array [ ... ] of tables"),
        (
            HEAD + '[[part]]\nfile = "a"\ntitle = "two\\nlines"',
            "line 4: part[0].title: must not hold the character \\n",
        ),
        (
            HEAD + f'[[part]]\nfile = "a"\ntitle = "{"x" * 201}"',
            "title: must be text of at most 200 characters",
        ),
        (HEAD + "number == 3", "line 2 column 9: not valid TOML: this value cannot be read; text"),
        (HEAD + "title = left\n", "cannot be read; text needs quotation marks, a number begins"),
        (HEAD + "number = 20k\n", "line 2 column 12: not valid TOML: something is left over after"),
        (HEAD + "[part]\n", "part: must be an array [ ... ] of tables, each headed [[part]] or"),
        (
            HEAD + "[[part]]\nfile = 'a'\nresistor = [[]]\n",
            "part[0].resistor[0]: must be a table headed [[part.resistor]] or written { ... }",
        ),
        (HEAD + "number = 8,70\n", "line 2 column 11: not valid TOML: decimals are written with a"),
        (HEAD + 'x = "abc\n', "line 2 column 9: not valid TOML: text that begins with a quotation"),
        (HEAD + "x = 'abc\ny = 1\n", "line 3: not valid TOML: text that begins with a"),
        (
            HEAD + "number = 1\nnumber = 2",
            "line 3: not valid TOML: a key or table that was already",
        ),
        (HEAD + "number = 1\nnumber = 2\n", "line 3 column 11: not valid TOML: a key or table"),
        (HEAD + 'x = "', "line 2: not valid TOML: Unterminated string at the end of the file"),
        (HEAD + "x = " + "[" * 100_000, "arrays or tables are nested too deeply"),
        (HEAD + "a." * 100_000 + "a = 1", "line 2: a key of more than 64 dotted parts"),
        (b'a = "\x00"', "Illegal character '\\x00'"),
        (b"\xef\xbb\xbf" + HEAD.encode(), "begins with a byte-order mark"),
        (HEAD.encode("utf-16"), "is text in UTF-16; save it as UTF-8"),
        (HEAD.encode() + b'x = "\xe9"', "line 2: byte 0xe9 is not UTF-8"),
        (b"#" * (LARGEST_FILE + 1), "1048577 bytes; a file of this kind has at most 1048576"),
        (b"", 'key "format" is missing'),
    ],
)
def test_complaint(read: Read, text: str | bytes, expected: str) -> None:
    assert expected in complaint_of(read, text)


@pytest.mark.parametrize(
    "hostile",
    [
        r"\u001b[31mred\u001b[0m",
        r"\u202egnorw\u202c",
        r"\u200f\u2066",
        r"\u0007\b\r\n\t",
        r"\u2028\u0085",
        "x" * 10_000,
        "\u0301" * 500,
    ],
    ids=["escape", "override", "marks", "control", "separators", "long", "combining"],
)
@pytest.mark.parametrize(
    "where",
    ['number = "{}"', '"{}" = 1', 'format2 = "{}"', '[[part]]\nfile="a"\nside = "{}"'],
    ids=["value", "key", "unknown", "word"],
)
def test_hostile_text_is_shown_harmlessly(read: Read, hostile: str, where: str) -> None:
    message = complaint_of(read, HEAD + where.replace("{}", hostile))
    assert "\x1b" not in message
    assert not any(mark in message for mark in "\u202e\u200f\u2066\u2028\u0085")


def test_hostile_raw_bytes_in_damaged_toml(read: Read) -> None:
    message = complaint_of(read, HEAD.encode() + b"x = \x1b[2J\xe2\x80\xae" + b"y" * 10_000)
    assert "\\x1b" in message


def test_what_is_not_a_file(tmp_path: Path) -> None:
    fifo = tmp_path / "fifo"
    os.mkfifo(fifo)
    cases = {
        tmp_path: "is a folder, a TOML file is needed",
        tmp_path / "none.toml": "there is no such file",
        fifo: "is not an ordinary file",
        tmp_path / ("n" * 400): "cannot be read: file name too long",
        tmp_path / "a\x00b": "cannot be read",
    }
    for path, expected in cases.items():
        with pytest.raises(BadInput) as caught:
            read_toml(path, Example, format_word="probe-example/1")
        assert expected in str(caught.value)
        assert str(caught.value).isprintable()


def test_unreadable_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "closed.toml"
    path.write_text(HEAD)

    def refuse(*args: object, **kwargs: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(BadInput, match="cannot be read: permission denied"):
        read_toml(path, Example, format_word="probe-example/1")


@pytest.mark.parametrize(
    "text",
    [
        "a" * 1_000_000,
        '"' * 1_000_000,
        "'\"" * 500_000,
        HEAD + "part = [" + '"a",' * 100_000 + "]",
        HEAD + "".join(f"[[part]]\nfil = {n}\n" for n in range(30_000)),
        'x = """' + '\\"' * 400_000,
    ],
    ids=["bare", "quotes", "mixed", "array", "tables", "escapes"],
)
@pytest.mark.long
def test_large_files_do_not_take_long(read: Read, text: str) -> None:
    # Common practice, no source: a person waits ten seconds before stopping a command.
    with at_most(10.0):
        complaint_of(read, text)


def test_lines_of_every_way_to_write_a_key() -> None:
    text = (
        "# first\n"  # 1
        "a = 1\n"  # 2
        "b.c = '''\n[not.a.table]\n'''\n"  # 3 to 5
        '"quoted # key" = "\\"]"\n'  # 6
        "[t.u]\n"  # 7
        "x = [ # comment ]\n  1,\n  [2,\n   3],\n]\n"  # 8 to 12
        "[[list]]\n"  # 13
        "y = { p = 1, q = { r = 2 } }\n"  # 14
        "[list.sub]\n"  # 15
        "z = 2026-03-14\n"  # 16
        "[[list]]\n"  # 17
        "[[list.deep]]\n"  # 18
        'm = """\n""\\""""\n'  # 19 to 20
        "k = 1\n"  # 21
    )
    lines = key_lines(text)
    # Counted by hand: the number behind each line above.
    assert lines["a",] == 2
    assert lines["b", "c"] == 3
    assert lines["quoted # key",] == 6
    assert lines["t", "u"] == 7
    assert lines["t", "u", "x", 1, 1] == 11
    assert lines["list", 0, "y", "q", "r"] == 14
    assert lines["list", 0, "sub", "z"] == 16
    assert lines["list", 1] == 17
    assert lines["list", 1, "deep", 0, "m"] == 19
    assert lines["list", 1, "deep", 0, "k"] == 21
    assert line_of(lines, ("list", 1, "missing")) == 17
    assert line_of(lines, ("nowhere",)) is None


def test_complaint_after_reading_names_the_line(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text('[[take]]\nfile = "a"\n[[take]]\nload = [{ ohm = 1 },\n{ ohm = 2 }]\n')
    error = complaint(path, ("take", 1, "load", 1, "ohm"), "is odd")
    # Counted by hand in the text above.
    assert str(error) == f"{path} line 5: take[1].load[1].ohm: is odd"
    path.unlink()
    assert str(complaint(path, ("take",), "is odd")) == f"{path}: take: is odd"


def test_words() -> None:
    # Common practice, no source.
    assert one_of(["a"]) == "a"
    assert one_of(["a", "b", "c"]) == "a, b or c"
    assert all_of(["a", "b", "c"]) == "a, b and c"
    assert one_of([]) == ""
    assert nearest("tones_Hz", ["tones_hz", "file"]) == "tones_hz"
    assert nearest("Channel Match", ["channel-match", "idle"]) == "channel-match"
    assert nearest("drive volts", ["drive_volts"]) == "drive_volts"
    assert nearest("zzz", ["tones_hz"]) is None
    assert nearest("balanced", ["unbalanced", "differential"]) is None  # the contrary
    assert nearest("unbalancd", ["unbalanced"]) == "unbalanced"
    assert nearest("x" * 10**6, ["tones_hz"]) is None
    assert dotted(("take", 2, "load", 0, "ohm")) == "take[2].load[0].ohm"
    assert dotted(("a b",)) == '"a b"'


def test_values_as_shown() -> None:
    # Escapes as in the Python language reference, section 2.4.1 (string literals).
    assert printable("a\x1b\u202e\n\ud800é") == "a\\x1b\\u202e\\n\\ud800é"
    # Regression only.
    assert quoted("x" * 60) == '"' + "x" * 48 + '..." (60 characters)'
    assert shown_value([1, 2]) == "an array of 2"
    assert shown_value({}) == "a table"
    assert shown_value(True) == "true"
    assert shown_value(None) == "nothing"


def test_an_array_whose_entries_are_all_wrong_is_not_called_empty(tmp_path: Path) -> None:
    class Full(Table):
        part: tuple[Part, ...] = Field(min_length=1)

    path = tmp_path / "example.toml"
    path.write_text(HEAD + '[[part]]\nfile = 3\n[[part]]\nfile = "x"\nside = "up"\n', "utf-8")
    with pytest.raises(BadInput) as caught:
        read_toml(path, Full, format_word="probe-example/1")
    # Regression only.
    assert "line 3: part[0].file: must be text in quotes, not 3 (and 1 more)" in str(caught.value)
