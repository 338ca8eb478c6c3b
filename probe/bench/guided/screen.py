"""What the run says, in the terminal and on the page that follows, kept alike."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from probe.bench.guided.setting_up import confirmed, title
from probe.bench.judged.interim import Doubt, Interim
from probe.bench.planned import cautions, plan
from probe.bench.planned.steps import Step
from probe.bench.shown.dialogue import Dialogue
from probe.bench.shown.follow import FollowPage, Shown
from probe.bench.shown.told import facts_rows, open_rows
from probe.session.model import Device, Side


class Screen:
    """Terminal and page together.

    Parameters
    ----------
    talk, folder
        Who is talked to; where the page lies.
    interim
        Has the facts so far.
    device
        Whose name the page shows.

    Attributes
    ----------
    told
        What became of each take, for the page.
    sides
        Those that are measured.
    """

    def __init__(self, talk: Dialogue, folder: Path, interim: Interim, device: Device) -> None:
        self.talk = talk
        self.folder = folder
        self.interim = interim
        self.device = device
        self.page = FollowPage(folder)
        self.sides: tuple[Side, ...] = ()
        self.told: list[tuple[str, str]] = []
        self.confirmed_codes: set[str] = set()

    def caution(self, caution: cautions.Caution) -> None:
        """Say a caution and have it confirmed, once in a run."""
        if caution.code in self.confirmed_codes:
            return
        self.talk.warn(caution.title, caution.text)
        confirmed(self.talk, f"caution-{caution.code}", "Done, or understood?")
        self.confirmed_codes.add(caution.code)

    def tell_facts(self, body: dict[str, Any]) -> None:
        """Show the facts so far, and what is still open."""
        rows = facts_rows(body)
        if rows:
            self.talk.heading("So far")
            self.talk.rows([*rows, *open_rows(body, self.device)])

    def tell_done(self, name: str, done: plan.Done, doubted: Sequence[Doubt] = ()) -> None:
        """Say why nothing more is asked for, and what stays open; contradictions come first."""
        if doubted:
            self.talk.say(f"{name}: nothing more is asked for, but this is not settled.")
        else:
            self.talk.say(f"{name}: {done.why}.")
        for doubt in doubted:
            self.talk.say(f"Still open: {doubt.take}: {doubt.message}.")
        for one in done.open_:
            self.talk.say(f"Still open: {one}.")

    def show_step(self, step: Step, status: str, before: tuple[cautions.Caution, ...]) -> None:
        """Show a step and its cautions on the page."""
        self.show(title(step.take), status, step=step, before=before)

    def show(
        self,
        head: str,
        status: str,
        *,
        step: Step | None = None,
        before: tuple[cautions.Caution, ...] = (),
        over: bool = False,
    ) -> None:
        """Show on the page what is so; ``over``: it need not look again."""
        if not self.folder.is_dir():
            return
        body = self.interim.body(step.plugged.side) if step is not None else {}
        if step is None:
            body = next((b for s in self.sides if (b := self.interim.body(s))), {})
        self.page.show(
            Shown(
                device=f"{self.device.maker} {self.device.model}",
                title=head[0].upper() + head[1:],
                status=status,
                step=step,
                cautions=before,
                takes=tuple(self.told),
                facts=(*facts_rows(body), *open_rows(body, self.device)),
                over=over,
            )
        )
