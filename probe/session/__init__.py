"""A folder of takes, read and checked: the only room that knows session.toml and audio files."""
