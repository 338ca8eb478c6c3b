"""``probe archive ACTION``: keep measured devices, find them again, compare them."""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from probe.archive.entry import Entry
    from probe.archive.keep import Archive

ACTIONS = {
    "add": "keep sessions or facts files",
    "list": "list the entries",
    "search": "list the entries that hold all the words",
    "show": "show one entry; write its report, facts or session",
    "drift": "one device over the years",
    "family": "one example against its sisters of the same model",
    "export": "write entries into a new archive",
    "import": "add what another archive holds, also a damaged one",
    "remove": "remove entries by number",
    "check": "look for damage",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    from probe.cli.source import add_archive

    actions = parser.add_subparsers(metavar="ACTION", dest="action", required=True)
    made = {}
    for name, purpose in ACTIONS.items():
        made[name] = actions.add_parser(name, help=purpose, description=purpose)
        add_archive(made[name])
    made["add"].add_argument("sources", nargs="+", metavar="SESSION_OR_FACTS")
    made["add"].add_argument("--note", default="", help="a sentence to go with them")
    made["add"].add_argument("--renew", action="store_true", help="replace what is there already")
    made["add"].add_argument("--no-takes", action="store_true", help="leave the recordings out")
    for name in ("list", "search"):
        for key in ("maker", "model", "serial"):
            made[name].add_argument(f"--{key}", default="", help=f"only of this {key}")
    made["search"].add_argument("words", nargs="+", metavar="WORD")
    made["show"].add_argument("entry", metavar="ENTRY", help="number, or words that find one")
    for key, what in (("facts", "facts.json"), ("report", "report"), ("session", "folder")):
        made["show"].add_argument(f"--{key}", metavar="PLACE", help=f"write its {what} there")
    made["drift"].add_argument("entry", metavar="ENTRY", help="number or words of any of its looks")
    made["family"].add_argument("entry", metavar="ENTRY", help="number, or words that find one")
    for name in ("drift", "family"):
        made[name].add_argument(
            "--fact", action="append", default=[], metavar="NAME", help="this fact only; repeat"
        )
        made[name].add_argument("--html", metavar="FILE", help="write the page")
    for name in ("list", "search", "drift", "family"):
        made[name].add_argument("--json", action="store_true", help="print as JSON")
    made["export"].add_argument("target", metavar="FILE", help="the new archive")
    made["export"].add_argument(
        "entries", nargs="*", type=int, metavar="NUMBER", help="entries (default: all)"
    )
    made["import"].add_argument("other", metavar="FILE", help="the other archive")
    made["remove"].add_argument("entries", nargs="+", type=int, metavar="NUMBER")


def run(args: argparse.Namespace) -> int:
    """Do what is asked; return the exit status."""
    from probe.archive.keep import Archive
    from probe.cli.output import check_file
    from probe.cli.source import archive_path

    for option in ("html", "facts", "report"):
        check_file(getattr(args, option, None), f"--{option}")
    check_file(getattr(args, "target", None))
    if args.action == "add":
        _check_all(args.sources)
    path = archive_path(args.archive)
    writes = args.action in ("add", "import", "remove")
    create = writes and args.action != "remove"
    with Archive.open(path, create=create, writable=writes) as archive:
        return _DO[args.action](archive, args)


def _check_all(sources: list[str]) -> None:
    """Read every source before anything is kept of the first, or an archive made."""
    from pathlib import Path

    from probe.archive.sessions import check_source

    for source in sources:
        check_source(Path(source))


def _add(archive: Archive, args: argparse.Namespace) -> int:
    from pathlib import Path

    from probe.archive.sessions import package_of
    from probe.archive.told import listed
    from probe.cli.progress import counted_progress

    show = counted_progress("adding") or (lambda *_: None)
    for at, source in enumerate(args.sources):
        show(at, len(args.sources), source)
        package, files = package_of(Path(source), note=args.note, takes=not args.no_takes)
        entry, new = archive.add(package, files, renew=args.renew)
        show(len(args.sources), len(args.sources), "")
        print(listed([entry]).rstrip() + ("" if new else "  (there already)"))
    return 0


def _list(archive: Archive, args: argparse.Namespace) -> int:
    return _print(archive.entries(maker=args.maker, model=args.model, serial=args.serial), args)


def _search(archive: Archive, args: argparse.Namespace) -> int:
    found = archive.search(args.words)
    kept = {e.id for e in archive.entries(maker=args.maker, model=args.model, serial=args.serial)}
    return _print([entry for entry in found if entry.id in kept], args)


def _print(entries: list[Entry], args: argparse.Namespace) -> int:
    from probe.archive.told import entry_json, listed

    if args.json:
        _json([entry_json(entry) for entry in entries])
    else:
        print(listed(entries), end="")
    return 0


def _show(archive: Archive, args: argparse.Namespace) -> int:
    from pathlib import Path

    from probe.archive.told import shown
    from probe.cli.output import write_one
    from probe.errors import BadInput

    entry = archive.find(args.entry)
    if args.facts is not None:
        write_one(args.facts, archive.facts_text(entry.id))
    if args.report is not None:
        report = archive.report(entry.id)
        if report is None:
            raise BadInput(f"entry {entry.id} was added without a report")
        write_one(args.report, report)
    if args.session is not None:
        archive.restore(entry.id, Path(args.session))
    print(shown(archive, entry), end="")
    return 0


def _drift(archive: Archive, args: argparse.Namespace) -> int:
    from probe.archive.pages import drift_page
    from probe.archive.told import drift_json, drifted, undated
    from probe.archive.years import Look, drift, in_order
    from probe.cli.output import write_one
    from probe.errors import BadInput

    entries, left_out = in_order(_of_one_device(archive, args.entry))
    if len(entries) < 2:
        nowhere = f"; {undated(left_out)}" if left_out else ""
        of_this = f"of this device there is {len(entries)}"
        raise BadInput(f"drift needs two looks or more of a stated day; {of_this}{nowhere}")
    looks = [Look(entry, archive.facts(entry.id)) for entry in entries]
    rows = drift(looks, args.fact)
    if args.html is not None:
        written = write_one(args.html, drift_page(looks, rows, left_out))
    if args.json:
        _json(drift_json(looks, rows, left_out))
        return 0
    print(drifted(looks, rows, left_out), end="")
    if args.html is not None:
        print(f"written: {written}")
    return 0


def _of_one_device(archive: Archive, said: str) -> list[Entry]:
    """Return all looks at the one device that a number or words stand for."""
    from probe.errors import BadInput

    number = said.isascii() and said.isdigit() and len(said) < 16
    found = [archive.entry(int(said))] if number else archive.search(said.split())
    devices = {entry.device for entry in found}
    if len(devices) > 1:
        raise BadInput(f"{len(devices)} devices hold these words; give an entry's number")
    if not devices:
        raise BadInput("no entry holds these words; probe archive list shows all")
    device = devices.pop()
    if not device[2]:
        raise BadInput("this device states no serial: its looks cannot be told from its sisters'")
    return [entry for entry in archive.entries(serial=device[2]) if entry.device == device]


def _family(archive: Archive, args: argparse.Namespace) -> int:
    from probe.archive.family import family, sisters_of
    from probe.archive.pages import family_page
    from probe.archive.told import family_json, related
    from probe.cli.output import write_one

    entry = archive.find(args.entry)
    sisters, left_out = sisters_of(entry, archive.entries(maker=entry.maker, model=entry.model))
    rows = family(archive.facts(entry.id), [archive.facts(s.id) for s in sisters], args.fact)
    if args.html is not None:
        written = write_one(args.html, family_page(entry, rows, left_out))
    if args.json:
        _json(family_json(entry, rows))
        return 0
    print(related(entry, rows, left_out), end="")
    if args.html is not None:
        print(f"written: {written}")
    return 0


def _export(archive: Archive, args: argparse.Namespace) -> int:
    from pathlib import Path

    from probe.archive.exchange import export
    from probe.archive.told import exchanged
    from probe.cli.progress import counted_progress

    numbers = args.entries or [entry.id for entry in archive.entries()]
    for number in numbers:
        archive.entry(number)
    done = export(archive, numbers, Path(args.target), counted_progress("exporting"))
    print(exchanged(done), end="")
    return 1 if done.left_out else 0


def _import(archive: Archive, args: argparse.Namespace) -> int:
    from pathlib import Path

    from probe.archive.exchange import import_from
    from probe.archive.told import exchanged
    from probe.cli.progress import counted_progress

    done = import_from(Path(args.other), archive, counted_progress("importing"))
    print(exchanged(done), end="")
    return 1 if done.left_out else 0


def _remove(archive: Archive, args: argparse.Namespace) -> int:
    from probe.archive.told import listed

    entries = [archive.entry(number) for number in args.entries]
    archive.remove([entry.id for entry in entries])
    print("removed:\n" + listed(entries), end="")
    return 0


def _check(archive: Archive, _args: argparse.Namespace) -> int:
    from probe.archive.errors import REMEDY
    from probe.archive.exchange import complaints
    from probe.formats.text import printable

    found = complaints(archive)
    for what in found:
        print(printable(what)[:300])
    print(f"{REMEDY[0].upper()}{REMEDY[1:]}" if found else "no damage found")
    return 1 if found else 0


_DO: dict[str, Callable[[Archive, argparse.Namespace], int]] = {
    "add": _add, "list": _list, "search": _search, "show": _show, "drift": _drift,
    "family": _family, "export": _export, "import": _import, "remove": _remove, "check": _check,
}  # fmt: skip


def _json(value: Any) -> None:
    import json

    print(json.dumps(value, indent=1, allow_nan=False, ensure_ascii=False))
