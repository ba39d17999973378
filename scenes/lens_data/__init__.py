"""Lens metadata of open standards and of plain tables, as lens rows of a scene file."""
