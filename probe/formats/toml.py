"""TOML files of a versioned format, read through a pydantic model; every complaint is one line."""

from __future__ import annotations

import re
import stat
import tomllib
import types
import typing
import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
)
from pydantic_core import ErrorDetails

from probe.errors import BadInput
from probe.formats.places import Keys, key_lines, line_of
from probe.formats.text import nearest, one_of, printable, quoted, shown_path, shown_value

M = TypeVar("M", bound=BaseModel)

LARGEST_FILE = 1 << 20
"""Bytes. A written file of a thousand takes stays below; more is a file chosen by mistake."""

DEEPEST_KEY = 64
"""Dotted parts of one key; no format goes beyond five, and parsing time grows as the square."""

_TOO_DEEP = re.compile(
    r"""(?<![\w-])(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*)""" f"{{{DEEPEST_KEY}}}"
)


def _one_line(text: str) -> str:
    """Refuse characters that break a line, drive a terminal or turn the direction of writing."""
    for character in text:
        if unicodedata.category(character) in ("Cc", "Cs", "Zl", "Zp") or character in _TURNING:
            raise ValueError(f"must not hold the character {printable(character)}")
    return text


_TURNING = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"

OneLine = Annotated[str, Field(max_length=200), AfterValidator(_one_line)]
"""Free text of at most 200 characters that can be printed on one line of a report."""


class Table(BaseModel):
    """Base of every table people write: unknown keys, NaN, infinity and wrong types refused.

    Whole numbers are taken where a ``float`` is asked, TOML arrays where a ``tuple`` is asked.
    A key that is a Python keyword is declared by alias: ``from_: str = Field(alias="from")``.
    """

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, allow_inf_nan=False, defer_build=True
    )

    @field_validator("*", mode="before")
    @classmethod
    def _arrays_as_tuples(cls, value: Any, info: ValidationInfo) -> Any:
        """Turn the lists of TOML into the tuples of the model."""
        if isinstance(value, list) and info.field_name is not None:
            return _as_annotated(value, cls.model_fields[info.field_name].annotation)
        return value


def read_toml(path: Path, model: type[M], *, format_word: str) -> M:
    """Read ``path`` as ``model``; the file's ``format`` key must equal ``format_word``.

    ``format`` need not be a field of the model: it is checked here.

    Raises
    ------
    BadInput
        Missing or unreadable file, damaged TOML (with the line), wrong format word, unknown
        key (with the nearest known one), wrong type or value (with the key's path).
    """
    return parse_toml(read_bytes(path), path, model, format_word=format_word)


def parse_toml(raw: bytes, path: Path, model: type[M], *, format_word: str) -> M:
    """Read ``raw``, the bytes of the file ``path``, as ``model``; see `read_toml`."""
    _refuse_another_kind(raw, path, format_word)
    text = _decode(raw, path)
    data = _parse(text, path)
    _check_format(data, path, format_word)
    if "format" not in model.model_fields:
        del data["format"]
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise BadInput(_telling(error, model, text, path)) from error
    except (OverflowError, RecursionError) as error:
        raise BadInput(
            f"{shown_path(path)}: a number in it is too large, or its tables are nested too deeply"
        ) from error


def read_bytes(path: Path) -> bytes:
    """Return the bytes of a small regular file.

    Raises
    ------
    BadInput
        There is no such file, it is not a regular file, larger than `LARGEST_FILE`, unreadable.
    """
    name = shown_path(path)
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise BadInput(f"{name}: is a folder, a TOML file is needed")
        if not stat.S_ISREG(status.st_mode):
            raise BadInput(f"{name}: is not an ordinary file")
        if status.st_size > LARGEST_FILE:
            raise BadInput(
                f"{name}: {status.st_size} bytes; a file of this kind has at most {LARGEST_FILE}"
            )
        with path.open("rb") as file:
            return file.read(LARGEST_FILE)
    except FileNotFoundError as error:
        raise BadInput(f"{name}: there is no such file") from error
    except (OSError, ValueError) as error:
        raise BadInput(f"{name}: cannot be read: {_reason(error)}") from error


