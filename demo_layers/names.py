"""Invented names. None of them is a real lake, person, brand or agency known to us."""

RESERVOIR = "Larkmoor Reservoir"
RIVER = "Pellin River"
AGENCY = "Pellin Basin Fish Habitat Office"

RAMPS = ("Sedgewick Landing", "Tansy Arm Ramp", "Upper Pellin Ramp")

# By kind of structure, in the order they are handed out.
SPOTS = {
    "hump": ("Teapot Hump", "Two Barn Knoll", "Sunk Orchard", "Nickel Hump", "Sleeping Ox"),
    "saddle": ("Wagon Gap", "Gander Saddle", "Narrow Neck"),
    "point": ("Long Ladle Point", "Quarrel Point", "Cinder Point", "Plum Point", "Rafter Point"),
    "ledge": ("Ferryman's Ledge", "Long Shelf", "Kettle Ledge", "Old Roadbed"),
    "flat": ("Hayfield Flat", "Millet Flat", "Lower Meadow"),
    "bluff": ("Chalkline Bluff",),
    "channel_bend": ("Horseshoe Bend", "Elbow of the Pellin"),
    "pocket": ("Button Pocket", "Thimble Cove"),
    "conifer_brush": ("Needle Pile",),
    "brush": ("Widow's Brush", "Crib Brush"),
    "standing_timber": ("Ghost Stand",),
}

ZONES = {
    "slow": ("Wren Cove: homes and docks", "Tansy Arm head: swimming beach"),
    "no_entry": ("Dam and intake: keep out at all times",),
    "no_motor": ("Heron Slough: nesting birds, motors off",),
}

WAYPOINTS = (
    ("Brush off Plum", "brush pile, two good fish in March"),
    ("Teapot south edge", "hump, drops fast on the south side"),
    ("Culvert", "old culvert mouth, rock"),
    ("Stump row", "stumps along the creek edge"),
    ("Dock w/ light", "dock, deep end"),
    ("Rockpile 14ft", "rock pile, depth 14 ft"),
    ("Grass edge", "outside edge of the grass"),
    ("Lone cedar", "one cedar, tied down, 11 ft"),
)

# Ashore, by kind.
LANDMARKS = {
    "point_of_land": (
        "Heron's Elbow", "Anvil Head", "Birch Finger", "Coldwater Point", "Drover's Point", "Ember Head",
        "Foxglove Point", "Granary Point", "Hobble Head", "Juniper Point", "Kiln Point", "Linnet Head",
        "Millstone Point", "Otter Finger", "Pepper Point", "Quill Head", "Rushes Point", "Saddler's Point",
    ),
    "water_tower": ("Sedgewick tower", "Tansy tower"),
    "radio_mast": ("Mast on Bald Rise",),
    "steeple": ("Sedgewick steeple", "Chapel at Fallow Cross"),
    "silo": ("Twin silo", "Red silo", "Hollin silo"),
    "chimney": ("Brickworks chimney", "Pump house chimney"),
}  # fmt: skip

# Small things along the shore get a look and what they are: "green boathouse", "twin flagpole".
LOOKS = (
    "white", "red", "green", "blue", "ochre", "grey", "black", "old", "tin-roofed", "leaning", "twin", "lone", "tall",
    "broken",
)  # fmt: skip
SMALL_MARKS = (
    "barn",
    "boathouse",
    "cabin",
    "flagpole",
    "pine",
    "oak",
    "poplar",
    "windmill",
    "light post",
    "sign board",
)
