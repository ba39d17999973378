"""The question `brimline check`."""
