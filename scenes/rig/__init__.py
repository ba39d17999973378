"""The scene's lens, box and lights as parts, pencils and light, and what of them speaks against a clear frame. Knows no state."""
