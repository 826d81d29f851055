"""Boundaries in: any file that surveyors and mapping programs hand over, to a site folder."""

from geosand.formats.boundaries.read import read_boundaries
from geosand.formats.boundaries.tables import Boundaries, LeftOut, Outlines, Tally

__all__ = ["Boundaries", "LeftOut", "Outlines", "Tally", "read_boundaries"]
