"""The archive: measured devices kept in one file, found again, compared over years and sisters."""

from probe.archive.entry import Entry
from probe.archive.keep import Archive
from probe.archive.place import default_place

__all__ = ["Archive", "Entry", "default_place"]
