"""The bench measures itself: volts, impedances, match, noise, each with its doubt."""
