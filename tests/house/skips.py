"""Say how the tests went, and fail where one was skipped: on a build machine nothing is missing.

python -m tests.house.skips REPORT.xml, where REPORT.xml was written by pytest --junitxml.
"""

from __future__ import annotations

import sys
import xml.etree.ElementTree as ET
from pathlib import Path


def skipped(report: Path) -> list[str]:
    """One line for every test that was skipped or expected to fail, with the reason."""
    cases = ET.parse(report).getroot().iter("testcase")
    return [
        f"{case.get('classname')}::{case.get('name')}: {reason.get('message')}"
        for case in cases
        for reason in case.iter("skipped")
    ]


def count(report: Path) -> int:
    """How many tests the report holds."""
    return sum(1 for _ in ET.parse(report).getroot().iter("testcase"))


def main(report: str) -> int:
    """Print the outcome; return the exit status."""
    lines = skipped(Path(report))
    total = count(Path(report))
    if not total:
        print("no test ran")
        return 1
    for line in lines:
        print(f"skipped: {line}")
    print(f"{total - len(lines)} of {total} tests ran, {len(lines)} skipped")
    return 1 if lines else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
