"""The kind of spectrum that a family's pipes may be expected to have."""

from __future__ import annotations

from types import MappingProxyType

from walkboard.listening.types import Spectrum
from walkboard.organ.model import Family

SPECTRUM = MappingProxyType(
    {
        Family.OPEN: Spectrum.FULL,
        Family.STOPPED: Spectrum.ODD,
        Family.CHIMNEY: Spectrum.ODD,
        Family.REED: Spectrum.BRIGHT,
    }
)
"""The kind of spectrum that a family's pipes may be expected to have."""
