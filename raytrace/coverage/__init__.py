"""The fast way: outlines of parts projected into the pupil, and what they leave of it measured, noise-free."""
