"""Margins in words: metres and feet, metres a second and miles an hour, so that nobody has to convert in their head."""

from __future__ import annotations

from typing import Final

from ...units import FOOT_M

_MPH_MPS: Final = 1609.344 / 3600.0


def length_words(metres: float) -> str:
    """Say a length in metres and feet.

    Examples
    --------
    >>> length_words(0.4)
    '0.4 m (1.3 ft)'
    >>> length_words(0.03)
    '0.03 m (0.1 ft)'
    >>> length_words(0.0001)
    'less than 0.01 m (0.03 ft)'
    """
    if abs(metres) < 0.005:
        return "less than 0.01 m (0.03 ft)"
    if abs(metres) >= 99.95:
        return f"{metres:.0f} m ({metres / FOOT_M:.0f} ft)"
    digits = 1 if abs(metres) >= 0.095 else 2
    return f"{metres:.{digits}f} m ({metres / FOOT_M:.1f} ft)"


def speed_words(mps: float) -> str:
    """Say a speed in metres a second and miles an hour.

    Examples
    --------
    >>> speed_words(8.9408)
    '8.9 m/s (20.0 mph)'
    """
    if 0.0 < abs(mps) < 0.05:
        return "less than 0.1 m/s (0.1 mph)"
    return f"{mps:.1f} m/s ({mps / _MPH_MPS:.1f} mph)"


def band_words(low_m: float, high_m: float) -> str:
    """Say a wave band, never as calm.

    Examples
    --------
    >>> band_words(0.1, 0.3)
    'wave estimate 0.1 to 0.3 m (0.3 to 1.0 ft), no promise of calm'
    >>> band_words(0.0, 0.01)
    'wave estimate under 0.1 m (0.3 ft), no promise of calm'
    """
    if high_m < 0.05:
        return "wave estimate under 0.1 m (0.3 ft), no promise of calm"
    feet = f"{low_m / FOOT_M:.1f} to {high_m / FOOT_M:.1f} ft"
    return f"wave estimate {low_m:.1f} to {high_m:.1f} m ({feet}), no promise of calm"
