"""Numbers with and without a unit, words, yes and no: the parameters that are typed as they are."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from .markers import Flag, Many, Number, Quantity, Text

Level = Annotated[float, Quantity("length", -200.0, 200.0)]
Length = Annotated[float, Quantity("length", 0.0, 1.0e6)]
SignedLength = Annotated[float, Quantity("length", -1.0e6, 1.0e6)]
Speed = Annotated[float, Quantity("speed", 0.0, 100.0)]
Duration = Annotated[float, Quantity("time", 0.0, 864000.0)]
Bearing = Annotated[float, Quantity("bearing", 0.0, 360.0)]
Volume = Annotated[float, Quantity("volume", 0.0, 1.0e6)]
Flow = Annotated[float, Quantity("flow", 0.0, 1.0e6)]
Count = Annotated[int, Number(0, 1_000_000_000, whole=True)]
Plain = Annotated[float, Number()]
Share = Annotated[float, Number(0.0, 1.0)]
YesNo = Annotated[bool, Flag()]
Words = Annotated[str, Text()]
Lengths = Annotated[Sequence[float], Many(Quantity("length", -1.0e6, 1.0e6))]
WordList = Annotated[Sequence[str], Many(Text())]
