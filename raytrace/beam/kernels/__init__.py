"""Compiled code of the beam: outline rays through filters as columns, and where they cross planes."""
