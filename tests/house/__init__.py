"""The house rules: imports, start-up, speed, and that the documents say what the code does."""
