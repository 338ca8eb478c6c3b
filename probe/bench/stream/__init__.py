"""One stream on one sound card: plays, records, guards. Knows no device and no session."""
