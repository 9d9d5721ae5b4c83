"""The order of stops, and the run from ramp to ramp."""
