"""All rays of a guide: sections, clearances, the margin of the frame."""
