"""Writing several files so that all of them are there, or none is new."""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


def write_together(folder: Path, texts: Mapping[str, str]) -> list[Path]:
    """Write texts into a folder (made where it is missing), each under a temporary name first.

    Raises
    ------
    BadInput
        The folder cannot be made or written to.
    """
    from probe.errors import BadInput

    fresh: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            part = folder / f".{name}.part"
            fresh.append(part)
            part.write_text(text, encoding="utf-8")
        for name, part in zip(texts, fresh, strict=True):
            part.replace(folder / name)
    except OSError as error:
        for part in fresh:
            part.unlink(missing_ok=True)
        raise BadInput(
            f"{folder}: cannot be written ({error.strerror}); choose another with --out"
        ) from error
    return [folder / name for name in texts]
