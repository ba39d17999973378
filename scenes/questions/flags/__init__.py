"""The question `brimline flags`."""
