"""Drawings in DXF: read as outlines in mm, refused where they speak against themselves, and written."""
