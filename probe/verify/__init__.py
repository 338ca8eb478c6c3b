"""A maker's specification against measured facts: what meets, what fails, what nobody can tell."""

from probe.verify.specification import TEMPLATE, read_specification
from probe.verify.verify import verify

__all__ = ["TEMPLATE", "read_specification", "verify"]
