"""A box changed and measured again."""
