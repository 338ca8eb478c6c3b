"""Writing several files so that all of them are there, or none is new."""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path


def write_together(folder: Path, texts: Mapping[str, str | bytes]) -> list[Path]:
    """Write texts or bytes into a folder (made where missing), first into a new one inside it.

    The inner folder is nobody else's, so that no link laid out beforehand is written through.

    Raises
    ------
    BadInput
        The folder cannot be made or written to.
    """
    import shutil
    import tempfile
    from pathlib import Path

    from probe.errors import BadInput

    made = _first_missing(folder)
    aside: Path | None = None
    done = False
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _check_free(folder, texts)
        aside = Path(tempfile.mkdtemp(prefix=".probe-", dir=folder))
        for name, text in texts.items():
            (aside / name).write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        for name in texts:
            (aside / name).replace(folder / name)
        done = True
    except OSError as error:
        raise BadInput(
            f"{folder}: cannot be written ({error.strerror}); choose another place"
        ) from error
    finally:
        if aside is not None:
            shutil.rmtree(aside, ignore_errors=True)
        if made is not None and not done:
            _remove_empty(folder, made)
    return [folder / name for name in texts]


def check_file(path: str | None, option: str = "") -> None:
    """Refuse a file that could not be written, before anything long is done; None: not asked for.

    ``option``: where it was typed, for the message.

    Raises
    ------
    BadInput
        The path is empty or a folder, or its folder is not there.
    """
    from pathlib import Path

    from probe.errors import BadInput

    if path is None:
        return
    place = Path(path)
    head = f"{option}: " if option else ""
    if not path or place.is_dir():
        raise BadInput(
            f'{head}"{path}" is no file to write; give a name in a folder that is there, as in '
            "page.html"
        )
    if not place.parent.is_dir():
        raise BadInput(f'{head}there is no folder "{place.parent}"; choose one that is there')


def write_all(texts: Mapping[str, str], options: Mapping[str, str]) -> None:
    """Write text files into folders of their own, so that all of them are there, or none is new.

    ``options``: where each path was typed, for the message.

    Raises
    ------
    BadInput
        One of them cannot be written; then none is.
    """
    import shutil
    import tempfile
    from pathlib import Path

    from probe.errors import BadInput

    through: list[tuple[Path, str]] = []
    aside: list[tuple[Path, Path]] = []
    path = ""
    try:
        for path, text in texts.items():
            check_file(path, options[path])
            place = Path(path)
            if place.is_char_device() or place.is_fifo():
                through.append((place, text))
                continue
            target = _end_of_link(place) if place.is_symlink() else place
            _check_free(target.parent, (target.name,))
            folder = Path(tempfile.mkdtemp(prefix=".probe-", dir=target.parent))
            aside.append((folder / target.name, target))
            (folder / target.name).write_bytes(text.encode("utf-8"))
        for new, target in aside:
            path = str(target)
            new.replace(target)
    except OSError as error:
        head = f"{options[path]}: " if path in options else ""
        raise BadInput(
            f"{head}{path} cannot be written ({error.strerror}); nothing was written; choose a "
            "folder that is there and yours"
        ) from error
    finally:
        for new, _ in aside:
            shutil.rmtree(new.parent, ignore_errors=True)
    for place, text in through:
        _write_through(place, text)


def write_one(path: str, text: str) -> Path:
    """Write one text file as `write_together` does; return where.

    The folder of a file is the user's: one that is not there is a slip of the pen, not made.

    Raises
    ------
    BadInput
        The path is empty or a folder, its folder is not there, or it cannot be written to.
    """
    from pathlib import Path

    from probe.errors import BadInput

    check_file(path)
    place = Path(path)
    if place.is_char_device() or place.is_fifo():
        return _write_through(place, text)
    if place.exists() and not place.is_file():
        raise BadInput(f"{path}: is not a file; nothing was written, choose another")
    target = _end_of_link(place) if place.is_symlink() else place
    write_together(target.parent, {target.name: text})
    return place


def _end_of_link(place: Path) -> Path:
    """Return what a link that the user names leads to: it stays a link, that is written."""
    from probe.errors import BadInput

    try:
        target = place.resolve()
        nowhere = target.is_symlink()  # a ring of links, which not every version refuses
    except (OSError, RuntimeError) as error:
        raise BadInput(f"{place}: is a link that leads nowhere; choose another place") from error
    if nowhere:
        raise BadInput(f"{place}: is a link that leads nowhere; choose another place")
    return target


def _write_through(place: Path, text: str) -> Path:
    """Write into what only passes it on, a terminal or a pipe, which must not be replaced."""
    from probe.errors import BadInput

    try:
        place.write_bytes(text.encode("utf-8"))
    except OSError as error:
        raise BadInput(f"{place}: cannot be written ({error.strerror}); choose another") from error
    return place


def _check_free(folder: Path, names: Iterable[str]) -> None:
    """Refuse before the first file is replaced what would stop the second, or is no file."""
    import errno
    import os

    for name in names:
        place = folder / name
        if place.is_dir():
            raise OSError(errno.EISDIR, f"{name} is a folder there", os.fspath(place))
        if place.exists() and not place.is_file():
            raise OSError(errno.EEXIST, f"{name} is a device or a pipe there", os.fspath(place))


def _first_missing(folder: Path) -> Path | None:
    """Return the outermost folder that will have to be made."""
    missing = None
    for place in (folder, *folder.parents):
        if place.exists():
            break
        missing = place
    return missing


def _remove_empty(folder: Path, outermost: Path) -> None:
    """Remove what was made for nothing, from the inside out; keep what others put there."""
    for place in (folder, *folder.parents):
        try:
            place.rmdir()
        except OSError:
            return
        if place == outermost:
            return
