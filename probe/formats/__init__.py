"""Files people write, read and checked: TOML to plain values, one clear line for each complaint."""
