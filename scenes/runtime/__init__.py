"""Engines, processes and progress: how work is run."""
