"""The question `brimline leaks`."""
