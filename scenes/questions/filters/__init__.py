"""The question `brimline filters`."""
