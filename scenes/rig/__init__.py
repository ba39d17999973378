"""The scene's lens, box and lights as parts, pencils and light. Knows no state."""
