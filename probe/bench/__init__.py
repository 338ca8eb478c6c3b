"""The live bench: plays, records, guides, guards, and writes a session folder.

Nothing that analyses knows whether a session was recorded here or elsewhere.
"""
