"""What a take says by itself and beside the others, and the facts so far."""
