"""Large seeded studies, each one command; their tables stand in docs/."""
