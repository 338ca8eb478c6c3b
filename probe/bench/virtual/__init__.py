"""A simulated interface with a simulated device behind it: for practice, demonstration, tests.

The one place of the bench that knows the simulation.
"""
