"""One path or two: five indications from ordinary takes, each weighed, and what they allow to say.

Each indication is a module with pure functions from numbers to an ``Indication``; ``collect`` gets
the numbers out of a side's takes and ``weigh`` turns the indications into a verdict.
"""
