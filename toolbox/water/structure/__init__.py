"""Structure of the bottom, one file a kind: what to look for, how it is told from the rest, where it lies.

Every finder refuses a threshold that is not above zero (`UsageError`). Where the cells are too wide to show any of its
kind it finds none, and says so in a note.
"""
