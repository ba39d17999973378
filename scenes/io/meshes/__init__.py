"""Meshes read as they stand, and what of a file its reader would pass over."""
