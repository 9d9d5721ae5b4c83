"""Logs of echo sounders, in sentences and in tables, judged reading by reading."""
