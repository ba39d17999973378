"""The question `brimline beam`."""
