"""What a test shoot has to do, in which order, and what to expect: to print, and to take along."""
