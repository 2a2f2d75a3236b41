"""Plane geometry: paths of lines and arcs, poses, offsets, medial axes; knows no boards."""
