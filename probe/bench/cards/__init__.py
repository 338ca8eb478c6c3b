"""Sound cards: those this machine has, which was chosen, and one in memory."""
