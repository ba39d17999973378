"""The tables of a scene file as frozen values."""
