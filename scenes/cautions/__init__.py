"""What speaks against the numbers of a scene: faults, which keep its states from being clear, and cautions. Knows no state."""