def complaint(path: Path, keys: Keys, what: str) -> BadInput:
    """Return the exception for a value of ``path`` found wrong after it was read.

    Parameters
    ----------
    path
        The file; it is opened again to find the line on which ``keys`` stands.
    keys
        Keys and array positions (from 0) from the top of the document.
    what
        The rest of the line: what was seen, what is allowed, what to do.
    """
    try:
        lines = key_lines(_decode(read_bytes(path), path))
    except BadInput:
        lines = {}
    return BadInput(f"{_place(path, lines, keys)}: {what}")


def dotted(keys: Keys) -> str:
    """Return ``take[2].load[0].ohm`` for ``("take", 2, "load", 0, "ohm")``."""
    text = ""
    for key in keys:
        if isinstance(key, int):
            text += f"[{key}]"
        else:
            text += ("." if text else "") + _shown_key(key)
    return text


def _shown_key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]{1,40}", key) else quoted(key, 40)


def _reason(error: Exception) -> str:
    if isinstance(error, OSError) and error.strerror:
        return printable(error.strerror).lower()
    return printable(str(error))[:120]


def _refuse_another_kind(raw: bytes, path: Path, format_word: str) -> None:
    """Refuse a picture, a recording, a page: how to mend its text would be no help."""
    if path.suffix.lower() != ".toml" and format_word.encode() not in raw:
        raise BadInput(
            f"{shown_path(path)}: is no TOML file, but something else; what is needed here is one "
            f'that says format = "{format_word}"'
        )


def _decode(raw: bytes, path: Path) -> str:
    name = shown_path(path)
    if raw.startswith(b"\xef\xbb\xbf"):
        raise BadInput(f"{name}: begins with a byte-order mark; save it as UTF-8 without one (BOM)")
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise BadInput(f"{name}: is text in UTF-16; save it as UTF-8")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise BadInput(
            f"{name} line {line}: byte 0x{raw[error.start]:02x} is not UTF-8; save it as UTF-8"
        ) from error


def _parse(text: str, path: Path) -> dict[str, Any]:
    name = shown_path(path)
    if deep := _TOO_DEEP.search(text):
        line = text.count("\n", 0, deep.start()) + 1
        raise BadInput(f"{name} line {line}: a key of more than {DEEPEST_KEY} dotted parts")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(_damage(name, text, str(error))) from error
    except RecursionError as error:
        raise BadInput(f"{name}: arrays or tables are nested too deeply") from error
    except ValueError as error:
        raise BadInput(f"{name}: a whole number in it has far too many digits") from error


_UNCLOSED = "text that begins with a quotation mark must end with one on the same line"
_CLEARER = {
    "Cannot overwrite a value": "a key or table that was already given above",
    "Illegal character '\\n'": _UNCLOSED,
    "Found invalid character '\\n'": _UNCLOSED,
    """Expected "'\"""": _UNCLOSED,
    "Invalid value": (
        "this value cannot be read; text needs quotation marks, a number begins with a digit"
    ),
    "Expected newline or end of document after a statement": (
        "something is left over after the value; numbers carry no units"
    ),
}
"""Reasons of the standard library's parser that say too little to somebody writing a file."""

_DECIMAL_COMMA = re.compile(r"=\s*[+-]?\d+,\d")


def _damage(name: str, text: str, said: str) -> str:
    """Name the line and column first; quote the line, where people look for what is wrong."""
    found = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", said)
    reason = printable(said[: found.start()] if found else said)[:120]
    reason = _CLEARER.get(reason, reason)
    if not found or not found[1]:
        last = text.count("\n") + (not text.endswith("\n"))
        return f"{name} line {max(last, 1)}: not valid TOML: {reason} at the end of the file"
    lines = text.split("\n")
    line = lines[int(found[1]) - 1] if int(found[1]) <= len(lines) else ""
    if _DECIMAL_COMMA.search(line):
        reason = "decimals are written with a point, not with a comma"
    return (
        f"{name} line {found[1]} column {found[2]}: not valid TOML: {reason}; "
        f"the line reads {quoted(line.strip())}"
    )


