"""The trade's words for bottom structure and cover, translated into the kinds of the book."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

FORMS: Final = ("point", "hump", "saddle", "ledge", "pocket", "flat", "bluff", "channel_bend")
COVER: Final = (
    "conifer_brush", "hardwood_brush", "brush", "stumps", "standing_timber",
    "rock_pile", "stake_bed", "artificial", "dock", "vegetation",
)  # fmt: skip
KINDS: Final = (*FORMS, *COVER, "other")

# Ordinary words of anglers and of agency habitat lists (common practice). A word that names cover but not which
# ("fish attractor") is kept as other, of the cover family.
SYNONYMS: Final[dict[str, tuple[str, ...]]] = {
    "point": ("point", "pt", "long point", "main lake point", "secondary point", "spur"),
    "hump": (
        "hump", "sunken island", "submerged island", "underwater island", "rise", "knoll", "mound",
        "high spot", "shoal",
    ),
    "saddle": ("saddle", "col", "gap between humps"),
    "ledge": (
        "ledge", "drop", "drop off", "dropoff", "break", "breakline", "break line", "channel edge",
        "channel ledge",
    ),
    "pocket": ("pocket", "cove", "cut", "ditch", "drain"),
    "flat": ("flat", "flats", "spawning flat", "shelf"),
    "bluff": ("bluff", "bluff wall", "bluff bank", "rock wall", "cliff"),
    "channel_bend": ("channel bend", "channel swing", "creek bend", "river bend", "bend", "channel turn"),
    "conifer_brush": (
        "conifer", "conifers", "conifer tree", "conifer trees", "conifer brush", "conifer brush pile", "cedar",
        "cedars", "cedar tree", "cedar trees", "cedar brush", "christmas tree", "christmas trees", "xmas tree",
        "xmas trees", "evergreen", "evergreens", "evergreen trees", "pine", "pines", "pine trees", "spruce",
        "fir trees", "juniper",
    ),
    "hardwood_brush": (
        "hardwood", "hardwoods", "hardwood tree", "hardwood trees", "hardwood brush", "hardwood tops",
        "deciduous", "oak", "oak tops", "oak brush", "hickory", "treetop", "treetops", "tree top", "tree tops",
        "hinge cut", "hinge cut trees", "laydown", "laydowns", "felled tree", "felled trees", "fallen tree",
    ),
    "brush": (
        "brush", "brush pile", "brush piles", "brushpile", "brushpiles", "bp", "tree", "trees", "tree pile",
        "tree bundle", "tree bundles", "woody debris", "wood", "woody cover", "wood structure", "limbs",
        "bamboo",
    ),
    "stumps": ("stump", "stumps", "stump field", "stump row", "stump bed", "stump flat"),
    "standing_timber": (
        "standing timber", "timber", "flooded timber", "snag", "snags", "drowned trees", "dead trees",
    ),
    "rock_pile": (
        "rock", "rocks", "rock pile", "rock piles", "rockpile", "rockpiles", "rip rap", "riprap", "boulder",
        "boulders", "rubble", "rock reef", "gravel", "gravel bed", "shot rock", "rock structure",
    ),
    "stake_bed": (
        "stake bed", "stake beds", "stakebed", "stakebeds", "stakes", "wooden stakes", "stake bucket",
    ),
    "artificial": (
        "artificial", "artificial habitat", "artificial structure", "artificial reef", "plastic",
        "plastic structure", "plastic habitat", "pvc", "pvc structure", "pvc tree", "pvc trees", "pvc cube",
        "pvc cubes", "cube", "cubes", "concrete", "concrete blocks",
        "concrete rubble", "block", "blocks", "culvert", "tire",
        "tires", "tyre", "tyres", "tire reef", "pallet", "pallets", "pallet stack", "plastic pipe",
        "corrugated pipe", "crib", "cribs", "fish crib",
    ),
    "dock": ("dock", "docks", "boat dock", "pier", "jetty", "pontoon", "marina"),
    "vegetation": (
        "vegetation", "weed", "weeds", "weed bed", "weedbed", "weed line", "grass", "grass bed", "grass line",
        "plants", "aquatic vegetation", "aquatic plants", "lily pads", "pads", "reeds", "bulrush",
        "water willow",
    ),
}  # fmt: skip
_COVER_WORDS: Final = (
    "fish attractor", "attractor", "attractors", "fish attractors", "habitat", "fish habitat", "habitat site",
    "structure", "fish structure", "cover", "reef", "fish reef", "reef site", "mixed", "mix", "mixed habitat",
)  # fmt: skip
# Pairs that may be two people's words for one thing.
_ALIKE: Final = frozenset(
    frozenset(pair)
    for pair in (("brush", "conifer_brush"), ("brush", "hardwood_brush"), ("stumps", "standing_timber"))
)


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of the book, and the family it belongs to: ``form``, ``cover`` or empty when not stated."""

    name: str
    family: str


def _words(text: str) -> str:
    return " ".join(re.findall(r"[a-z]+", text.lower()))


def _family(kind: str) -> str:
    return "form" if kind in FORMS else "cover" if kind in COVER else ""


def _table(extra: Mapping[str, str]) -> dict[str, Kind]:
    table = {_words(word): Kind("other", "cover") for word in _COVER_WORDS}
    for kind, words in SYNONYMS.items():
        for word in (kind, *words):
            table[_words(word)] = Kind(kind, _family(kind))
    table["other"] = Kind("other", "")
    for word, kind in extra.items():
        table[_words(word)] = Kind(kind, _family(kind))
    return table


def read_kinds(texts: list[str], synonyms: Mapping[str, str] | None = None) -> list[Kind]:
    """Translate a column of kinds.

    Parameters
    ----------
    texts
        As written; case and punctuation play no part.
    synonyms
        Further words and the kind each stands for; they go before the table of this file.

    Returns
    -------
    The whole text is looked up first, then the longest run of its words that the table knows (``cedar brush
    pile, 2019`` is conifer brush). Where two runs of one length name different kinds, and where nothing is
    known, the kind is ``other``.
    """
    table = _table(synonyms or {})
    longest = max(len(word.split()) for word in table)
    known: dict[str, Kind] = {}
    for text in set(texts):
        words = _words(text).split()[:40]
        known[text] = Kind("other", "")
        for size in range(min(longest, len(words)), 0, -1):
            runs = (" ".join(words[i : i + size]) for i in range(len(words) - size + 1))
            hits = {table[run] for run in runs if run in table}
            sure = {hit for hit in hits if hit.name != "other"}
            if any(hit.name in ("conifer_brush", "hardwood_brush") for hit in sure):
                sure = {
                    hit for hit in sure if hit.name != "brush"
                }  # "cedar brush pile" says more than "brush pile"
            if len(sure) == 1:
                known[text] = next(iter(sure))
                break
            if hits:
                families = {hit.family for hit in hits}
                known[text] = Kind("other", next(iter(families)) if len(families) == 1 else "")
                if sure:
                    break
    return [known[text] for text in texts]


def kind_of(text: str) -> Kind:
    """Translate one kind; see `read_kinds`."""
    return read_kinds([text])[0]


def alike(one: Kind, two: Kind) -> bool:
    """Whether two rows of these kinds may be one structure."""
    if one.name == two.name:
        return one.name != "other" or one.family == two.family or "" in (one.family, two.family)
    if "other" in (one.name, two.name):
        return one.family == two.family or "" in (one.family, two.family)
    return frozenset((one.name, two.name)) in _ALIKE
