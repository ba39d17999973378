"""Flat drawings: paper, style and what all figures share."""
