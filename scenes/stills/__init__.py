"""Stills of a test shoot: read without losing bits, brought to linear light, averaged to cells. Knows no box."""
