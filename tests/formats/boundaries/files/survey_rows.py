"""A green as rows of survey-controller text, and its area when it is read again."""

from geosand.areas.crosscheck import grid_areas_m2
from tests.formats.boundaries.conftest import UTM

#: A green of 20 by 30 m, 600 m², as (northing, easting).
CORNERS = [(5906000.0, 560000.0), (5906000.0, 560020.0), (5906030.0, 560020.0), (5906030.0, 560000)]


def walk(pattern, code="GRN"):
    """Rows by a pattern of n (northing), e (easting), c (code with its command), p (point)."""
    last = len(CORNERS)
    return [
        pattern.format(n=n, e=e, p=k, c=f"{code} CL" if k == last else code)
        for k, (n, e) in enumerate(CORNERS, start=1)
    ]


def area(found):
    (one,) = grid_areas_m2(found.features.geometry, UTM)
    return one
