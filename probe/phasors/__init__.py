"""From samples to complex amplitudes in volts, with a covariance from the recording itself."""

from probe.phasors.measure import carries_tones, measure, measure_take
from probe.phasors.model import Remark, TakePhasors
from probe.phasors.quiet import stands_on_mains

__all__ = ["Remark", "TakePhasors", "carries_tones", "measure", "measure_take", "stands_on_mains"]
