"""From phasors to the output stage: what it is, its levels and impedances, with their doubt."""
