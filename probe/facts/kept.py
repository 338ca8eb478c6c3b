"""What was found wrong while measuring, and kept: the facts are of the device and of that."""

from __future__ import annotations

from typing import Any

from probe.session.model import KeptAlthough, Session

Document = dict[str, Any]


def kept_warnings(session: Session) -> list[Document]:
    """Return a warning for everything that was found wrong and kept, with its side."""
    return [_warning(one) for one in session.kept_although]


def _warning(one: KeptAlthough) -> Document:
    side = {} if one.side is None else {"side": one.side}
    if one.about == "bench-check":
        message = (
            f"the bench was not as it was calibrated when it was checked, and was kept so: "
            f"{one.seen}. Levels and impedances are off by as much"
        )
        return {"code": "bench-not-as-calibrated", "take": None, **side, "message": message}
    if one.about == "output-clips":
        seen = f"{one.take}: {one.seen}" if one.take else one.seen
        message = (
            f"an output was seen clipping, or driven beyond its linear range: {seen}. What "
            "comes of such a take, its distortion above all, is of that level; a take at a lower "
            "one shows the output as it is used"
        )
        return {"code": "output-clips", "take": one.take or None, **side, "message": message}
    where = " at volume ".join(p for p in (f"on the {one.side} side", one.volume) if p)
    message = (
        f"the device's player did not play the file as it is written {where}, and was kept so: "
        f"{one.seen}. Levels, gains, distortion and responses stated here are of player and output "
        "together"
    )
    return {"code": "player-path", "take": None, **side, "message": message}
