"""The question `brimline make`."""
