"""Any waveform through a circuit's responses."""
