"""Rules of a hold in round metres, so that what a test works out by hand does not hang on the defaults."""

from castshed.toolbox.water.holds.hold_rules import HoldRules

PLAIN = {
    "least_cast_m": 12.2,
    "cast_m": 21.3,
    "most_cast_m": 27.4,
    "draft_m": 0.6,
    "margin_m": 0.45,
    "drift_m": 3.0,
    "footprint_m": 3.0,
    "spot_error_m": 5.0,
}


def plain_rules(**told):
    """Hold rules in round metres, with what a test wants otherwise."""
    return HoldRules(**(PLAIN | told))
