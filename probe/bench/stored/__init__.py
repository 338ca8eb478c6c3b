"""The session's folder while it grows: nothing that was recorded is lost."""