def _check_format(data: Mapping[str, Any], path: Path, format_word: str) -> None:
    name = shown_path(path)
    if "format" not in data:
        raise BadInput(
            f'{name}: key "format" is missing; this file must say format = "{format_word}"'
        )
    if data["format"] != format_word:
        seen = shown_value(data["format"])
        raise BadInput(f'{name}: format is {seen}, "{format_word}" is what can be read here')


def _as_annotated(value: list[Any], annotation: Any) -> Any:
    """Turn a list (and lists in it) into a tuple where the annotation asks for one."""
    for option in _options(annotation):
        origin, inner = typing.get_origin(option), typing.get_args(option)
        if origin is tuple:
            kinds = [inner[0]] * len(value) if inner[1:] == (...,) else list(inner)
            kinds += [None] * (len(value) - len(kinds))
            return tuple(
                _as_annotated(v, k) if isinstance(v, list) else v
                for v, k in zip(value, kinds, strict=False)
            )
    return value


def _options(annotation: Any) -> list[Any]:
    """Return the alternatives of an annotation, without ``Annotated``, ``Optional``, ``Union``."""
    origin = typing.get_origin(annotation)
    if origin is typing.Annotated:
        return _options(typing.get_args(annotation)[0])
    if origin in (typing.Union, types.UnionType):
        return [o for a in typing.get_args(annotation) for o in _options(a)]
    return [annotation]


def _telling(error: ValidationError, model: type[BaseModel], text: str, path: Path) -> str:
    """Return the most telling complaint: an unknown key explains a missing one; else the first."""
    lines = key_lines(text)
    found = _innermost(error.errors(include_url=False))
    found.sort(key=lambda e: (e["type"] != "extra_forbidden", _line(e, lines)))
    first = found[0]
    line = f"{_place(path, lines, _keys(first))}: {_say(first, model)}"
    more = len(found) - 1
    return line if not more else f"{line} (and {more} more)"


def _innermost(found: list[ErrorDetails]) -> list[ErrorDetails]:
    """Leave out what only follows: an array whose entries are all wrong also counts as empty."""
    inside = {_keys(e)[:depth] for e in found for depth in range(len(_keys(e)))}
    return [e for e in found if _keys(e) not in inside]


def _keys(error: ErrorDetails) -> Keys:
    return tuple(error["loc"])


def _line(error: ErrorDetails, lines: Mapping[Keys, int]) -> int:
    return line_of(lines, _keys(error)) or LARGEST_FILE


def _place(path: Path, lines: Mapping[Keys, int], keys: Keys) -> str:
    """Return ``session.toml line 12: take[2].load[0].ohm``, as much of it as is known."""
    line = line_of(lines, keys)
    name = shown_path(path) + (f" line {line}" if line else "")
    return f"{name}: {dotted(keys)}" if keys else name


def _say(error: ErrorDetails, model: type[BaseModel]) -> str:
    """Say what is wrong with one value: what was seen and what is allowed."""
    kind, seen = error["type"], shown_value(error["input"])
    if kind == "extra_forbidden":
        return _say_unknown(error, model)
    allowed = _allowed(error, _options_at(model, _keys(error)))
    if kind == "missing":
        return f"is missing; {allowed or 'it is needed here'}"
    allowed += _brackets(error, _options_at(model, _keys(error)))
    if kind == "literal_error":
        seen += _perhaps(error["input"], _words(_options_at(model, _keys(error))))
    return f"{allowed}, not {seen}" if allowed else printable(error["msg"])[:200]


def _brackets(error: ErrorDetails, options: list[Any]) -> str:
    """Return how a table is headed, where single and double brackets were confused."""
    name = ".".join(k for k in _keys(error) if isinstance(k, str))
    seen = error["input"]
    if isinstance(seen, dict) and any(_tables_inside(option) for option in options):
        return f" of tables, each headed [[{name}]] or written {{ ... }}"
    if isinstance(seen, list | tuple) and any(_is_table(option) for option in options):
        head = f"[[{name}]]" if isinstance(_keys(error)[-1], int) else f"[{name}]"
        return f" headed {head} or written {{ ... }}"
    return ""


