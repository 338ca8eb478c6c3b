"""Facts beside each other: differences with their doubt, and the conditions that forbid them."""
