"""Structure of the bottom, one file a kind: what to look for, how it is told from the rest, where it lies."""
