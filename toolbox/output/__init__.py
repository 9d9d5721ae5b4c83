"""What leaves the house: words, open formats, maps, sheets. Pure: layers in, bytes out."""
