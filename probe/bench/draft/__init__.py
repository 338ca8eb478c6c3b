"""Drafts of session.toml from recordings made elsewhere: what can be heard, and questions."""
