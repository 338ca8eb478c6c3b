"""Say how the tests went, and fail where one was skipped: on a build machine nothing is missing.

python -m tests.house.skips REPORT.xml..., where each was written by pytest --junitxml.
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


def main(reports: list[str]) -> int:
    """Print the outcome; return the exit status."""
    status = 0
    for report in map(Path, reports):
        lines = skipped(report)
        total = count(report)
        for line in lines:
            print(f"skipped: {line}")
        print(f"{report.stem}: {total - len(lines)} of {total} tests ran, {len(lines)} skipped")
        if lines or not total:
            status = 1
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
