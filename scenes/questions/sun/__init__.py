"""The question `brimline sun`."""