def _is_table(option: Any) -> bool:
    return isinstance(option, type) and issubclass(option, BaseModel)


def _tables_inside(option: Any) -> bool:
    inner = typing.get_args(option)
    return typing.get_origin(option) in (tuple, list) and any(_is_table(i) for i in inner)


def _say_unknown(error: ErrorDetails, model: type[BaseModel]) -> str:
    keys = _keys(error)
    known = _known_keys(model, keys[:-1])
    close = nearest(str(keys[-1]), known)
    if close:
        return f'unknown key; did you mean "{close}"?'
    return f"unknown key; known here: {', '.join(known)}"


def _perhaps(seen: object, words: list[str]) -> str:
    close = nearest(seen, words) if isinstance(seen, str) else None
    return f' (did you mean "{close}"?)' if close else ""


_BOUNDS = {
    "greater_than": "must be above {gt:g}",
    "greater_than_equal": "must be {ge:g} or more",
    "less_than": "must be below {lt:g}",
    "less_than_equal": "must be {le:g} or less",
    "too_short": "must have at least {min_length} values",
    "too_long": "must have at most {max_length} values",
    "string_too_short": "must be text of at least {min_length} characters",
    "string_too_long": "must be text of at most {max_length} characters",
}

_TYPES = {
    "finite_number": "must be a finite number",
    "bool_type": "must be true or false",
    "date_type": "must be a date such as 2026-03-14, without quotes",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "string_type": "must be text in quotes",
    "list_type": "must be an array [ ... ]",
    "tuple_type": "must be an array [ ... ]",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
    "dict_type": "must be a table",
}


def _allowed(error: ErrorDetails, options: list[Any]) -> str:
    """Return what is allowed, as the middle of a sentence; empty where only the model knows."""
    kind, limits = error["type"], error.get("ctx", {})
    if kind.endswith("too_short") and limits.get("min_length") == 1:
        return "must not be empty"
    if kind in _BOUNDS:
        return _BOUNDS[kind].format(**limits)
    if kind in _TYPES:
        return _TYPES[kind]
    words = _words(options)
    if kind in ("literal_error", "missing") and words:
        return f"must be {one_of(words)}"
    if kind == "missing":
        return _needed(options)
    if kind == "value_error" and "error" in limits:
        return str(limits["error"])
    return ""


def _needed(options: list[Any]) -> str:
    """Return what a missing key would have to hold."""
    names = {float: "a number", int: "a whole number", str: "text in quotes", bool: "true or false"}
    for option in options:
        if option in names:
            return f"{names[option]} is needed"
        if typing.get_origin(option) in (tuple, list):
            return "an array [ ... ] is needed"
        if _is_table(option):
            return "a table is needed"
    return ""


def _words(options: list[Any]) -> list[str]:
    return [
        str(word)
        for option in options
        if typing.get_origin(option) is Literal
        for word in typing.get_args(option)
    ]


def _options_at(model: type[BaseModel], keys: Keys) -> list[Any]:
    """Return what the value at ``keys`` may be; empty where the walk loses its way."""
    options: list[Any] = [model]
    for key in keys:
        options = [o for option in options for o in _step(option, key)]
    return options


def _step(option: Any, key: str | int) -> list[Any]:
    inner = typing.get_args(option)
    if isinstance(option, type) and issubclass(option, BaseModel):
        found = [f for n, f in option.model_fields.items() if (f.alias or n) == key]
        return _options(found[0].annotation) if found else []
    if isinstance(key, int) and inner and typing.get_origin(option) in (tuple, list):
        return _options(inner[0] if inner[1:] == (...,) or key >= len(inner) else inner[key])
    return []


def _known_keys(model: type[BaseModel], keys: Keys) -> list[str]:
    known: list[str] = []
    for option in _options_at(model, keys):
        if isinstance(option, type) and issubclass(option, BaseModel):
            known += [field.alias or name for name, field in option.model_fields.items()]
    return known if keys else ["format", *(k for k in known if k != "format")]
