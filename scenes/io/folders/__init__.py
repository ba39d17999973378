"""Folders of results: one run at a time, whole or not at all, and what people put into them stays."""
