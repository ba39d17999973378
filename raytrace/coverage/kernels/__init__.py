"""Compiled code of the coverage engine."""
