"""Rows of lists placed on the lake and made into one book of spots; what comes home from a trip."""
