"""The kind of spectrum to expect from a pipe: one map for all packages that listen."""

from __future__ import annotations

from types import MappingProxyType

from walkboard.listening.types import Spectrum
from walkboard.organ.model import Family, Organ, PipeRef

_OF_FAMILY = MappingProxyType(
    {
        Family.OPEN: Spectrum.FULL,
        Family.STOPPED: Spectrum.ODD,
        Family.CHIMNEY: Spectrum.ODD,
        Family.REED: Spectrum.BRIGHT,
    }
)


def spectrum_of(organ: Organ, pipe: PipeRef) -> Spectrum:
    """The kind of spectrum to expect from a pipe.

    Parameters
    ----------
    organ : Organ
    pipe : PipeRef
        A pipe of the organ.
    """
    return _OF_FAMILY[organ.rank(pipe.rank).family_of(pipe.number)]
