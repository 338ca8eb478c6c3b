"""From samples to complex amplitudes in volts, with a covariance from the recording itself."""
