"""The question `brimline tolerances`."""
