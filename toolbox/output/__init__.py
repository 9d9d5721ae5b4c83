"""Writers of open formats and drawings. Pure: layers in, bytes out."""
