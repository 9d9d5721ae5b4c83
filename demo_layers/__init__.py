"""One invented lake to try everything on."""
