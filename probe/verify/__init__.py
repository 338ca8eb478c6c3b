"""A maker's specification against measured facts: what meets, what fails, what nobody can tell."""

from probe.verify.judged import Fault, JudgedFigure, JudgedLine, JudgedReading, Verification
from probe.verify.specification import TEMPLATE, read_specification
from probe.verify.verify import verify

__all__ = [
    "TEMPLATE",
    "Fault",
    "JudgedFigure",
    "JudgedLine",
    "JudgedReading",
    "Verification",
    "read_specification",
    "verify",
]
