"""Maps: the ground, the run, marks, labels, key and tools."""
