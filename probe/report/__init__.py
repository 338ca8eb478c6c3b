"""Facts as something to look at: one self-contained HTML file."""
