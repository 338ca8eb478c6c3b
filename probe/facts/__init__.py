"""The facts document: its shape, how it is written, read and turned back into a source."""
