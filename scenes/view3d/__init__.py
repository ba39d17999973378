"""A state in 3D."""
