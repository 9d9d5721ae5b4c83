"""Chains of algorithms from a steps file, in one process; only what has changed is run."""
