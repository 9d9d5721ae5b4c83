"""What was worked before is taken from the store: calls, results, and the fingerprints they are known by."""
