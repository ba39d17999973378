"""Reflections of filters."""
