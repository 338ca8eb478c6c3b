"""A headless Chromium, driven through a pair of pipes with the DevTools protocol.

Only what looking at a page needs: open, emulate a width, a colour scheme or paper, ask the page a
question, take a picture, print, and read the accessibility tree. The pipes need no extra package.
"""

from __future__ import annotations

import base64
import fcntl
import json
import os
import shutil
import subprocess
from pathlib import Path
from types import TracebackType
from typing import Any, Self

_NAMES = ("chromium", "chromium-browser", "google-chrome")
_FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--hide-scrollbars", "--remote-debugging-pipe", "about:blank",
)  # fmt: skip


KEYS = {"Tab": ("Tab", 9, ""), "Enter": ("Enter", 13, "\r"), " ": ("Space", 32, " ")}
"""Code, number and text of each key, as the protocol wants them."""


def find() -> str | None:
    """The browser's path, or None where there is none."""
    return next((path for name in _NAMES if (path := shutil.which(name))), None)


class Browser:
    """One browser with one page."""

    def __init__(self, program: str, profile: Path) -> None:
        to_read, to_write = os.pipe()
        from_read, from_write = os.pipe()
        inside = [fcntl.fcntl(fd, fcntl.F_DUPFD, 20) for fd in (to_read, from_write)]

        def plumb() -> None:  # the protocol wants its ends on exactly 3 and 4
            os.dup2(inside[0], 3)
            os.dup2(inside[1], 4)

        self._process = subprocess.Popen(
            [program, *_FLAGS[:-1], f"--user-data-dir={profile}", _FLAGS[-1]],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            preexec_fn=plumb, pass_fds=(3, 4),
        )  # fmt: skip
        for fd in (to_read, from_write, *inside):
            os.close(fd)
        self._out, self._in = to_write, from_read
        self._rest = b""
        self._number = 0
        self._session: str | None = None
        target = self._ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self._ask("Target.attachToTarget", targetId=target, flatten=True)[
            "sessionId"
        ]
        self._ask("Page.enable")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._process.terminate()
        self._process.wait(timeout=20)
        os.close(self._out)
        os.close(self._in)

    def show(self, path: Path, width: int, height: int = 900, scheme: str = "light") -> None:
        """Open a file at a width in CSS pixels, in the light or the dark scheme."""
        self._ask(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=1, mobile=False,
        )  # fmt: skip
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        self._ask("Emulation.setEmulatedMedia", media="screen", features=features)
        self._ask("Page.navigate", url=path.resolve().as_uri())
        self._wait("Page.loadEventFired")

    def ask(self, expression: str) -> Any:
        """The value of a JavaScript expression in the page, or of what it promises."""
        found = self._ask(
            "Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True
        )
        return found["result"].get("value")

    def press(self, key: str) -> None:
        """Press one key, as a hand on the keyboard does: ``Tab``, ``Enter`` or a space."""
        code, number, text = KEYS[key]
        down = {"key": key, "code": code, "windowsVirtualKeyCode": number}
        typed = {"text": text} if text else {}
        self._ask("Input.dispatchKeyEvent", type="keyDown", **down, **typed)
        self._ask("Input.dispatchKeyEvent", type="keyUp", **down)

    def picture(self) -> bytes:
        """What the window shows, as PNG."""
        return base64.b64decode(self._ask("Page.captureScreenshot", format="png")["data"])

    def paper(self) -> bytes:
        """The page printed on A4 without backgrounds, as PDF."""
        self._ask("Emulation.setEmulatedMedia", media="")
        printed = self._ask("Page.printToPDF", preferCSSPageSize=True, printBackground=False)
        return base64.b64decode(printed["data"])

    def spoken(self) -> list[tuple[str, str]]:
        """Role and name of every node of the accessibility tree, in reading order."""
        nodes = self._ask("Accessibility.getFullAXTree")["nodes"]
        by_id = {node["nodeId"]: node for node in nodes}
        order: list[tuple[str, str]] = []

        def visit(node: dict[str, Any]) -> None:
            if not node.get("ignored"):
                role, name = (node.get(k, {}).get("value", "") for k in ("role", "name"))
                order.append((str(role), str(name)))
            for child in node.get("childIds", ()):
                if child in by_id:
                    visit(by_id[child])

        visit(nodes[0])
        return order

    def _ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._out, data) :]
        while True:
            answer = self._receive()
            if answer.get("id") == self._number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return dict(answer["result"])

    def _wait(self, event: str) -> None:
        while self._receive().get("method") != event:
            pass

    def _receive(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            more = os.read(self._in, 1 << 20)
            if not more:
                raise RuntimeError("the browser closed its pipe")
            self._rest += more
        message, _, self._rest = self._rest.partition(b"\0")
        return dict(json.loads(message))
