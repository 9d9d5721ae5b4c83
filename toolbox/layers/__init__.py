"""Layers by name: ``FILE.gpkg:LAYER`` listed, read and written. The only room that imports pyogrio."""

from .reading import (
    Reference,
    list_layers,
    parse_reference,
    read_layer,
    read_surface,
    read_with_lineage,
    reprojected,
)
from .writing import to_flatgeobuf, to_shapefile, write_layers

__all__ = [
    "Reference",
    "list_layers",
    "parse_reference",
    "read_layer",
    "read_surface",
    "read_with_lineage",
    "reprojected",
    "to_flatgeobuf",
    "to_shapefile",
    "write_layers",
]
