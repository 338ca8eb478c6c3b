"""A session folder that is being filled: nothing that was recorded is ever lost from it.

``session.toml`` is written anew after every take, beside its place, and moved there when it is
complete; what analyses a session can read it at any moment. What is not finished (the take being
recorded, a gain that was raised and not taken back) stands in ``unfinished.toml``, so that a
session whose program was killed goes on where it was: `SessionFolder.resume`.

A take that was cut has its header mended and is offered as `Cut`: its samples are good, but
where in its stream it began is not known any more, so it shares no timebase.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from textwrap import shorten
from typing import Any

from probe.bench.stream.capture import PART
from probe.bench.stream.recorded import Recorded
from probe.bench.stream.wav import mend
from probe.errors import BadInput, NotStored
from probe.formats.text import shown_path
from probe.formats.toml import parse_toml, read_bytes
from probe.formats.write import table
from probe.session.document import FORMAT_WORD, SessionTable
from probe.session.header import SHORTEST_FRAMES
from probe.session.model import Kept

MOST_SEEN = 200
"""Characters of what is noted as seen; session.toml takes no more."""

SESSION = "session.toml"
UNFINISHED = "unfinished.toml"
UNFINISHED_FORMAT = "probe-unfinished/1"

TakeTable = Mapping[str, Any]
"""A ``[[take]]`` of session.toml as a dict of its keys."""


@dataclass(frozen=True)
class Cut:
    """A take that was being recorded when the program ended.

    Attributes
    ----------
    take
        Its table, without timebase.
    path
        Its file, mended.
    frames
        Its length now.
    whole
        Whether it had been recorded to its end, and only its entry is missing.
    """

    take: dict[str, Any]
    path: Path
    frames: int
    whole: bool

    @property
    def usable(self) -> bool:
        """Whether it is long enough to be a take at all."""
        return self.frames >= SHORTEST_FRAMES


class SessionFolder:
    """One session on disk. Made by `create` or `resume`.

    Attributes
    ----------
    device, bench
        Tables of session.toml; ``input`` and ``output`` of the bench are lists of tables.
    meters, takes, refused, kept_although
        Lists of tables. Change them by `add_meter`, `keep`, `forget`, `refuse` and
        `keep_although` only.
    cut
        What was left by a program that was killed; settle it by `keep_cut` or `drop_cut`.
    gain_raised
        What was raised for a take of noise and not yet taken back; kept over a kill.
    """

    def __init__(self, folder: Path, device: TakeTable, bench: TakeTable) -> None:
        self.folder = folder
        self.device = dict(device)
        self.bench = dict(bench)
        self.meters: list[dict[str, Any]] = []
        self.takes: list[dict[str, Any]] = []
        self.refused: list[dict[str, Any]] = []
        self.kept_although: list[dict[str, Any]] = []
        self.cut: Cut | None = None
        self.gain_raised: str | None = None
        self.head: tuple[str, ...] = ()
        """Lines of comment at the top of session.toml."""
        self._pending: dict[str, Any] | None = None

    @classmethod
    def create(
        cls,
        folder: Path,
        device: TakeTable,
        bench: TakeTable,
        *,
        meters: Sequence[TakeTable] = (),
        head: Sequence[str] = (),
    ) -> SessionFolder:
        """Begin a session in a folder that is new or empty.

        Parameters
        ----------
        folder
            Made where it is missing.
        device, bench
            Keys of ``[device]`` and ``[bench]``; bench also holds ``input`` and ``output``.
        meters
            Keys of ``[[meter]]``.
        head
            Lines of comment for the top of session.toml.

        Raises
        ------
        BadInput
            The folder holds something, or cannot be written; or a table would not be read.
        """
        new = cls(folder, device, bench)
        new.meters = [dict(m) for m in meters]
        new.head = tuple(head)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if any(folder.iterdir()):
                raise BadInput(
                    f"{shown_path(folder)}: is not empty; name a new folder, or resume the session"
                )
        except OSError as error:
            raise _cannot(folder, error) from error
        new._write_session()
        return new

    @classmethod
    def resume(cls, folder: Path) -> SessionFolder:
        """Go on with a session; a take that was cut is mended and offered as `cut`.

        Raises
        ------
        BadInput
            There is none, or it cannot be read or mended.
        """
        raw = read_bytes(folder / SESSION)
        parse_toml(raw, folder / SESSION, SessionTable, format_word=FORMAT_WORD)
        text = raw.decode("utf-8")
        data = tomllib.loads(text)
        found = cls(folder, data["device"], data["bench"])
        found.meters = data.get("meter", [])
        found.takes = data.get("take", [])
        found.refused = data.get("refused_load", [])
        found.kept_although = data.get("kept_although", [])
        found.head = _leading_comment(text)
        found._read_unfinished()
        return found

    @property
    def next_run(self) -> int:
        """The number of the next timebase that no take of this session has."""
        names = [str(take.get("timebase", "")) for take in self.takes]
        numbers = [int(n[4:]) for n in names if n.startswith("run-") and n[4:].isdecimal()]
        return max(numbers, default=0) + 1

    def free_file(self, stem: str) -> str:
        """Return ``stem.wav``, or ``stem-2.wav`` and so on where that is taken."""
        number = 1
        while True:
            name = f"{stem}.wav" if number == 1 else f"{stem}-{number}.wav"
            places = (self.folder / name, self.folder / (name + PART))
            if not any(p.exists() for p in places) and all(t["file"] != name for t in self.takes):
                return name
            number += 1

    def add_meter(self, meter: TakeTable) -> None:
        """Add a meter reading, in place of an earlier one there; session.toml is written anew."""
        before = self.meters
        there = [(m["side"], tuple(m["between"])) for m in before]
        place = (meter["side"], tuple(meter["between"]))
        earlier = before[there.index(place)] if place in there else {}
        kept = [m for m, at in zip(before, there, strict=True) if at != place]
        self.meters = [*kept, {**earlier, **meter}]
        try:
            self._write_session()
        except BadInput:
            self.meters = before
            raise

    def begin(self, take: TakeTable) -> Path:
        """Note that this take is about to be recorded; return where to.

        Parameters
        ----------
        take
            All keys of its table; ``timebase`` and ``start_frame`` are filled in by `keep`.

        Raises
        ------
        BadInput
            The table would not be read, or the folder cannot be written. Nothing was begun.
        """
        entry = {k: v for k, v in take.items() if k not in ("timebase", "start_frame")}
        self._check([*self.takes, entry])
        self._pending = entry
        self._write_unfinished()
        return self.folder / str(entry["file"])

    def keep(self, recorded: Recorded, *, in_stream: bool = True) -> None:
        """Add the take that was begun to the session; session.toml is written anew.

        ``in_stream`` False: its tones came from a player of their own, so that its place in the
        stream says nothing about their phase.

        Raises
        ------
        BadInput
            It is not complete, or session.toml cannot be written (disk full): the take stays
            where it is, and `resume` finds it.
        """
        if self._pending is None or not recorded.complete:
            raise BadInput("only a complete take that was begun can be kept")
        place = {"timebase": recorded.timebase, "start_frame": recorded.start_frame}
        self._add({**self._pending, **(place if in_stream else {})})

    def remark(self, text: str) -> None:
        """Add a line of comment to the top of session.toml, once; written at once."""
        line = f"# {text}"
        if line not in self.head:
            self.head = (*self.head, line)
            self._write_session()

    def refuse(self, take: TakeTable, seen: str) -> None:
        """Note that the load of a take was tried and not used; session.toml is written anew.

        Parameters
        ----------
        take
            Its table, as `begin` takes it.
        seen
            Why, in a few words.
        """
        said = {k: take[k] for k in ("side", "volume", "load") if take.get(k)}
        before = self.refused
        self.refused = [*_without(before, said), {**said, "seen": seen}]
        try:
            self._write_session()
        except BadInput:
            self.refused = before
            raise

    def keep_although(
        self,
        about: Kept,
        seen: Sequence[str],
        side: str = "",
        volume: str = "",
        takes: Sequence[str] = (),
    ) -> None:
        """Note what was found wrong and kept, in place of what was noted of the same before.

        ``seen``: each thing in a few words; empty: nothing is wrong (any more). ``takes``: the name
        of the take in which each was seen, where it is about takes.
        """
        key = {k: v for k, v in (("about", about), ("side", side), ("volume", volume)) if v}
        before = self.kept_although
        own = ("seen", "take")
        found = [k for k in before if {n: v for n, v in k.items() if n not in own} != key]
        of = [{"take": take} for take in takes] or [{}] * len(seen)
        self.kept_although = [
            *found,
            *({**key, **take, "seen": shorten(one, MOST_SEEN, placeholder=" ...")}
              for one, take in zip(seen, of, strict=True)),
        ]  # fmt: skip
        try:
            self._write_session()
        except BadInput:
            self.kept_although = before
            raise

    def abandon(self, recorded: Recorded | None = None) -> None:
        """Give up the take that was begun, and delete what was recorded of it."""
        if recorded is not None and recorded.path is not None:
            recorded.path.unlink(missing_ok=True)
        self._pending = None
        self._write_unfinished()

    def forget(self, file: str) -> None:
        """Take a kept take out of the session again; its file stays, with ``.old`` behind it."""
        kept = [take for take in self.takes if take["file"] != file]
        before, self.takes = self.takes, kept
        try:
            self._write_session()
        except BadInput:
            self.takes = before
            raise
        place = self.folder / file
        with suppress(OSError):
            place.replace(place.with_name(place.name + ".old"))

    def keep_cut(self) -> None:
        """Add the take that was cut to the session as it is, without timebase.

        Raises
        ------
        BadInput
            There is none, it is too short to be a take, or it cannot be written.
        """
        if self.cut is None or not self.cut.usable:
            raise BadInput(f"{shown_path(self.folder)}: no take was cut that is long enough")
        final = self.folder / str(self.cut.take["file"])
        if self.cut.path != final:
            try:
                self.cut.path.rename(final)
            except OSError as error:
                raise _cannot(final, error) from error
        self._add(self.cut.take)
        self.cut = None

    def drop_cut(self) -> None:
        """Set the take that was cut aside: its file stays, with ``.cut`` behind its name."""
        if self.cut is None:
            raise BadInput(f"{shown_path(self.folder)}: no take was cut")
        name = str(self.cut.take["file"])
        aside = self.folder / f"{name}.cut"
        number = 1
        while aside.exists():
            number += 1
            aside = self.folder / f"{name}.cut-{number}"
        try:
            self.cut.path.rename(aside)
        except OSError as error:
            raise _cannot(aside, error) from error
        self.cut = None
        self._pending = None
        self._write_unfinished()

    def note_gain(self, raised: str | None) -> None:
        """Note what gain was raised for a take of noise; None: it was taken back."""
        self.gain_raised = raised
        self._write_unfinished()

    # -- inside

    def _add(self, take: dict[str, Any]) -> None:
        before = self.refused
        self.takes.append(take)
        self.refused = _without(before, take)
        try:
            self._write_session()
        except BadInput:
            self.takes.pop()
            self.refused = before
            raise
        self._pending = None
        self._write_unfinished()

    def _text(self, takes: Sequence[TakeTable]) -> str:
        bench = {k: v for k, v in self.bench.items() if k not in ("input", "output")}
        parts = [
            *self.head,
            f'format = "{FORMAT_WORD}"',
            "",
            table("[device]", self.device),
            table("[bench]", bench),
            *(table("[[bench.input]]", i) for i in self.bench.get("input", ())),
            *(table("[[bench.output]]", o) for o in self.bench.get("output", ())),
            *(table("[[meter]]", m) for m in self.meters),
            *(table("[[take]]", t) for t in takes),
            *(table("[[refused_load]]", r) for r in self.refused),
            *(table("[[kept_although]]", k) for k in self.kept_although),
        ]
        return "\n".join(parts)

    def _check(self, takes: Sequence[TakeTable]) -> bytes:
        """Return session.toml with these takes, read back as anybody would read it."""
        raw = self._text(takes).encode("utf-8")
        parse_toml(raw, self.folder / SESSION, SessionTable, format_word=FORMAT_WORD)
        return raw

    def _write_session(self) -> None:
        replace_file(self.folder / SESSION, self._check(self.takes))

    def _write_unfinished(self) -> None:
        place = self.folder / UNFINISHED
        if self._pending is None and self.gain_raised is None:
            with suppress(OSError):
                place.unlink(missing_ok=True)
            return
        said = {"format": UNFINISHED_FORMAT, "gain_raised": self.gain_raised}
        text = table("", said)
        if self._pending is not None:
            text += "\n" + table("[take]", self._pending)
        replace_file(place, text.encode("utf-8"))

    def _read_unfinished(self) -> None:
        place = self.folder / UNFINISHED
        if not place.exists():
            return
        try:
            said = tomllib.loads(read_bytes(place).decode("utf-8"))
        except ValueError as error:
            raise BadInput(
                f"{shown_path(place)}: is damaged; move it away, and the session goes on without "
                "the take that was cut"
            ) from error
        self.gain_raised = said.get("gain_raised")
        take = said.get("take")
        if take is not None and all(t["file"] != take["file"] for t in self.takes):
            self._offer(take)

    def _offer(self, take: dict[str, Any]) -> None:
        final = self.folder / str(take["file"])
        part = final.with_name(final.name + PART)
        path = final if final.exists() else part
        if path == part and path.exists() and not path.stat().st_size:
            path.unlink()  # stopped between making the file and its first byte: nothing is in it
        if path.exists():
            self._pending = take
            self.cut = Cut(take, path, mend(path), whole=path == final)


def _without(refused: list[dict[str, Any]], said: TakeTable) -> list[dict[str, Any]]:
    """Return the refused loads but for this one: a later try of it counts in its place."""
    keys = ("side", "volume", "load")
    return [r for r in refused if any(r.get(k) != said.get(k) for k in keys)]


def _leading_comment(text: str) -> tuple[str, ...]:
    lines = []
    for line in text.splitlines():
        if not line.startswith("#"):
            break
        lines.append(line)
    return tuple(lines)


def replace_file(place: Path, content: bytes) -> None:
    """Write a file beside its place, to the disk, and move it there.

    Raises
    ------
    NotStored
        It cannot be written; what stood there stands there still.
    """
    beside = place.with_name(f".{place.name}.new")
    try:
        with beside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(place)
    except OSError as error:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise _cannot(place, error) from error


def _cannot(place: Path, error: OSError) -> NotStored:
    return NotStored(f"{shown_path(place)}: cannot be written: {error.strerror or error}")
