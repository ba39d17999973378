"""Shapes and places of a light-control box. Knows no light, opens no file."""
