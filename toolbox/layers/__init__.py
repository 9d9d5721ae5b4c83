"""Layers by name: ``FILE.gpkg:LAYER`` listed, read and written. The only room that imports pyogrio."""

from .reading import list_layers, read_layer, read_surface, read_with_lineage, reprojected
from .reference import Reference, parse_reference
from .single_files import to_flatgeobuf, to_shapefile
from .writing import write_layers

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
