"""The examples of the catalogue: run on the demo lake, told in figures, and drawn."""
