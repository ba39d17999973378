"""The coverage engine on a GPU."""
