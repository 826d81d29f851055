"""Ground areas and their errors: kernels on columns of polygons, without files and without tables.

``ellipsoid`` areas without projecting · ``plane`` a local metre frame · ``ownership`` who owns the
ground where surfaces overlap · ``ground`` height and slope · ``uncertainty`` errors of sums of
areas · ``crosscheck`` the same areas by pyproj · ``audit`` what is wrong with drawn boundaries.
"""
