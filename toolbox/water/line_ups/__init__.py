"""Marks ashore that bring a boat back to its place."""
