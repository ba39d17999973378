"""Light that should not reach the glass."""
